"""Thirty days of one-minute weights: this crate against statsmodels on the same rows.

Run from the repository's root with exactly these versions:

    pip install numpy==2.4.6 scipy==1.17.1 pandas==3.1.1 statsmodels==0.15.0
    python crates/balance/benches/compare.py

Both sides in processor time, one thread each, so that other work on the machine counts for neither as far as it can be kept out
(caches are shared). Two comparisons:

    the same model    A model of three states (mass, loss rate, fading error) on 43,200 rows, the settled weights less the charted mass,
                      care as missing values: statsmodels in its compiled filter, ours in the general solver of `stats`. `smooth` is one
                      pass of filter and smoother at given noise levels; `fit` is the maximum of the likelihood over four levels by at
                      most 25 steps (L-BFGS theirs, BFGS ours) and the smoother. The likelihoods must agree to 1e-6 at the given levels.
    the whole balance What `balance` does with these rows: blocks of ten minutes, screening, noise levels of nine states by the posterior's
                      mode, filter, smoother at each hour, sequential test, contradictions, forecast, alerts; against their fit and smoother.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"

import json
import resource
import subprocess
import time
from importlib.metadata import version

import numpy as np
from statsmodels.tsa.statespace.mlemodel import MLEModel

for name, wanted in {"numpy": "2.4.6", "scipy": "1.17.1", "pandas": "3.1.1", "statsmodels": "0.15.0"}.items():
    if version(name) != wanted:
        raise SystemExit(f"{name} is {version(name)}, expected {wanted}")

DAYS = 30
N = DAYS * 1440


def scramble(k):
    """The bench's own: (k · 2654435761 mod 2³²) / 2¹⁶ / 65536 − ½."""
    return ((k * 2654435761) % 2**32 >> 16) / 65536.0 - 0.5


kg = np.array([74.0 + k / 60.0 * 0.002 + 0.1 * scramble(k) for k in range(N)])
held = np.array([k % 97 < 9 for k in range(N)])
charted_g = np.zeros(N)
for hour in range(DAYS * 24):
    net = 95.0 - np.floor(13.0 + 6.0 * scramble(7 * hour) + 0.5) * 5.0
    charted_g[hour * 60 : (hour + 1) * 60] += net / 60.0
y = 1000.0 * (kg - 74.0) - np.cumsum(charted_g)
y[held] = np.nan


class Deck(MLEModel):
    """Mass (diffuse), loss rate, error that fades in two hours; a step is a minute."""

    def __init__(self, weights):
        super().__init__(weights, k_states=3, k_posdef=3)
        h = 1.0 / 60.0
        self.ssm["design"] = np.array([[1.0, 0.0, 1.0]])
        self.ssm["transition"] = np.array([[1.0, -h, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, np.exp(-h / 2.0)]])
        self.ssm["selection"] = np.eye(3)
        self.ssm.initialize_known(np.array([0.0, 33.0, 0.0]), np.diag([1e7, 300.0, 50.0]))

    @property
    def start_params(self):
        return np.log([30.0**2, 0.1, 1e-3, 1.0])

    def update(self, params, **kwargs):
        params = super().update(params, **kwargs)
        noise, walk, rate, fading = np.exp(params)
        self.ssm["obs_cov", 0, 0] = noise
        self.ssm["state_cov"] = np.diag([walk, rate, fading])


def best(task, times):
    out = np.inf
    for _ in range(times):
        begin = time.process_time()
        task()
        out = min(out, time.process_time() - begin)
    return out


def build():
    command = ["cargo", "bench", "-p", "bedplate-balance", "--bench", "month", "--no-run", "--message-format=json"]
    lines = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    paths = [json.loads(line).get("executable") for line in lines if line.startswith("{")]
    return next(path for path in paths if path)


def processor_s(bench, name, few, many):
    """Processor time of one run of a bench: what more runs cost more, the least of three takings."""

    def taken(runs):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        command = [bench, "--bench", name, "--sample-count", str(runs), "--sample-size", "1"]
        subprocess.run(command, capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    return min((taken(many) - taken(few)) / (many - few) for _ in range(3))


bench = build()
model = Deck(y)
said = subprocess.run([bench, "--likelihood"], capture_output=True, text=True, check=True).stdout.split()
ours_given, ours_fitted, evaluations = float(said[0]), float(said[1]), int(said[2])
theirs_given = model.loglike(model.start_params)
if abs(ours_given / theirs_given - 1.0) > 1e-6:
    raise SystemExit(f"not the same model: ln likelihood {ours_given} here, {theirs_given} there")
smooth_s = best(lambda: model.smooth(model.start_params), 3)
fits = []
fit_s = best(lambda: fits.append(model.fit(method="lbfgs", maxiter=25, disp=False, cov_type="none")), 2)
ours_smooth_s = processor_s(bench, "same_model_smooth", 5, 45)
ours_fit_s = processor_s(bench, "same_model_fit", 1, 6)
whole_s = processor_s(bench, "whole_balance.*30", 5, 45)
print(f"rows {N}, settled {int((~held).sum())}; ln likelihood at the given levels {ours_given:.4f} here, {theirs_given:.4f} there")
print(f"fitted: {ours_fitted:.2f} here by {evaluations} evaluations, {fits[-1].llf:.2f} there by {fits[-1].mle_retvals['fcalls']}")
for name, theirs, ours in [
    ("the same model, smooth", smooth_s, ours_smooth_s),
    ("the same model, fit", fit_s, ours_fit_s),
    ("the whole balance, against fit", fit_s, whole_s),
    ("the whole balance, against smooth", smooth_s, whole_s),
]:
    print(f"{name:34} statsmodels {1000 * theirs:7.1f} ms   ours {1000 * ours:7.2f} ms   ratio {theirs / ours:6.1f}")
