"""Makes tests/data/expected.csv: what independent public libraries find on the data of the reference tests.

Run from this folder in an environment with exactly these versions (Python 3.11 or later):

    pip install numpy==2.4.6 scipy==1.17.1 pandas==3.1.1 statsmodels==0.15.0 pingouin==0.7.0 AllanTools==2024.6
    python make_expected.py

Where no library has the quantity it is computed here by another way than in the crate, and the comment says which.
"""

import csv
import itertools
from importlib.metadata import version

import allantools
import numpy as np
import pandas as pd
import pingouin
import statsmodels.api as sm
from scipy import odr, optimize, signal, stats

PINNED = {
    "numpy": "2.4.6",
    "scipy": "1.17.1",
    "pandas": "3.1.1",
    "statsmodels": "0.15.0",
    "pingouin": "0.7.0",
    "AllanTools": "2024.6",
}
for name, wanted in PINNED.items():
    if version(name) != wanted:
        raise SystemExit(f"{name} is {version(name)}, expected {wanted}")

rows = []


def put(quantity, *values):
    for value in np.ravel(values):
        rows.append((quantity, repr(float(value))))


def table(name):
    return pd.read_csv(f"data/{name}.csv", comment="#")


LARGE = np.array([494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427.0])
MINI = np.array([512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451.0])


def bland_altman(tag, x, y):
    d, n = y - x, len(x)
    s = d.std(ddof=1)
    z = stats.norm.ppf(0.975)
    t = stats.t.ppf(0.975, n - 1)
    put(f"{tag} bias sd", d.mean(), s)
    # scipy's interval of a mean.
    put(f"{tag} bias_ci", *stats.ttest_1samp(d, 0).confidence_interval(0.95))
    put(f"{tag} limits", d.mean() - z * s, d.mean() + z * s)
    half = t * np.sqrt(3 * s * s / n)
    put(f"{tag} upper_limit_ci", d.mean() + z * s - half, d.mean() + z * s + half)
    k = stats.nct.ppf([0.025, 0.975], n - 1, z * np.sqrt(n)) / np.sqrt(n)
    put(f"{tag} upper_limit_ci_exact", d.mean() + k * s)
    fit = sm.OLS(d, sm.add_constant((x + y) / 2)).fit()
    put(f"{tag} proportional", fit.params[1], *fit.conf_int(0.05)[1], fit.pvalues[1], fit.params[0], np.sqrt(fit.scale))


def total_least_squares(x, y, ratio):
    """Deming's line as the direction of least spread (singular vectors), with the method scaled to equal variances."""
    root = np.sqrt(ratio)
    centred = np.column_stack([x - x.mean(), (y - y.mean()) / root])
    _, _, v = np.linalg.svd(centred, full_matrices=False)
    slope = root * v[0, 1] / v[0, 0]
    return slope, y.mean() - slope * x.mean()


def deming(tag, x, y, ratio):
    n = len(x)
    line = np.array(total_least_squares(x, y, ratio))
    left = np.array([total_least_squares(np.delete(x, i), np.delete(y, i), ratio) for i in range(n)])
    # The standard error by pseudo-values, which is the jackknife's in another guise.
    pseudo = n * line - (n - 1) * left
    se = pseudo.std(axis=0, ddof=1) / np.sqrt(n)
    put(f"{tag} deming {ratio}", *line, *se, line[0] - stats.t.ppf(0.975, n - 2) * se[0])


def passing_bablok(tag, x, y):
    n = len(x)
    slopes = []
    for i, j in itertools.combinations(range(n), 2):
        dx, dy = x[j] - x[i], y[j] - y[i]
        if dx == 0 and dy == 0:
            continue
        slope = dy / dx if dx != 0 else np.inf * np.sign(dy)
        if slope != -1:
            slopes.append(slope)
    slopes = np.sort(slopes)
    k, count = np.sum(slopes < -1), len(slopes)
    c = stats.norm.ppf(0.975) * np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    m1 = round((count - c) / 2)
    # The shifted median as a plain one: the K slopes below -1 count among the steepest rising ones, and K more above them.
    slope = np.median(np.concatenate([slopes[k:], np.full(k, np.inf)]))
    ci = slopes[m1 + k - 1], slopes[count - m1 + k]
    put(f"{tag} passing_bablok", slope, *ci, *(np.median(y - b * x) for b in (slope, ci[1], ci[0])))


