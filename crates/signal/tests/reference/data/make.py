"""Makes the expected values beside this file. Python 3.11, numpy 2.4.6, scipy 1.17.1. Run: python3 make.py"""
import csv

import numpy as np
from scipy import optimize, signal, special, stats

TAU = 0.45
rng = np.random.default_rng(20)


def write(name, head, rows):
    with open(name, "w", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(head)
        out.writerows([[repr(float(x)) for x in row] for row in rows])


# Four equal one-pole stages, sampled evenly: ((1 - a) / (1 - a/z))^4, begun at rest on the first sample.
dt = 0.1
a = np.exp(-dt / TAU)
b4, a4 = [(1 - a) ** 4], np.poly([a] * 4)
x = 70 + np.cumsum(rng.normal(0, 1, 120))
y, _ = signal.lfilter(b4, a4, x, zi=signal.lfilter_zi(b4, a4) * x[0])
write("lowpass.csv", ["x", "y"], zip(x, y))

# Its response.
f = np.array([0.01, 0.05, 0.1, 0.154, 0.25, 0.3, 0.5, 1.0, 2.0, 4.0])
_, h = signal.freqz(b4, a4, f, fs=1 / dt)
write("response.csv", ["f_hz", "gain", "phase_rad"], zip(f, abs(h), np.unwrap(np.angle(h))))

STAGE = tuple(np.array([[x]]) for x in (-1 / TAU, 1 / TAU, 1.0, 0.0))
# Uneven samples: each stage holds its input since the last sample; by the exact solution of the state equation.
t = np.cumsum(rng.uniform(0.02, 0.9, 80))
x = rng.normal(0, 1, 80)
state, rows = np.full(4, x[0]), [[t[0], x[0], x[0]]]
for k in range(1, 80):
    u = x[k]
    for s in range(4):
        ad, bd, *_ = signal.cont2discrete(STAGE, t[k] - t[k - 1], method="zoh")
        state[s] = ad[0, 0] * state[s] + bd[0, 0] * u
        u = state[s]
    rows.append([t[k], x[k], state[3]])
write("uneven.csv", ["t_s", "x", "y"], rows)

# Figures of the continuous filter: settling (the step is the lower incomplete gamma function of order 4), -3 dB, noise bandwidth.
settle = [optimize.brentq(lambda T: special.gammaincc(4, T) - e, 1, 60) for e in (1e-2, 1e-3, 1e-4)]
f3 = np.sqrt(2 ** (1 / 4) - 1) / (2 * np.pi)
bandwidth = special.beta(0.5, 3.5) / (4 * np.pi)
write("figures.csv", ["settle_1_pct", "settle_0_1_pct", "settle_0_01_pct", "f_3db_tau", "noise_bandwidth_tau"], [[*settle, f3, bandwidth]])

# Likelihood ratio by its definition: log-likelihoods maximized numerically over the new mean, at every instant of change.
rows = []
for case in range(12):
    sd = rng.uniform(0.5, 3)
    e = rng.normal(0, sd, 12)
    e[12 - case % 7 :] += rng.normal(0, 2 * sd)
    best = (0.0, 0, 0.0)
    for m in range(1, 13):
        new = e[-m:]
        gain = lambda mean: stats.norm.logpdf(new, mean, sd).sum() - stats.norm.logpdf(new, 0, sd).sum()
        found = optimize.minimize_scalar(lambda mean: -gain(mean), bounds=(-50, 50), method="bounded", options={"xatol": 1e-12})
        if gain(found.x) > best[0]:
            best = (gain(found.x), m, found.x)
    rows.append([sd, *best, *e])
write("glr.csv", ["sd", "ratio", "since", "mean", *(f"e{i}" for i in range(12))], rows)
