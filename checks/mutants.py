#!/usr/bin/env python3
"""Breaks one formula, limit or unit at a time and sees whether the tests notice.

    python3 checks/mutants.py [--only TEXT]...

Works in a copy of the committed tree, below target/mutants, and writes checks/mutants.md. A mutant whose text does not stand
in its file is an error: the list has to follow the code. Exits 1 when a mutant lives.
"""

import argparse
import pathlib
import subprocess
import sys
import time
import tomllib

ROOT = pathlib.Path(__file__).resolve().parent.parent
COPY = ROOT / "target" / "mutants" / "tree"


def run(*command, **options):
    return subprocess.run(command, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, **options)


def fresh_copy():
    """The committed tree in a folder of its own, whose build is kept between runs."""
    COPY.parent.mkdir(parents=True, exist_ok=True)
    if not COPY.exists():
        run("git", "clone", "--quiet", str(ROOT), str(COPY), check=True)
    head = run("git", "-C", str(ROOT), "rev-parse", "HEAD").stdout.strip()
    run("git", "-C", str(COPY), "fetch", "--quiet", "origin", "HEAD", check=True)
    run("git", "-C", str(COPY), "checkout", "--quiet", "--force", "--detach", head, check=True)
    return head


def tests_of(package):
    command = ["cargo", "test", "--quiet", "--package", f"bedplate-{package}"]
    return run(*command, cwd=COPY)


def fate(mutant):
    path = COPY / "crates" / mutant["file"]
    text = path.read_text()
    if mutant["from"] not in text:
        sys.exit(f"checks/mutants.toml: {mutant['file']}: found no `{mutant['from']}`, expected the text to be broken")
    try:
        path.write_text(text.replace(mutant["from"], mutant["to"], 1))
        result = tests_of(mutant["in"])
    finally:
        path.write_text(text)
    if result.returncode == 0:
        return "LIVES"
    failed = sorted({line.split()[1] for line in result.stdout.splitlines() if line.startswith("---- ")})
    if failed:
        return f"caught by {len(failed)}, `{failed[0]}`"
    return "caught by the compiler" if "error[" in result.stdout else "caught: " + result.stdout.strip().splitlines()[-1]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", action="append", help="only mutants whose file or description holds this text; may be given again")
    only = parser.parse_args().only
    mutants = tomllib.loads((ROOT / "checks" / "mutants.toml").read_text())["mutant"]
    mutants = [m for m in mutants if not only or any(text in m["file"] or text in m["what"] for text in only)]
    head = fresh_copy()
    for package in sorted({m["in"] for m in mutants}):
        sound = tests_of(package)
        if sound.returncode != 0:
            sys.exit(f"the tests of {package} fail before anything is broken:\n{sound.stdout}")
    rows, lives = [], 0
    for number, mutant in enumerate(mutants, 1):
        started = time.monotonic()
        found = fate(mutant)
        lives += found == "LIVES"
        rows.append(f"| `{mutant['file']}` | {mutant['what']} | {found} |")
        print(f"{number:3} of {len(mutants)}  {time.monotonic() - started:5.0f} s  {mutant['what']}: {found}", flush=True)
    print(f"{len(mutants)} broken, {len(mutants) - lives} caught, {lives} alive")
    if not only:
        page = (
            "# Formulas broken on purpose\n\nA sign, a limit or a unit changed, one at a time; the tests of one crate ran on each. "
            f"Made by `checks/mutants.py` on {head[:10]}.\n\n{len(mutants)} broken, {len(mutants) - lives} caught, {lives} alive.\n\n"
            "| file | what was broken | what the tests said |\n|---|---|---|\n"
        )
        (ROOT / "checks" / "mutants.md").write_text(page + "\n".join(rows) + "\n")
    sys.exit(1 if lives else 0)


if __name__ == "__main__":
    main()
