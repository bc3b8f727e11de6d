#!/usr/bin/env python3
"""Side by side with NumPy: a million draws of the error of a chain of 24 cells, one thread each.

The model is written by the example `chain_model` as terms of factors, the same that `benches/draws.rs` draws from. NumPy gets
it in two forms, and the faster counts: term by term over whole columns; and by blocks of 16384 with matrix products, which
keeps it in the cache. Both leave out nothing and use the generator that NumPy recommends (PCG64) and its ziggurat.
The standard deviations of all three must agree with the propagated one to 0.5 %, else nothing is printed.

Usage   python3 crates/design/benches/peers/monte_carlo_peer.py [--repeat 5]
        Makes an environment of its own with the pinned NumPy in a temporary folder, and removes it.
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
DRAWS = 1_000_000
BLOCK = 16_384
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
    """Seconds and standard deviation of each of our runs, with the model."""
    run = ["cargo", "run", "--release", "--quiet", "-p", "bedplate-design", "--example", "chain_model", "--", str(repeat)]
    return json.loads(subprocess.run(run, cwd=ROOT, check=True, capture_output=True, text=True).stdout)


def draw(np, rng, kind, shape):
    return rng.standard_normal(shape) if kind == "normal" else rng.uniform(-1.0, 1.0, shape)


def by_terms(np, rng, model):
    """One column of draws a factor, made when it is first needed and kept only if needed again."""
    needed = [0] * len(model["factors"])
    for term in model["terms"]:
        for factor in term["factors"]:
            needed[factor] += 1
    columns, error = {}, np.zeros(DRAWS)
    for term in model["terms"]:
        product = None
        for factor in term["factors"]:
            if factor not in columns:
                columns[factor] = draw(np, rng, model["factors"][factor], DRAWS)
            column = columns[factor]
            product = column if product is None else product * column
            needed[factor] -= 1
            if needed[factor] == 0:
                del columns[factor]
        error += term["coefficient_g"] * product
    return error


def by_blocks(np, rng, model):
    """All rectangular and all normal factors of a block at once; terms of one factor as a product with a vector."""
    kinds = np.array(model["factors"])
    even, bell = (np.flatnonzero(kinds == kind) for kind in ("rectangular", "normal"))
    place = np.empty(len(kinds), int)
    place[even], place[bell] = np.arange(len(even)), len(even) + np.arange(len(bell))
    alone = np.zeros(len(kinds))
    pairs = np.zeros((len(kinds), len(kinds)))
    for term in model["terms"]:
        at = place[term["factors"]]
        if len(at) == 1:
            alone[at[0]] += term["coefficient_g"]
        else:
            pairs[at[0], at[1]] += term["coefficient_g"]
    partners = np.flatnonzero(pairs.any(axis=0))
    weights = np.column_stack([alone, pairs[:, partners]])
    error = np.empty(DRAWS)
    for begin in range(0, DRAWS, BLOCK):
        n = min(BLOCK, DRAWS - begin)
        x = np.empty((n, len(kinds)))
        x[:, : len(even)] = rng.uniform(-1.0, 1.0, (n, len(even)))
        x[:, len(even) :] = rng.standard_normal((n, len(bell)))
        sums = x @ weights
        error[begin : begin + n] = sums[:, 0] + np.einsum("ij,ij->i", sums[:, 1:], x[:, partners])
    return error


def timed(repeat, work):
    seconds, spread = [], 0.0
    for _ in range(repeat):
        begun = time.perf_counter()
        error = work()
        seconds.append(time.perf_counter() - begun)
        spread = float(error.std())
    return min(seconds), spread


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--inside", action="store_true")
    options = parser.parse_args()
    if not options.inside:
        sys.exit(in_own_environment())
    import numpy as np

    model = ours(options.repeat)
    rng = np.random.default_rng(1)
    found = {
        "ours": (min(model["seconds"]), model["spread_g"]),
        "NumPy, term by term": timed(options.repeat, lambda: by_terms(np, rng, model)),
        "NumPy, by blocks": timed(options.repeat, lambda: by_blocks(np, rng, model)),
    }
    for name, (_, spread) in found.items():
        if abs(spread / model["u_g"] - 1.0) > 0.005:
            sys.exit(f"{name}: standard deviation {spread} g, expected {model['u_g']} g")
    print(f"{len(model['factors'])} factors, {len(model['terms'])} terms, {DRAWS} draws, NumPy {np.__version__}")
    for name, (seconds, spread) in found.items():
        print(f"{name:20} {1e3 * seconds:8.1f} ms   u = {spread:.3f} g")
    best = min(seconds for name, (seconds, _) in found.items() if name != "ours")
    print(f"ratio to the faster of NumPy's: {best / found['ours'][0]:.1f}")


if __name__ == "__main__":
    main()
