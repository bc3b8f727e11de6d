#!/usr/bin/env python3
"""Side by side with NumPy: the least-squares fit of 24 cells (48 unknowns) from 400 rows, one thread each.

Two problems: 400 dense rows, and 400 loaded rows of a deck of 6 plates, 1,200 equations that each touch one plate's unknowns,
which is what `calibrate` solves in a step. NumPy has no solver for such rows and is given them laid out in full.

Both sides give the same outputs: coefficients, residuals, residual standard deviation, leverages, covariance, rank and
condition number. NumPy's are made from `numpy.linalg.lstsq` (which gives rank and singular values with the coefficients) in
the cheapest way known to us: the covariance by `numpy.linalg.inv` of the normal matrix, and the leverages by one product with
it. `lstsq` alone, without covariance and leverages, is timed as well. Nothing is printed unless all outputs agree to 1e-9.

Usage   python3 crates/calibrate/benches/peers/fit_peer.py [--repeat 5]
        Makes an environment of its own with the pinned NumPy in a temporary folder, and removes it.
        Needs a release build of the example `fit_of_24`, which it makes.
"""

import argparse
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import time

NUMPY = "numpy==2.4.6"
ROWS, UNKNOWNS, PLATES, EQUATIONS, IN_A_ROW = 400, 48, 6, 3, 100
ROOT = pathlib.Path(__file__).resolve().parents[4]


def in_own_environment():
    """Runs this script again with the pinned NumPy and one thread."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-m", "venv", folder], check=True)
        python = str(pathlib.Path(folder, "bin", "python"))
        subprocess.run([python, "-m", "pip", "install", "--quiet", NUMPY], check=True)
        one = {f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL")}
        again = [python, __file__, "--inside", *sys.argv[1:]]
        return subprocess.run(again, env=os.environ | one).returncode


def ours(repeat):
    run = ["cargo", "run", "--release", "--quiet", "-p", "bedplate-stats", "--example", "fit_of_24", "--", str(repeat)]
    return json.loads(subprocess.run(run, cwd=ROOT, check=True, capture_output=True, text=True).stdout)


def numbers(count, state=12345):
    """Park and Miller's minimal generator, as in the example."""
    for _ in range(count):
        state = state * 16807 % 2147483647
        yield state / 2147483647 - 0.5


def with_all_outputs(np, x, y):
    b, _, rank, singular = np.linalg.lstsq(x, y, rcond=None)
    residuals = y - x @ b
    s2 = residuals @ residuals / (len(y) - rank)
    inverse = np.linalg.inv(x.T @ x)
    leverages = np.einsum("ij,ij->i", x @ inverse, x)
    return b, residuals, s2 * inverse, leverages, singular[0] / singular[-1]


def best_of(repeat, task):
    """Each run alone, so that the best is one that nothing else on the machine disturbed."""
    times = []
    for _ in range(repeat * IN_A_ROW):
        started = time.perf_counter()
        result = task()
        times.append(time.perf_counter() - started)
    return min(times), result


def dense(np):
    """400 rows that touch all unknowns."""
    stream = np.array(list(numbers(ROWS * (UNKNOWNS + 1))))
    return np.asfortranarray(stream[: ROWS * UNKNOWNS].reshape(UNKNOWNS, ROWS).T), stream[ROWS * UNKNOWNS:]


def deck(np):
    """400 loaded rows of 6 plates of 4 cells: each row is three equations in the 8 unknowns of its plate, laid out in full."""
    unknowns = UNKNOWNS // PLATES
    rows = [EQUATIONS * (ROWS // PLATES + (plate < ROWS % PLATES)) for plate in range(PLATES)]
    stream = iter(list(numbers(sum(rows) * (unknowns + 1))))
    x, y, first = np.zeros((sum(rows), UNKNOWNS), order="F"), [], 0
    for plate, n in enumerate(rows):
        for column in range(unknowns):
            x[first:first + n, plate * unknowns + column] = [next(stream) for _ in range(n)]
        y.extend(next(stream) for _ in range(n))
        first += n
    return x, np.array(y)


def compare(repeat):
    import numpy as np

    found = ours(repeat)
    for name, problem in (("dense", dense), ("deck", deck)):
        x, y = problem(np)
        beside(np, name, repeat, x, y, found[name])


def beside(np, name, repeat, x, y, found):
    alone_s, _ = best_of(repeat, lambda: np.linalg.lstsq(x, y, rcond=None))
    all_s, (b, residuals, covariance, leverages, condition) = best_of(repeat, lambda: with_all_outputs(np, x, y))
    # The design's columns are scaled before ours takes the condition number: so does this.
    scaled = np.linalg.svd(x / np.linalg.norm(x, axis=0), compute_uv=False)
    pairs = {
        "coefficients": (np.array(found["coefficients"]), b),
        "covariance": (found["covariance_trace"], np.trace(covariance)),
        "leverages": (found["leverage_squares"], leverages @ leverages),
        "residuals": (found["residual_squares"], residuals @ residuals),
        "condition": (found["condition"], scaled[0] / scaled[-1]),
    }
    for what, (one, other) in pairs.items():
        off = np.max(np.abs(np.asarray(one) - other)) / np.max(np.abs(other))
        if off > 1e-9:
            sys.exit(f"{name}: {what} differ by {off:.1e}: no ratio")
    ours_s = min(found["seconds"])
    print(
        f"{name}, {x.shape[0]} equations, {x.shape[1]} unknowns: ours {ours_s * 1e3:.3f} ms; NumPy {np.__version__}, same outputs "
        f"{all_s * 1e3:.3f} ms, lstsq alone {alone_s * 1e3:.3f} ms"
    )
    print(f"ratio {all_s / ours_s:.1f} (same outputs), {alone_s / ours_s:.1f} (lstsq alone)")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.inside:
        compare(arguments.repeat)
    else:
        sys.exit(in_own_environment())
