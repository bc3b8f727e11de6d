#!/usr/bin/env python3
"""Reference for a ribbed plate from solid elements: writes the model, runs CalculiX (ccx 2.20), prints deflections in mm.

Plate   0.7 x 0.4 m, 4 mm, E = 70 GPa, nu = 0.33; two flat bars of 10 x 20 mm of the same material glued under it along x, axes
        at y = 0.125 and 0.275 m. Held at four points of the middle surface 50 mm from the edges. z up, loads down.
Loads   even 1000 Pa; and 300 N over 0.1 x 0.1 m at x .15-.25, y .05-.15.
        --broad: plate of 3 mm with one bar of 20 x 15 mm at y = 0.2 m.
Mesh    C3D20R, squares of 10 mm (5 mm across the narrow bars), 2 elements over the plate, 4 over the bars; --fine halves all
        (12 minutes).
Usage   python ribbed_plate_solid.py DIRECTORY [--fine] [--broad]
"""

import subprocess
import sys
from pathlib import Path

import numpy as np

LX, LY = 0.7, 0.4
T, H, B, RIBS = (0.003, 0.015, 0.020, (0.2,)) if "--broad" in sys.argv else (0.004, 0.020, 0.010, (0.125, 0.275))
SUPPORTS = [(0.05, 0.05), (0.65, 0.05), (0.05, 0.35), (0.65, 0.35)]
POINTS = [(0.35, 0.2), (0.35, 0.0), (0.0, 0.2), (0.35, 0.125), (0.2, 0.1), (0.0, 0.0)]


def model(fine):
    n = 2 if fine else 1
    x = np.linspace(0, LX, 70 * n + 1)
    y = np.unique(np.round(np.r_[np.linspace(0, LY, 40 * n + 1), RIBS], 9))
    z = np.unique(np.round(np.r_[np.linspace(-H, 0, 4 * n + 1), np.linspace(0, T, 2 * n + 1)], 9))
    grids = [np.sort(np.r_[v, 0.5 * (v[1:] + v[:-1])]) for v in (x, y, z)]
    ids, coordinates, elements, tops = {}, [], [], []

    def node(i, j, k):
        key = (i, j, k)
        if key not in ids:
            ids[key] = len(ids) + 1
            coordinates.append((grids[0][i], grids[1][j], grids[2][k]))
        return ids[key]

    corners = [(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0), (0, 0, 2), (2, 0, 2), (2, 2, 2), (0, 2, 2)]
    middles = [(1, 0, 0), (2, 1, 0), (1, 2, 0), (0, 1, 0), (1, 0, 2), (2, 1, 2), (1, 2, 2), (0, 1, 2),
               (0, 0, 1), (2, 0, 1), (2, 2, 1), (0, 2, 1)]
    for c in range(len(z) - 1):
        for b in range(len(y) - 1):
            middle_y = 0.5 * (y[b] + y[b + 1])
            if z[c + 1] < 1e-9 and not any(abs(middle_y - r) < B / 2 for r in RIBS):
                continue
            for a in range(len(x) - 1):
                elements.append([node(2 * a + i, 2 * b + j, 2 * c + k) for i, j, k in corners + middles])
                if c == len(z) - 2:
                    tops.append((len(elements), 0.5 * (x[a] + x[a + 1]), middle_y))
    return np.array(coordinates), elements, tops


def at(coordinates, p, z):
    return int(np.argmin(np.abs(coordinates - [*p, z]).sum(axis=1))) + 1


def run(directory, name, fine, pressure):
    coordinates, elements, tops = model(fine)
    out = ["*NODE,NSET=ALL"]
    out += [f"{i + 1},{x:.9f},{y:.9f},{z:.9f}" for i, (x, y, z) in enumerate(coordinates)]
    out.append("*ELEMENT,TYPE=C3D20R,ELSET=E")
    for i, e in enumerate(elements):
        out += [",".join(map(str, [i + 1, *e[:15]])) + ",", ",".join(map(str, e[15:]))]
    out += ["*MATERIAL,NAME=M", "*ELASTIC", "70e9,0.33", "*SOLID SECTION,ELSET=E,MATERIAL=M", "*BOUNDARY"]
    held = [at(coordinates, p, T / 2) for p in SUPPORTS]
    out += [f"{i},3,3" for i in held] + [f"{held[0]},1,2", f"{held[1]},2,2"]
    out += ["*STEP", "*STATIC", "*DLOAD"]
    out += [f"{i},P2,{p}" for i, p in ((i, pressure(x, y)) for i, x, y in tops) if p]
    points = [at(coordinates, p, T / 2) for p in POINTS]
    out += ["*NODE PRINT,NSET=P", "U", "*END STEP"]
    out.insert(out.index("*STEP"), "*NSET,NSET=P\n" + ",\n".join(map(str, points)))
    (directory / f"{name}.inp").write_text("\n".join(out) + "\n")
    subprocess.run(["ccx", name], cwd=directory, check=True, stdout=subprocess.DEVNULL)
    rows = [line.split() for line in (directory / f"{name}.dat").read_text().splitlines() if line.strip()]
    found = {int(r[0]): float(r[3]) for r in rows if len(r) == 4 and r[0].isdigit()}
    for p, i in zip(POINTS, points):
        print(f"{name} {p}: {-1e3 * found[i]:.5f} mm")


def main():
    directory, fine = Path(sys.argv[1]), "--fine" in sys.argv
    run(directory, "even", fine, lambda x, y: 1000.0)
    run(directory, "patch", fine, lambda x, y: 30_000.0 if 0.15 < x < 0.25 and 0.05 < y < 0.15 else 0.0)


if __name__ == "__main__":
    main()
