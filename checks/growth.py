#!/usr/bin/env python3
"""How the cost of a verb grows with its data: processor time and memory at 1, 3.16 and 10 times as much, with the fitted exponent.

`weigh` on a longer recording and on more cells, `calibrate` on a longer run and on more cells, `balance` on longer charts,
`check` on more plates. All data are invented: they come from the twin, or
are cut from, or repeat, the files that `bedplate demo --no-serve --dir` leaves. Processor time (user and system) is the best of
three runs, less that of `bedplate --version`, so that other work on the machine matters little. The exponent is the slope of the
logarithms between the smallest and the largest.

Usage   python3 checks/growth.py path/to/bedplate
"""

import csv
import itertools
import math
import os
import pathlib
import re
import subprocess
import sys
import tempfile

SHARES = (1.0, 10**0.5, 10.0)
REPEATS = 3
if len(sys.argv) != 2:
    sys.exit(__doc__)
BEDPLATE = pathlib.Path(sys.argv[1]).resolve()


def cost(command, folder):
    """Processor seconds and largest memory, MB, of one run."""
    process = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    message = process.stderr.read()
    _, status, used = os.wait4(process.pid, 0)
    code = os.waitstatus_to_exitcode(status)
    # 1 is a limit that is not met: the work was done.
    if code not in (0, 1):
        sys.exit(f"{' '.join(map(str, command))} ended with {code}: {message}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def best(command, folder):
    runs = [cost(command, folder) for _ in range(REPEATS)]
    return min(seconds for seconds, _ in runs), max(memory for _, memory in runs)


def lines(path):
    return path.read_text().splitlines(keepends=True)


def first(path, rows):
    """The head and the first `rows` rows of a CSV file, under a name of its own.

    Never the whole file in memory: a child's largest memory counts from what its parent held when it began.
    """
    out = path.with_name(f"{path.stem}-{rows}.csv")
    with open(path) as all_rows, open(out, "w") as some:
        some.writelines(itertools.islice(all_rows, rows + 1))
    return out.name


def n_rows(path):
    with open(path) as rows:
        return sum(1 for _ in rows) - 1


def weigh(folder, share):
    rows = round(share / SHARES[-1] * n_rows(folder / "recording.csv"))
    return rows, "seconds of 18 cells", ["weigh", "deck.toml", "calibration.json", first(folder / "recording.csv", rows), "-o", "out.csv"]


def calibrate(folder, share):
    head, *body = lines(folder / "run.csv")
    rows = round(share * len(body))
    # The step is the first column; the readings are repeated as they are.
    again = (f"{i + 1},{body[i % len(body)].split(',', 1)[1]}" for i in range(rows))
    name = f"run-{rows}.csv"
    (folder / name).write_text(head + "".join(again))
    return rows, "rows of 18 cells", ["calibrate", "deck.toml", name, "-o", "out.json"]


def balance(folder, share):
    rows = round(share / SHARES[-1] * n_rows(folder / "weights.csv"))
    weights = first(folder / "weights.csv", rows)
    last = lines(folder / weights)[-1].split(",", 1)[0]
    with open(folder / "chart.csv", newline="") as chart:
        head, *body = list(csv.reader(chart))
    at = head.index("time")
    name = f"chart-{rows}.csv"
    with open(folder / name, "w", newline="") as out:
        csv.writer(out).writerows([head, *(row for row in body if row[at] <= last)])
    return rows, "minutes of weights", ["balance", "patient.toml", weights, name]


def deck_of(folder, plates):
    """Plates like the first of the deck, one after the other on one section, under an even load."""
    text = (folder / "deck.toml").read_text()
    tables = re.split(r"(?m)^(?=\[)", text)
    first_plate = next(t for t in tables if t.startswith("[[plate]]"))
    length = float(re.search(r"size_mm = \[([\d.]+),", first_plate)[1])
    skipped = ("[[plate]]", "[[section]]", "[[load_case]]", "[explore")
    kept = [t for t in tables if t.startswith("[") and not t.startswith(skipped)]
    kept.append(f'[[section]]\nname = "all"\nlength_mm = {plates * (length + 10.0) + 20.0}\nangle_deg = [0.0, 0.0]\n\n')
    for i in range(plates):
        plate = re.sub(r'(?m)^name = ".*"', f'name = "plate {i}"', first_plate, count=1)
        plate = re.sub(r'(?m)^section = ".*"', 'section = "all"', plate)
        plate = re.sub(r"(?m)^origin_mm = .*", f"origin_mm = [{10.0 + i * (length + 10.0)}, 10.0]", plate)
        kept.append(re.sub(r'name = "B(\d)"', rf'name = "P{i}-\1"', plate))
    kept.append('[[load_case]]\nname = "even"\neven_kg = 100.0\n')
    name = f"deck-{plates}.toml"
    (folder / name).write_text("".join(kept))
    return name


def check(folder, share):
    plates = round(2 * share)
    return plates, "plates of 4 cells", ["check", deck_of(folder, plates)]


def lived(folder, share):
    """A deck of 1, 3 or 10 plates, and the folder in which the twin left half an hour on it and its calibration."""
    plates = round(share)
    deck, out = deck_of(folder, plates), folder / f"lived-{plates}"
    if not out.exists():
        (folder / "half.toml").write_text("hours = 0.5\nrate_hz = 10.0\n")
        bedplate = [BEDPLATE, "twin", deck, "-o", out.name, "--scenario", "half.toml"]
        subprocess.run(bedplate, cwd=folder, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        fit = [BEDPLATE, "calibrate", deck, f"{out.name}/run.csv", "-o", f"{out.name}/calibration.json"]
        if subprocess.run(fit, cwd=folder, stdout=subprocess.DEVNULL).returncode == 2:
            sys.exit(f"the run of {deck} cannot be fitted")
    return 4 * plates, deck, out.name


def weigh_cells(folder, share):
    cells, deck, out = lived(folder, share)
    return cells, "cells, 18,000 samples", ["weigh", deck, f"{out}/calibration.json", f"{out}/recording.csv", "-o", "out.csv"]


def calibrate_cells(folder, share):
    cells, deck, out = lived(folder, share)
    return cells, "cells, each placed alike", ["calibrate", deck, f"{out}/run.csv", "-o", "out.json"]


def main():
    bedplate = BEDPLATE
    with tempfile.TemporaryDirectory() as place:
        subprocess.run([bedplate, "demo", "--no-serve", "--dir", place], check=True, stdout=subprocess.DEVNULL)
        folder = pathlib.Path(place)
        nothing, _ = best([bedplate, "--version"], folder)
        print("| verb | data | processor, s | memory, MB | exponent |\n|---|---|---|---|---|")
        for task in (check, calibrate, calibrate_cells, weigh, weigh_cells, balance):
            found = []
            for share in SHARES:
                size, what, arguments = task(folder, share)
                seconds, memory = best([bedplate, *arguments], folder)
                found.append((size, max(seconds - nothing, 1e-4), memory))
            (n0, s0, _), (n1, s1, _) = found[0], found[-1]
            exponent = math.log(s1 / s0) / math.log(n1 / n0)
            sizes, times, memories = (", ".join(form(v) for v in column) for column, form in zip(
                zip(*found), (str, lambda s: f"{s:.3f}", lambda m: f"{m:.0f}")))
            print(f"| `{arguments[0]}` | {sizes} {what} | {times} | {memories} | {exponent:.2f} |", flush=True)


if __name__ == "__main__":
    main()
