#!/usr/bin/env python3
"""Side by side with readers of CSV from the package registry: a recording of seven cells at 10 samples a second, from memory, one thread.

Ours checks every row (times that rise, counts a converter can give, empty cells) and gives it sample by sample in constant
memory; the others give whole columns and check nothing but the type. Both sides must find the same rows and the same sum of
counts. Best of several runs by the clock, each side alone.

Usage   python3 crates/formats/benches/peers/reading_peer.py [--repeat 7] [--hours 10]
        Makes an environment of its own with the pinned readers in a temporary folder, and removes it.
        Needs a release build of the example `read_recording`, which it makes.
"""

import argparse
import io
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import time

READERS = ("pandas==3.1.1", "polars==2.1.0", "pyarrow==26.0.1")
CELLS = ("H1", "H2", "H3", "H4", "F1", "F2", "F3")
ROOT = pathlib.Path(__file__).resolve().parents[4]


def in_own_environment():
    """Runs this script again with the pinned readers and one thread."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-m", "venv", folder], check=True)
        python = str(pathlib.Path(folder, "bin", "python"))
        subprocess.run([python, "-m", "pip", "install", "--quiet", *READERS], check=True)
        one = {"POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1"}
        return subprocess.run([python, __file__, "--inside", *sys.argv[1:]], env=os.environ | one).returncode


def recording(hours):
    """Rows as a converter writes them: whole counts, one decimal of time and temperature."""
    rows = [f"t_s,temperature_C,tilt_back_deg,{','.join(CELLS)}\n"]
    for i in range(round(hours * 36_000)):
        scattered = i * 2_654_435_761 % 2**32
        counts = ",".join(str(100_000 + (scattered >> (8 + cell)) % 1000) for cell in range(len(CELLS)))
        rows.append(f"{i // 10}.{i % 10},22.8,30.0,{counts}\n")
    return "".join(rows).encode()


def ours(path, repeat):
    deck = ROOT / "crates/formats/tests/data/deck.toml"
    run = ["cargo", "run", "--release", "--quiet", "-p", "bedplate-formats", "--example", "read_recording", "--"]
    done = subprocess.run([*run, deck, path, str(repeat)], cwd=ROOT, check=True, capture_output=True, text=True)
    found = json.loads(done.stdout)
    return found["seconds"], found["rows"], found["sum"]


def best(read, text, repeat):
    """Seconds, rows and sum of counts of one reader."""
    seconds = []
    for _ in range(repeat):
        start = time.perf_counter()
        rows, total = read(text)
        seconds.append(time.perf_counter() - start)
    return min(seconds), rows, total


def readers():
    import pandas
    import polars
    import pyarrow.csv

    def by_pandas(text):
        table = pandas.read_csv(io.BytesIO(text))
        return len(table), float(sum(table[cell].sum() for cell in CELLS))

    def by_polars(text):
        table = polars.read_csv(text)
        return len(table), float(sum(table[cell].sum() for cell in CELLS))

    def by_pyarrow(text):
        table = pyarrow.csv.read_csv(io.BytesIO(text), read_options=pyarrow.csv.ReadOptions(use_threads=False))
        return len(table), float(sum(pyarrow.compute.sum(table[cell]).as_py() for cell in CELLS))

    import pyarrow.compute

    return {
        f"pandas {pandas.__version__}": by_pandas,
        f"polars {polars.__version__}": by_polars,
        f"pyarrow {pyarrow.__version__}": by_pyarrow,
    }


def main():
    parser = argparse.ArgumentParser(description="Reading a recording, beside readers of the registry.")
    parser.add_argument("--repeat", type=int, default=7)
    parser.add_argument("--hours", type=float, default=10.0)
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if not chosen.inside:
        sys.exit(in_own_environment())
    text = recording(chosen.hours)
    with tempfile.NamedTemporaryFile(suffix=".csv") as file:
        file.write(text)
        file.flush()
        our_s, our_rows, our_sum = ours(file.name, chosen.repeat)
    print(f"{len(text) / 1e6:.1f} MB, {our_rows} rows of {len(CELLS)} cells; best of {chosen.repeat} runs, one thread")
    print(f"{'bedplate':16} {our_s * 1e3:7.1f} ms  {len(text) / our_s / 1e6:6.0f} MB/s")
    for name, read in readers().items():
        seconds, rows, total = best(read, text, chosen.repeat)
        if (rows, total) != (our_rows, our_sum):
            sys.exit(f"{name} found {rows} rows and {total}, expected {our_rows} and {our_sum}")
        speed = len(text) / seconds / 1e6
        print(f"{name:16} {seconds * 1e3:7.1f} ms  {speed:6.0f} MB/s  {seconds / our_s:5.2f} times as long")


if __name__ == "__main__":
    main()
