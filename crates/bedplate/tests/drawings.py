"""Opens drawings with a general-purpose DXF reader and compares them with the deck file.

    python3 -m venv V && V/bin/pip install ezdxf==1.4.5 && V/bin/python drawings.py DECK.toml FOLDER

FOLDER is what `bedplate draw DECK.toml -o FOLDER` wrote. Exits 1 at the first difference.
"""

import re
import sys
import tomllib
from pathlib import Path

import ezdxf

# Coordinates are written to 1e-6 mm; half of that is lost in rounding.
NEAR_MM = 1e-6


def opened(path):
    doc = ezdxf.readfile(path)
    audit = doc.audit()
    assert not audit.errors and not audit.fixes, f"{path}: {[e.message for e in audit.errors + audit.fixes]}"
    assert doc.header.get("$INSUNITS", 4) == 4, f"{path}: not in millimetres"
    return doc.modelspace()


def near(found, wanted, what):
    found, wanted = sorted(map(tuple, found)), sorted(map(tuple, wanted))
    assert len(found) == len(wanted), f"{what}: found {len(found)}, expected {len(wanted)}"
    for one, other in zip(found, wanted):
        assert all(abs(a - b) <= NEAR_MM for a, b in zip(one, other)), f"{what}: found {one}, expected {other}"


def circles(space, layer):
    return [(c.dxf.center.x, c.dxf.center.y) for c in space.query(f'CIRCLE[layer=="{layer}"]')]


def sides(space, layer):
    """Lines as (x0, y0, x1, y1), lower end first."""
    lines = space.query(f'LINE[layer=="{layer}"]')
    return [sum(sorted([(l.dxf.start.x, l.dxf.start.y), (l.dxf.end.x, l.dxf.end.y)]), ()) for l in lines]


def rectangle(x, y, length, width):
    return [
        (x, y, x + length, y),
        (x, y + width, x + length, y + width),
        (x, y, x, y + width),
        (x + length, y, x + length, y + width),
    ]


def rib(of, plate):
    length, width = plate["size_mm"]
    low = of["at_mm"] - of["width_mm"] / 2
    return rectangle(0, low, length, of["width_mm"]) if of["along"] == "x" else rectangle(low, 0, of["width_mm"], width)


def check_plate(plate, folder):
    path = folder / ("plate-" + re.sub(r"\W", "-", plate["name"]) + ".dxf")
    space = opened(path)
    near(sides(space, "OUTLINE"), rectangle(0, 0, *plate["size_mm"]), f"{path}: outline")
    near(circles(space, "CELL"), [c["at_mm"] for c in plate["cells"]], f"{path}: cells")
    near(sides(space, "RIB"), sum((rib(r, plate) for r in plate.get("ribs", [])), []), f"{path}: ribs")
    words = [t.dxf.text for t in space.query("TEXT")]
    for layer in plate["layers"]:
        line = f"  {layer['material']}  {layer['thickness_mm']:g} mm"
        assert line in words, f"{path}: no layer {line!r} in {words}"
    for x, y in (c["at_mm"] for c in plate["cells"]):
        assert f"{x:g}" in words and f"{y:g}" in words, f"{path}: no dimension {x:g} or {y:g}"


def check_assembly(deck, folder):
    space = opened(folder / "assembly.dxf")
    plates = deck["plate"]
    near(sides(space, "OUTLINE"), sum((rectangle(*p["origin_mm"], *p["size_mm"]) for p in plates), []), "outlines")
    cells = [tuple(o + a for o, a in zip(p["origin_mm"], c["at_mm"])) for p in plates for c in p["cells"]]
    near(circles(space, "CELL"), cells, "cells on the bed")
    high = max(p["origin_mm"][1] + p["size_mm"][1] for p in plates)
    start, wanted = 0.0, []
    for section in deck["section"]:
        wanted += rectangle(start, 0, section["length_mm"], high)
        start += section["length_mm"]
    near(sides(space, "SECTION"), wanted, "sections")


def main():
    deck = tomllib.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    folder = Path(sys.argv[2])
    for plate in deck["plate"]:
        check_plate(plate, folder)
    check_assembly(deck, folder)
    print(f"{len(deck['plate']) + 1} drawings hold what {deck['deck']['name']} says")


if __name__ == "__main__":
    try:
        main()
    except AssertionError as found:
        sys.exit(f"FAILED: {found}")
