"""Thirty days of one-minute weights: the whole balance of this crate against statsmodels on the same rows.

Run from the repository's root, with the bench built (`cargo bench -p bedplate-balance --no-run`) and exactly these versions:

    pip install numpy==2.4.6 scipy==1.17.1 pandas==3.1.1 statsmodels==0.15.0
    python crates/balance/benches/compare.py

Ours is the median of `cargo bench -p bedplate-balance -- whole_balance`: reading 43,200 rows into blocks, screening, maximum-likelihood noise
levels, filter, smoother at every hour, sequential test, forecast, alerts. statsmodels gets the same settled weights, less the
charted mass, as a model of three states (mass, loss rate, fading error), with care as missing values, in its compiled filter:

    smooth   one pass of filter and smoother at given noise levels: much less than what ours does
    fit      maximum likelihood of the four noise levels by L-BFGS, then the smoother: the like of ours but for screening and alerts

Prints both times and the ratios: its time of the processor against our time by the clock, so that other work on the machine can only
make ours look worse. One thread each.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"

import re
import subprocess
import sys
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


model = Deck(y)
smooth_s = best(lambda: model.smooth(model.start_params), 3)
fit_s = best(lambda: model.fit(method="lbfgs", maxiter=25, disp=False, cov_type="none"), 1)

bench = subprocess.run(
    ["cargo", "bench", "-p", "bedplate-balance", "--", "whole_balance"], capture_output=True, text=True, check=False
)
line = next((line for line in bench.stdout.splitlines() if re.search(r"─ 30\b", line)), None)
if line is None:
    sys.exit(f"the bench said nothing of 30 days: {bench.stdout}{bench.stderr[-500:]}")
unit = {"ns": 1e-9, "µs": 1e-6, "ms": 1e-3, "s": 1.0}
figures = [float(value) * unit[of] for value, of in re.findall(r"([\d.]+) (ns|µs|ms|s)\b", line)]
fastest_s, _, median_s = figures[:3]
print(f"rows {N}, settled {int((~held).sum())}")
print(f"ours, whole balance        fastest {1000 * fastest_s:.1f} ms, median {1000 * median_s:.1f} ms")
print(f"statsmodels, smooth        {1000 * smooth_s:.0f} ms   ratio {smooth_s / median_s:.0f}")
print(f"statsmodels, fit + smooth  {1000 * fit_s:.0f} ms   ratio {fit_s / median_s:.0f}")