def concordance(tag, x, y):
    rho = 2 * np.cov(x, y, ddof=0)[0, 1] / (x.var() + y.var() + (x.mean() - y.mean()) ** 2)
    put(f"{tag} concordance", rho, stats.pearsonr(x, y).statistic)


def mover(total_terms, bias, bias_half):
    """Upper limit's interval by recovery of variances, each term's own χ² interval written out."""
    z = stats.norm.ppf(0.975)
    s2 = sum(v for v, _ in total_terms)
    low = s2 - np.sqrt(sum((v - v * nu / stats.chi2.ppf(0.975, nu)) ** 2 for v, nu in total_terms))
    high = s2 + np.sqrt(sum((v * nu / stats.chi2.ppf(0.025, nu) - v) ** 2 for v, nu in total_terms))
    limit = bias + z * np.sqrt(s2)
    return (
        limit - np.sqrt(bias_half**2 + z**2 * (np.sqrt(s2) - np.sqrt(low)) ** 2),
        limit + np.sqrt(bias_half**2 + z**2 * (np.sqrt(high) - np.sqrt(s2)) ** 2),
    )


def weighted_deming(x, y, sx, sy):
    """The least sum of squares in units of each pair's errors, over slope and intercept, by Newton's method from odrpack's line.

    scipy.odr stops some 1e-8 from the least sum, so that its line is only the start.
    """

    def fit(keep):
        x_, y_, vx, vy = x[keep], y[keep], sx[keep] ** 2, sy[keep] ** 2
        line = odr.ODR(odr.RealData(x_, y_, np.sqrt(vx), np.sqrt(vy)), odr.unilinear, [1.0, 0.0]).run().beta
        # For a given slope the intercept is a weighted mean; one slope is left to find.
        def intercept(b):
            w = 1 / (vy + b * b * vx)
            return np.sum(w * (y_ - b * x_)) / np.sum(w)

        def slope_of_the_sum(b):
            w, r = 1 / (vy + b * b * vx), y_ - intercept(b) - b * x_
            return np.sum(w * r * x_ + b * vx * w * w * r * r)

        b = optimize.brentq(slope_of_the_sum, line[0] - 1e-3, line[0] + 1e-3, xtol=1e-15, rtol=1e-15)
        return b, intercept(b)

    n = len(x)
    put("weighted_deming", *fit(np.ones(n, bool)))
    left_out = np.array([fit(np.arange(n) != i) for i in range(n)])
    put("weighted_deming se", np.sqrt((n - 1) ** 2 / n) * left_out.std(axis=0, ddof=1))


def repeats():
    data = table("cardiac_output")
    data["d"] = data.rv - data.ic
    fit = sm.formula.ols("d ~ C(subject)", data).fit()
    anova = sm.stats.anova_lm(fit)
    msb, msw = anova.mean_sq
    nub, nuw = anova.df
    m = data.groupby("subject").size().to_numpy()
    n, k = m.sum(), len(m)
    lam = (n - (m**2).sum() / n) / (k - 1)
    between = (msb - msw) / lam
    bias_se = np.sqrt(between * (m**2).sum() / n**2 + msw / n)
    bias_half = stats.t.ppf(0.975, k - 1) * bias_se
    put("repeated_varying", data.d.mean(), np.sqrt(msw), np.sqrt(between), np.sqrt(between + msw), bias_half)
    put("repeated_varying upper_limit_ci", mover([(msb / lam, nub), ((1 - 1 / lam) * msw, nuw)], data.d.mean(), bias_half))
    within = {c: sm.stats.anova_lm(sm.formula.ols(f"{c} ~ C(subject)", data).fit()).mean_sq.iloc[1] for c in ("rv", "ic")}
    means = data.groupby("subject").d.mean()
    h = stats.hmean(m)
    terms = [(means.var(), k - 1), ((1 - 1 / h) * within["ic"], n - k), ((1 - 1 / h) * within["rv"], n - k)]
    half = stats.t.ppf(0.975, k - 1) * means.sem()
    put("repeated", means.mean(), np.sqrt(sum(v for v, _ in terms)), np.sqrt(within["ic"]), np.sqrt(within["rv"]), half)
    put("repeated upper_limit_ci", mover(terms, means.mean(), half))


