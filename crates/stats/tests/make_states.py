"""Makes tests/data/states.csv: statsmodels' filter and smoother on three models, with an exact diffuse start.

Run from this folder in an environment with exactly these versions (Python 3.11 or later):

    pip install numpy==2.4.6 scipy==1.17.1 pandas==3.1.1 statsmodels==0.15.0
    python make_states.py

Models:
  gaps   local level on the Nile's flow, years 21-40 and 61-80 missing (Durbin & Koopman, 2nd ed. (2012), 2.7), at 15099 and 1469.1
  trend  local linear trend on the same flow (Harvey, Forecasting, Structural Time Series Models and the Kalman Filter (1989), 2.3;
         Durbin & Koopman 3.2.1), variances 14000 of noise, 1100 of the level, 9 of the slope; level and slope diffuse
  deck   mass, loss rate and a fading error at irregular times: mass diffuse, rate N(25, 10^2), error N(0, 15^2); every fifth weight
         missing. Times and weights by a fixed scramble, invented

A row of the result: model, step, time, observation (empty: missing), then for each state filtered mean, filtered variance,
smoothed mean, smoothed variance. One row a model `loglik` holds the log-likelihood without the terms of the diffuse start.
"""

import csv
from importlib.metadata import version

import numpy as np
from statsmodels.tsa.statespace.initialization import Initialization
from statsmodels.tsa.statespace.kalman_smoother import KalmanSmoother

for name, wanted in {"numpy": "2.4.6", "scipy": "1.17.1", "pandas": "3.1.1", "statsmodels": "0.15.0"}.items():
    if version(name) != wanted:
        raise SystemExit(f"{name} is {version(name)}, expected {wanted}")

with open("data/nile.csv") as file:
    nile = [float(line.split(",")[1]) for line in file if line[0] == "1"]

rows = []


def put(model, times, y, transition, noise, row, variance, initial):
    """Time-varying model: `transition[k]`, `noise[k]` lead from step k to k + 1."""
    n, n_states = len(y), len(row)
    ssm = KalmanSmoother(k_endog=1, k_states=n_states, k_posdef=n_states)
    ssm.bind(np.asarray(y, float).reshape(-1, 1))
    ssm["design"] = np.asarray(row, float).reshape(1, -1)
    ssm["obs_cov"] = np.array([[variance]])
    ssm["selection"] = np.eye(n_states)
    ssm["transition"] = np.moveaxis(np.asarray(transition, float), 0, -1)
    ssm["state_cov"] = np.moveaxis(np.asarray(noise, float), 0, -1)
    ssm.initialize(initial)
    # The plain recursions: no steady state taken for granted.
    ssm.tolerance = 0.0
    found = ssm.smooth()
    n_diffuse = found.nobs_diffuse
    rows.append([model, "loglik", repr(float(found.llf_obs[n_diffuse:].sum()))])
    for k in range(n):
        out = [model, k, repr(float(times[k])), "" if np.isnan(y[k]) else repr(float(y[k]))]
        for i in range(n_states):
            for value in (
                found.filtered_state[i, k],
                found.filtered_state_cov[i, i, k],
                found.smoothed_state[i, k],
                found.smoothed_state_cov[i, i, k],
            ):
                out.append(repr(float(value)))
        rows.append(out)


years = np.arange(1871, 1971, dtype=float)
gaps = np.array(nile)
gaps[20:40] = np.nan
gaps[60:80] = np.nan
one = Initialization(1, "diffuse")
put("gaps", years, gaps, [[[1.0]]] * 100, [[[1469.1]]] * 100, [1.0], 15099.0, one)

two = Initialization(2, "diffuse")
put("trend", years, np.array(nile), [[[1, 1], [0, 1]]] * 100, [np.diag([1100.0, 9.0])] * 100, [1.0, 0.0], 14000.0, two)


def scramble(k):
    return ((k * 2654435761) % 2**32 >> 16) / 65536.0 - 0.5


times, y = [0.0], []
for k in range(59):
    times.append(times[-1] + 0.25 + 2.0 * (scramble(7 * k + 3) + 0.5))
for k, t in enumerate(times):
    y.append(np.nan if k % 5 == 4 else 71_000.0 - 26.0 * t + 60.0 * scramble(k + 1))
gap = np.diff(times, append=times[-1] + 1.0)
transition = [[[1, -h, 0], [0, 1, 0], [0, 0, np.exp(-h / 2.0)]] for h in gap]
q = 1.5
noise = [
    [[q * h**3 / 3 + 4.0 * h, -q * h**2 / 2, 0], [-q * h**2 / 2, q * h, 0], [0, 0, 225.0 * (1 - np.exp(-h))]] for h in gap
]
three = Initialization(3)
three.set(0, "diffuse")
three.set((1, 3), "known", constant=[25.0, 0.0], stationary_cov=np.diag([100.0, 225.0]))
put("deck", times, y, transition, noise, [1.0, 0.0, 1.0], 900.0, three)

with open("data/states.csv", "w", newline="") as file:
    file.write("# Computed with statsmodels 0.15.0 by make_states.py; the weights of `deck` are invented.\n")
    csv.writer(file, lineterminator="\n").writerows(rows)
