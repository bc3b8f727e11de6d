#!/usr/bin/env python3
"""Side by side with pandas, NumPy and SciPy: a day's recording of 24 cells at 10 samples a second.

`bedplate weigh` reads the file, checks every channel, removes spikes, weighs, judges what happened and writes weights.csv. The peer does
far less on the same file: it reads it, turns counts into kilograms with the calibration's lines, divides by the cosine of the angle, sums, and filters the
sum with the four poles of the live figure (`scipy.signal.lfilter`); with `medians` it also removes spikes by a running median of five a channel.
The two are timed in turns, whole processes of ours and function calls of the peer's (which is thus spared its imports), and no ratio is printed unless the
peer's filtered sum less the tare agrees with our weights where they are settled and nothing but the patient lies there.

Usage   cargo build --release -p bedplate
        python3 crates/weigh/benches/peers/replay.py [--repeat 3] [--keep FOLDER]
        Makes an environment of its own with the pinned libraries, and the day of some 170 MB, in a temporary folder.
"""

import argparse
import json
import pathlib
import resource
import subprocess
import sys
import tempfile
import time

LIBRARIES = ["numpy==2.4.6", "pandas==3.1.1", "scipy==1.17.1"]
ROOT = pathlib.Path(__file__).resolve().parents[4]
BEDPLATE = ROOT / "target" / "release" / "bedplate"
TAU_S, DT_S = 0.45, 0.1
MORE_CELLS = {
    "B4": [("B9", 375.0, 212.5)],
    "B8": [("B10", 375.0, 212.5)],
    "S4": [("S5", 215.0, 430.0), ("S6", 215.0, 200.0)],
    "L3": [("L7", 610.0, 60.0)],
    "L6": [("L8", 610.0, 60.0)],
}
SCENARIO = """name = "a day to be replayed"
hours = 24.0
rate_hz = 10.0
"""


def in_own_environment():
    """Runs this script again with the pinned libraries."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-m", "venv", folder], check=True)
        python = str(pathlib.Path(folder, "bin", "python"))
        subprocess.run([python, "-m", "pip", "install", "--quiet", *LIBRARIES], check=True)
        return subprocess.run([python, __file__, "--inside", *sys.argv[1:]]).returncode


def make_day(folder):
    """The example's deck with six more cells, a bench run, its calibration and a day, all from the twin."""
    text = (ROOT / "crates" / "twin" / "data" / "deck.toml").read_text()
    for after, cells in MORE_CELLS.items():
        line = next(line for line in text.splitlines() if f'name = "{after}"' in line)
        more = "".join(f'\n  {{ name = "{name}", type = "bar 60", at_mm = [{x}, {y}] }},' for name, x, y in cells)
        text = text.replace(line, line + more)
    deck, scenario = folder / "deck.toml", folder / "scenario.toml"
    deck.write_text(text)
    scenario.write_text(SCENARIO)
    make = ["twin", str(deck), "--scenario", str(scenario), "--output", str(folder / "day"), "--seed", "5"]
    subprocess.run([BEDPLATE, *make], check=True, stdout=subprocess.DEVNULL)
    calibration = folder / "calibration.json"
    run = ["calibrate", str(deck), str(folder / "day" / "run.csv"), "--output", str(calibration)]
    subprocess.run([BEDPLATE, *run], stdout=subprocess.DEVNULL)
    return deck, calibration, folder / "day" / "recording.csv", folder / "day" / "actions.csv"


def peer(deck, calibration, recording, medians):
    """Filtered sum of all cells, kg."""
    import numpy as np
    import pandas as pd
    from scipy import ndimage, signal

    table = pd.read_csv(recording)
    lines = {cell["name"]: cell for cell in json.loads(calibration.read_text())["cells"]}
    names = [name for name in table.columns if name in lines]
    counts = table[names].to_numpy()
    if medians:
        counts = ndimage.median_filter(counts, size=(5, 1))
    zero = np.array([lines[name]["zero_counts"] for name in names])
    gain = np.array([lines[name]["kg_per_count"] for name in names])
    section = {"B": "back", "S": "seat", "L": "legs"}
    cosines = np.column_stack([np.cos(np.radians(table[f"tilt_{section[name[0]]}_deg"])) for name in names])
    total = ((counts - zero) * gain / cosines).sum(axis=1)
    a = np.exp(-DT_S / TAU_S)
    b4, a4 = [(1 - a) ** 4], np.poly([a] * 4)
    filtered, _ = signal.lfilter(b4, a4, total, zi=signal.lfilter_zi(b4, a4) * total[0])
    return table["t_s"].to_numpy(), filtered


def ours(deck, calibration, recording, actions, out):
    subprocess.run(
        [BEDPLATE, "weigh", deck, calibration, recording, "--actions", actions, "--output", out, "--json"],
        check=True, stdout=subprocess.DEVNULL,
    )


def timed(task):
    started = time.perf_counter()
    result = task()
    return time.perf_counter() - started, result


def agree(t_s, filtered, recording, weights):
    """Largest difference of ours and the peer's over the first hour's settled rows, as changes from the first of them, kg."""
    import numpy as np
    import pandas as pd

    rows = pd.read_csv(weights)
    rows = rows[(rows.state == "settled") & (rows.t_s < 3600.0)]
    theirs = np.interp(rows.t_s, t_s, filtered)
    off = (rows.patient_kg - theirs).to_numpy()
    return float(np.median(np.abs(off - np.median(off)))), len(rows)


def compare(repeat, keep):
    with tempfile.TemporaryDirectory() as temporary:
        folder = pathlib.Path(keep or temporary)
        folder.mkdir(parents=True, exist_ok=True)
        deck, calibration, recording, actions = make_day(folder)
        weights = folder / "weights.csv"
        times = {"ours": [], "peer": [], "peer, medians": []}
        for _ in range(repeat):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            spent, _ = timed(lambda: ours(deck, calibration, recording, actions, weights))
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            times["ours"].append((spent, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime))
            for name, medians in (("peer", False), ("peer, medians", True)):
                cpu = time.process_time()
                spent, (t_s, filtered) = timed(lambda: peer(deck, calibration, recording, medians))
                times[name].append((spent, time.process_time() - cpu))
        apart_kg, n_rows = agree(t_s, filtered, recording, weights)
        # Both see the same load; what scatters is breathing, which the plateau averages and the low-pass lets through.
        if n_rows < 600 or apart_kg > 0.03:
            sys.exit(f"the two differ by {apart_kg:.3f} kg over {n_rows} rows: no ratio")
        best = {name: [min(column) for column in zip(*pairs)] for name, pairs in times.items()}
        size = recording.stat().st_size / 1e6
        for name, (wall_s, cpu_s) in best.items():
            print(f"{name:14} {wall_s:6.2f} s by the clock, {cpu_s:6.2f} s of processors, {size / wall_s:5.0f} MB/s of {size:.0f} MB")
        for name in ("peer", "peer, medians"):
            by_clock, by_cpu = (best[name][i] / best["ours"][i] for i in (0, 1))
            print(f"ratio to {name}: {by_clock:.1f} by the clock, {by_cpu:.1f} by processors")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--keep", help="a folder for the day, to be looked at afterwards")
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.inside:
        compare(arguments.repeat, arguments.keep)
    else:
        sys.exit(in_own_environment())