def gauge():
    data = table("gauge")
    for column in ("part", "appraiser"):
        data[column] = data[column].astype(str)
    # pingouin rounds nothing when asked for the table in full.
    anova = pingouin.anova(data=data, dv="value", between=["part", "appraiser"], ss_type=2, detailed=True)
    anova = anova.set_index("Source")
    for source in ("part", "appraiser", "part * appraiser", "Residual"):
        put(f"gauge {source}", anova.SS[source], anova.DF[source])
    put("gauge interaction F p", *sm.stats.anova_lm(sm.formula.ols("value ~ part * appraiser", data).fit()).iloc[2][["F", "PR(>F)"]])
    pooled = sm.stats.anova_lm(sm.formula.ols("value ~ part + appraiser", data).fit())
    part, appraiser, error = pooled.mean_sq
    put("gauge pooled F", *pooled["F"].iloc[:2])
    put("gauge pooled p appraiser", pooled["PR(>F)"].iloc[1])
    put("gauge pooled sd", np.sqrt([error, (appraiser - error) / 30, (part - error) / 9]))


def white_edf(count, m):
    """Degrees of freedom of the overlapping Allan variance of white readings, from the covariance of all its terms.

    allantools has approximations for it, which differ by some percent: edf_simple gives 6.59, 32.96, 146.18 and 13.00 for
    the four cases below, edf_greenhall (noise white in continuous time) 8.04, 29.23, 135.07 and 12.81; the exact figures
    are 6.90, 33.03, 146.07 and 12.81.
    """
    terms = count - 2 * m
    rows_of = np.zeros((terms, count - 1))
    for i in range(terms):
        rows_of[i, i : i + m], rows_of[i, i + m : i + 2 * m] = -1, 1
    covariance = rows_of @ rows_of.T
    return np.trace(covariance) ** 2 / np.sum(covariance**2)


def allan():
    n, values = 1234567890, []
    for _ in range(1000):
        values.append(n / 2147483647)
        n = 16807 * n % 2147483647
    values = np.array(values)
    for m in (1, 3, 10, 37, 100, 200):
        # As in the crate, from the series without its mean.
        args = {"rate": 4.0, "data_type": "freq", "taus": [m / 4.0]}
        for name in ("adev", "oadev", "mdev", "tdev"):
            put(f"allan {name} {m}", getattr(allantools, name)(values - values.mean(), **args)[1])
    for length in (64, 101, 256):
        density = signal.welch(values, fs=4.0, window="hann", nperseg=length, noverlap=length // 2, detrend="constant")[1]
        put(f"welch {length}", density)
    for count, m in ((12, 1), (101, 4), (1001, 10), (1001, 100)):
        put(f"allan edf {count} {m}", white_edf(count, m))


def charts():
    readings = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5]
    averages = pd.Series([50.0, *readings]).ewm(alpha=0.3, adjust=False).mean()[1:]
    put("ewma average", averages)
    # The variance of each average as the sum over its weights.
    widths = [np.sqrt(sum((0.3 * 0.7**j) ** 2 for j in range(i + 1))) for i in range(len(readings))]
    put("ewma upper", [50 + 3 * 2.0539 * w for w in widths])


bland_altman("peak_flow", LARGE, MINI)
concordance("peak_flow", LARGE, MINI)
for pair_ratio in (1.0, 0.25, 3.0):
    deming("peak_flow", LARGE, MINI, pair_ratio)
passing_bablok("peak_flow", LARGE, MINI)
ARSENATE = table("arsenate")
AAS, AES = ARSENATE.aas.to_numpy(float), ARSENATE.aes.to_numpy(float)
bland_altman("arsenate", AAS, AES)
concordance("arsenate", AAS, AES)
for pair_ratio in (1.0, 0.25, 3.0):
    deming("arsenate", AAS, AES, pair_ratio)
passing_bablok("arsenate", AAS, AES)
weighted_deming(AAS, AES, ARSENATE.se_aas.to_numpy(float), ARSENATE.se_aes.to_numpy(float))
repeats()
gauge()
allan()
charts()

with open("data/expected.csv", "w", newline="") as file:
    file.write("# Made by make_expected.py with " + ", ".join(f"{k} {v}" for k, v in PINNED.items()) + ".\n")
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(["quantity", "value"])
    writer.writerows(rows)
