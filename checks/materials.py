#!/usr/bin/env python3
"""Lists every crate that the program is built of, with its licence, and writes the bill of materials of a release.

    materials.py                    checks the licences and prints how many crates stand under each
    materials.py --page FILE.md     writes the list for people, docs/licences.md
    materials.py --bill FILE.json   writes the bill in CycloneDX 1.6; needs cyclonedx-python-lib 11

Exits 1 when a crate stands under none of the licences that this project takes.
"""
import argparse
import json
import pathlib
import re
import subprocess
import sys

# Licences under which a crate may be built in. All let the program be given away in binary form with their texts.
TAKEN = {"MIT", "Apache-2.0", "Apache-2.0 WITH LLVM-exception", "BSD-2-Clause", "BSD-3-Clause", "ISC", "Zlib", "0BSD",
         "Unicode-3.0", "CC0-1.0", "MIT-0", "BSL-1.0", "Unlicense", "CDLA-Permissive-2.0", "MPL-2.0"}
ROOT = pathlib.Path(__file__).resolve().parent.parent


def crates():
    """What the program is built of: all that it reaches on Linux but what only builds or tests."""
    text = subprocess.run(["cargo", "metadata", "--format-version", "1", "--locked", "--filter-platform", "x86_64-unknown-linux-gnu"],
                          cwd=ROOT, check=True, capture_output=True, text=True).stdout
    metadata = json.loads(text)
    packages = {p["id"]: p for p in metadata["packages"]}
    nodes = {n["id"]: n for n in metadata["resolve"]["nodes"]}
    first = next(p["id"] for p in metadata["packages"] if p["name"] == "bedplate")
    reached, waiting = set(), [first]
    while waiting:
        package = waiting.pop()
        if package in reached:
            continue
        reached.add(package)
        for dependency in nodes[package]["deps"]:
            if any(kind["kind"] is None for kind in dependency["dep_kinds"]):
                waiting.append(dependency["pkg"])
    found = [packages[p] for p in reached if packages[p]["source"]]
    return sorted(found, key=lambda p: (p["name"], p["version"]))


def is_taken(expression):
    """Whether an SPDX expression of AND and OR lets a crate in: one side of an OR, both sides of an AND."""
    expression = expression.replace("/", " OR ")
    tokens = re.findall(r"\(|\)|\bAND\b|\bOR\b|[A-Za-z0-9.\-]+(?: WITH [A-Za-z0-9.\-]+)?", expression)

    def either():
        value = both()
        while tokens and tokens[0] == "OR":
            tokens.pop(0)
            value = both() or value
        return value

    def both():
        value = one()
        while tokens and tokens[0] == "AND":
            tokens.pop(0)
            value = one() and value
        return value

    def one():
        token = tokens.pop(0)
        if token == "(":
            value = either()
            tokens.pop(0)
            return value
        return token in TAKEN

    return either()


def page(found):
    text = ["# Licences", "", "Made by `checks/materials.py`. Bedplate itself stands under MIT or Apache-2.0, at your choice. Its program is built",
            f"of {len(found)} crates of others; `checks/materials.py --bill FILE.json` writes them as a CycloneDX bill of materials.", "",
            "| crate | version | licence |", "|---|---|---|"]
    text += [f"| {p['name']} | {p['version']} | {p['license'].replace('/', ' OR ')} |" for p in found]
    return "\n".join(text) + "\n"


def bill(found):
    from cyclonedx.contrib.license.factories import LicenseFactory
    from cyclonedx.model.bom import Bom
    from cyclonedx.model.component import Component, ComponentType
    from cyclonedx.output.json import JsonV1Dot6
    from packageurl import PackageURL
    bom, licences = Bom(), LicenseFactory()
    bom.metadata.component = Component(name="bedplate", type=ComponentType.APPLICATION)
    for package in found:
        bom.components.add(Component(
            name=package["name"], version=package["version"], type=ComponentType.LIBRARY,
            purl=PackageURL("cargo", name=package["name"], version=package["version"]),
            licenses=[licences.make_from_string(package["license"].replace("/", " OR "))]))
    return JsonV1Dot6(bom).output_as_string(indent=2)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--page")
    parser.add_argument("--bill")
    given = parser.parse_args()
    found = crates()
    bad = [f"{p['name']} {p['version']}: {p['license']}" for p in found if not p["license"] or not is_taken(p["license"])]
    if bad:
        sys.exit("not under a licence that this project takes:\n  " + "\n  ".join(bad))
    if given.page:
        pathlib.Path(given.page).write_text(page(found))
    if given.bill:
        pathlib.Path(given.bill).write_text(bill(found))
    print(f"{len(found)} crates, all under licences that this project takes")


if __name__ == "__main__":
    main()
