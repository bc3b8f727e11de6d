#!/usr/bin/env python3
"""How many lines of each computing crate its own tests run, unit, reference and law tests together.

Usage   python3 checks/coverage.py [CRATE …]
        Needs `cargo install cargo-tarpaulin`. Builds an instrumented tree below target/coverage, measures the crates named (all, if none
        is) and puts their rows into checks/coverage.md; the rows of others stay with the commit that they were measured on.

A line of one crate that only another crate's tests run counts as not run: every crate has to stand by itself.
"""

import json
import os
import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
FOLDER = ROOT / "target" / "coverage"
PAGE = ROOT / "checks" / "coverage.md"
COMPUTING = ("stats", "plates", "body", "signal", "deck", "design", "calibrate", "verify", "weigh", "balance", "twin")
# A file with a smaller share is named.
LOW = 0.85
# Tests that take hours with counters in the solver's loops: what they alone run is not counted.
SKIPPED = {"design": ["random_decks_come_within_the_promised_accuracy"]}
# With counters in every branch and no optimisation the plates alone take hours.
OPTIMISED = {"CARGO_PROFILE_DEV_OPT_LEVEL": "2", "CARGO_PROFILE_TEST_OPT_LEVEL": "2"}

HEAD = f"""# Lines that the tests run

Of the computing crates, each by its own tests (unit, reference and law tests; not those of the built program), on the commit that stands beside it.
Made by `checks/coverage.py`.

A line of one crate that only another crate's tests run counts as not run.

The rows of calibrate and design on 5bfc1cc were counted otherwise, with the compiler's counters in the measured crate alone (a wrapper around the compiler, `llvm-cov`): with counters
in every library their tests take hours. For design its unit, law, contract and reference tests did not run, so that its row says too little.
"""


def lines_of(crate):
    """Lines that can run and lines that ran, by file of the crate, after its own tests."""
    command = ["cargo", "tarpaulin", "--package", f"bedplate-{crate}", "--engine", "llvm", "--skip-clean", "--timeout", "7200"]
    command += ["--target-dir", str(FOLDER / "build"), "--out", "Json", "--output-dir", str(FOLDER)]
    command += ["--", *(word for test in SKIPPED.get(crate, []) for word in ("--skip", test))]
    if subprocess.run(command, cwd=ROOT, stdout=sys.stderr, env={**os.environ, **OPTIMISED}).returncode != 0:
        sys.exit(f"the tests of {crate} did not pass when measured")
    report = json.loads((FOLDER / "tarpaulin-report.json").read_text())
    found = {}
    for file in report["files"]:
        path = pathlib.PurePath(*file["path"]).relative_to(ROOT)
        if path.parts[:3] == ("crates", crate, "src"):
            found["/".join(path.parts[3:])] = (file["coverable"], file["covered"])
    return found


def kept():
    """What the page says already: lines, lines that ran and commit by crate; lines and lines that ran of its named files."""
    page = PAGE.read_text() if PAGE.exists() else ""
    crates = {
        name: (int(n.replace(",", "")), int(k.replace(",", "")), on)
        for name, n, k, on in re.findall(r"(?m)^\| (\w+) \| ([\d,]+) \| ([\d,]+) \| [\d.]+ % \| (\w+) \|$", page)
    }
    files = {path: (int(n), int(k)) for path, n, k in re.findall(r"(?m)^\| `(.+)` \| (\d+) \| (\d+) \| \d+ % \|$", page)}
    return crates, files


def page_of(crates, files):
    rows = [(name, *crates[name]) for name in COMPUTING if name in crates]
    lines, ran = (sum(row[i] for row in rows) for i in (1, 2))
    missing = [name for name in COMPUTING if name not in crates]
    return "\n".join(
        [
            HEAD,
            "| crate | lines that can run | ran | share | on |\n|---|---|---|---|---|",
            *(f"| {name} | {n:,} | {k:,} | {100 * k / n:.1f} % | {on} |" for name, n, k, on in rows),
            f"| {'these' if missing else 'all'} | {lines:,} | {ran:,} | {100 * ran / lines:.1f} % | |",
            *([f"\nNot measured: {', '.join(missing)}."] if missing else []),
            f"\nFiles below {LOW:.0%}:\n".replace("%", " %"),
            "| file | lines that can run | ran | share |\n|---|---|---|---|",
            *(f"| `{path}` | {n} | {k} | {100 * k / n:.0f} % |" for path, (n, k) in sorted(files.items())),
            "",
        ]
    )


def main():
    crates, files = kept()
    head = subprocess.run(["git", "rev-parse", "--short=7", "HEAD"], cwd=ROOT, check=True, capture_output=True, text=True)
    for crate in sys.argv[1:] or COMPUTING:
        if crate not in COMPUTING:
            sys.exit(f"no computing crate {crate}; expected one of {', '.join(COMPUTING)}")
        found = lines_of(crate)
        lines, ran = (sum(pair[i] for pair in found.values()) for i in (0, 1))
        crates[crate] = (lines, ran, head.stdout.strip())
        print(f"{crate}: {ran:,} of {lines:,} lines, {100 * ran / lines:.1f} %", flush=True)
        others = {path: pair for path, pair in files.items() if not path.startswith(f"{crate}/")}
        low = {f"{crate}/src/{name}": (n, k) for name, (n, k) in found.items() if n and k < LOW * n}
        files = others | low
        aside = PAGE.with_suffix(".part")
        aside.write_text(page_of(crates, files))
        aside.replace(PAGE)


if __name__ == "__main__":
    main()
