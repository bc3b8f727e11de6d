#!/usr/bin/env python3
"""How many lines of each computing crate its own tests run, unit, reference and law tests together.

Usage   python3 checks/coverage.py
        Needs `cargo install cargo-tarpaulin`. Builds an instrumented tree below target/coverage and writes checks/coverage.md.

A line of one crate that only another crate's tests run counts as not run: every crate has to stand by itself.
"""

import collections
import json
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
FOLDER = ROOT / "target" / "coverage"
COMPUTING = ("stats", "plates", "body", "signal", "deck", "design", "calibrate", "verify", "weigh", "balance", "twin")
# A file with a smaller share is named.
LOW = 0.85


def lines_of(crate):
    """Lines that can run and lines that ran, by file of the crate, after its own tests."""
    command = ["cargo", "tarpaulin", "--package", f"bedplate-{crate}", "--engine", "llvm", "--skip-clean", "--timeout", "1800"]
    command += ["--target-dir", str(FOLDER / "build"), "--out", "Json", "--output-dir", str(FOLDER)]
    if subprocess.run(command, cwd=ROOT, stdout=sys.stderr).returncode != 0:
        sys.exit(f"the tests of {crate} did not pass when measured")
    report = json.loads((FOLDER / "tarpaulin-report.json").read_text())
    found = {}
    for file in report["files"]:
        path = pathlib.PurePath(*file["path"]).relative_to(ROOT)
        if path.parts[:3] == ("crates", crate, "src"):
            found["/".join(path.parts[3:])] = (file["coverable"], file["covered"])
    return found


def main():
    rows, low = [], []
    total = collections.Counter()
    for crate in COMPUTING:
        found = lines_of(crate)
        lines, ran = (sum(pair[i] for pair in found.values()) for i in (0, 1))
        total.update(lines=lines, ran=ran)
        rows.append(f"| {crate} | {lines:,} | {ran:,} | {ran / lines:.1%} |")
        print(rows[-1], flush=True)
        low += [
            f"| `{crate}/src/{name}` | {n} | {k} | {k / n:.0%} |" for name, (n, k) in sorted(found.items()) if n and k < LOW * n
        ]
    head = subprocess.run(["git", "rev-parse", "--short=10", "HEAD"], cwd=ROOT, check=True, capture_output=True, text=True)
    page = [
        "# Lines that the tests run\n",
        f"Of the computing crates, each by its own tests (unit, reference and law tests; not those of the built program). Made by "
        f"`checks/coverage.py` on {head.stdout.strip()}.\n",
        "| crate | lines that can run | ran | share |\n|---|---|---|---|",
        *rows,
        f"| all | {total['lines']:,} | {total['ran']:,} | {total['ran'] / total['lines']:.1%} |",
        f"\nFiles below {LOW:.0%}:\n",
        "| file | lines that can run | ran | share |\n|---|---|---|---|",
        *low,
    ]
    (ROOT / "checks" / "coverage.md").write_text("\n".join(page) + "\n")


if __name__ == "__main__":
    main()
