#!/usr/bin/env python3
"""Side by side with scikit-fem, SuperLU and CHOLMOD: the tasks of `benches/peer.rs`, and the ratios of their times.

check   eight plates, four springs each, three load cases: deflections and reactions to 1 % and 0.5 %.
        Theirs: scikit-fem's Bogner-Fox-Schmit rectangle on grid lines through springs and patch edges, elements of an eighth
        of the shorter side, SuperLU, no error estimate. Ours: mesh chosen and checked against a second one.
        Our values must agree with theirs on a mesh of half the elements, else nothing is printed.
factor  one plate of 18n x 10n elements, n = 8 and 17 (47 and 210 thousand unknowns): order of elimination, numbers.
        Theirs: SuperLU (COLAMD, and symmetric minimum degree) and CHOLMOD, one thread. The matrix is assembled before; our
        time includes assembly, which is in our disfavour.

Needs   pip install numpy scipy scikit-fem; for CHOLMOD: libsuitesparse-dev 5.12, pip install "scikit-sparse<0.5".
        Made with Python 3.11, numpy 2.4.6, scipy 1.17.1, scikit-fem 12.0.2, scikit-sparse 0.4.16.
Usage   python crates/plates/benches/peers/plate_peer.py [--repeat 3]
"""

import argparse
import json
import os
import subprocess
import time

for name in ("OMP", "OPENBLAS", "MKL"):
    os.environ[f"{name}_NUM_THREADS"] = "1"

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sla
from skfem import Basis, BilinearForm, Dofs, ElementQuadBFS, LinearForm, MeshQuad
from skfem.helpers import dd

E, NU = 70e9, 0.33


def rigidity(t):
    return E * t**3 / (12 * (1 - NU**2))


def bending_form(d):
    @BilinearForm
    def form(u, v, w):
        a, b = dd(u), dd(v)
        return d * (
            a[0, 0] * b[0, 0]
            + a[1, 1] * b[1, 1]
            + NU * (a[0, 0] * b[1, 1] + a[1, 1] * b[0, 0])
            + 2 * (1 - NU) * a[0, 1] * b[0, 1]
        )

    return form


@LinearForm
def unit_pressure(v, w):
    return v


def timed(run, repeat):
    best, result = float("inf"), None
    for _ in range(repeat):
        start = time.perf_counter()
        result = run()
        best = min(best, time.perf_counter() - start)
    return best, result


def lines(length, stops, h):
    stops = sorted({0.0, length, *[round(s, 12) for s in stops]})
    parts = [np.linspace(a, b, max(1, int(np.ceil((b - a) / h))) + 1)[:-1] for a, b in zip(stops, stops[1:])]
    return np.append(np.concatenate(parts), length)


def deck_plate(i):
    lx, ly = 0.60 + 0.04 * i, 0.40 + 0.01 * i
    places = [(0.05, 0.05), (lx - 0.05, 0.05), (0.05, ly - 0.05), (lx - 0.05, ly - 0.05)]
    patches = [(0.25 * lx, 0.3 * ly, 0.1, 0.1, 600.0), (0.6 * lx, 0.5 * ly, 0.2, 0.1, 300.0)]
    return lx, ly, 0.004 + 0.0005 * i, 1e6 * (1 + i % 3), places, patches


def solve_plate(i, finer=1):
    """Largest deflection and first reaction of each load case."""
    lx, ly, t, stiffness, places, patches = deck_plate(i)
    h = ly / 8 / finer
    x = lines(lx, [p[0] for p in places] + [v for q in patches for v in (q[0], q[0] + q[2])], h)
    y = lines(ly, [p[1] for p in places] + [v for q in patches for v in (q[1], q[1] + q[3])], h)
    mesh, element = MeshQuad.init_tensor(x, y), ElementQuadBFS()
    basis = Basis(mesh, element)
    k = bending_form(rigidity(t)).assemble(basis).tocoo()
    w_dof = basis.nodal_dofs[0]
    at = np.array([w_dof[int(np.argmin(np.hypot(mesh.p[0] - a, mesh.p[1] - b)))] for a, b in places])
    k = sp.coo_matrix(
        (np.r_[k.data, np.full(4, stiffness)], (np.r_[k.row, at], np.r_[k.col, at])), shape=k.shape
    ).tocsc()
    whole = unit_pressure.assemble(basis)
    loads = [1000.0 * whole, 0.0 * whole, 500.0 * whole]
    middles = mesh.p[:, mesh.t].mean(axis=1)
    for (px, py, sx, sy, force), case in zip(patches, (1, 2)):
        inside = (np.abs(middles[0] - px - sx / 2) < sx / 2) & (np.abs(middles[1] - py - sy / 2) < sy / 2)
        part = Basis(mesh, element, elements=np.nonzero(inside)[0])
        loads[case] = loads[case] + force / (sx * sy) * unit_pressure.assemble(part)
    u = sla.splu(k).solve(np.array(loads).T)
    return [(u[w_dof, c].max(), stiffness * u[at[0], c]) for c in range(3)]


def compare_check(ours, repeat):
    seconds, _ = timed(lambda: [solve_plate(i) for i in range(8)], repeat)
    best = [v for i in range(8) for v in solve_plate(i, finer=2)]
    total = [f for i in range(8) for f in loads_of(i)]
    off_w = max(abs(a[0] / b[0] - 1) for a, b in zip(ours["values"], best))
    off_r = max(abs(a[1] - b[1]) / f for a, b, f in zip(ours["values"], best, total))
    assert off_w < 0.01 and off_r < 0.005, (off_w, off_r)
    print(f"check, 8 plates x 4 springs x 3 cases: ours {1e3 * ours['seconds']:.2f} ms, "
          f"scikit-fem + SuperLU {1e3 * seconds:.0f} ms, ratio {seconds / ours['seconds']:.0f}; "
          f"we differ by {100 * off_w:.3f} % of deflection and {100 * off_r:.3f} % of load")


def loads_of(i):
    lx, ly, *_ = deck_plate(i)
    return 1000 * lx * ly, 600.0, 500 * lx * ly + 300


def fine_matrix(n):
    """Stiffness of P1's plate: all cells are congruent, one unit cell is scattered (18n x 10n squares)."""
    h = 0.05 / n
    mesh, element = MeshQuad.init_tensor(np.linspace(0, 0.9, 18 * n + 1), np.linspace(0, 0.5, 10 * n + 1)), ElementQuadBFS()
    unit = Basis(MeshQuad(np.array([[-0.5, 0.5, 0.5, -0.5], [-0.5, -0.5, 0.5, 0.5]]), np.array([[0], [1], [2], [3]])), element)
    order = unit.element_dofs[:, 0]
    ke = bending_form(rigidity(0.006)).assemble(unit).toarray()[np.ix_(order, order)] / h**2
    fe = 1000.0 * h**2 * unit_pressure.assemble(unit)[order]
    dofs = Dofs(mesh, element)
    ed = dofs.element_dofs
    at = lambda p: dofs.nodal_dofs[0][int(np.argmin(np.hypot(mesh.p[0] - p[0], mesh.p[1] - p[1])))]
    cells = np.array([at(p) for p in [(0.05, 0.05), (0.85, 0.05), (0.05, 0.45), (0.85, 0.45)]])
    ii, jj = np.repeat(ed, 16, axis=0).ravel(), np.tile(ed, (16, 1)).ravel()
    data = np.r_[np.repeat(ke.ravel(), ed.shape[1]), np.full(4, 1e6)]
    k = sp.coo_matrix((data, (np.r_[ii, cells], np.r_[jj, cells])), shape=(dofs.N, dofs.N)).tocsc()
    f = np.bincount(ed.ravel(), np.repeat(fe, ed.shape[1]), dofs.N)
    return k, f, at((0.45, 0.25))


def compare_factor(ours, repeat):
    k, f, centre = fine_matrix(ours["n"])
    print(f"factor, {k.shape[0]} unknowns: ours {ours['order_s']:.3f} s order + {ours['factor_s']:.3f} s assembly and numbers, "
          f"centre {ours['centre_mm']:.5f} mm, reactions {ours['reaction_sum']:.6f} N")
    mine = ours["order_s"] + ours["factor_s"]
    options = dict(options=dict(SymmetricMode=True), diag_pivot_thresh=0.0)
    for name, spec, extra in (("SuperLU COLAMD", "COLAMD", {}), ("SuperLU symmetric", "MMD_AT_PLUS_A", options)):
        seconds, factor = timed(lambda: sla.splu(k, permc_spec=spec, **extra), 1 if ours["n"] > 10 else repeat)
        print(f"  {name}: {seconds:.3f} s in all, ratio {seconds / mine:.1f}; centre {1e3 * factor.solve(f)[centre]:.5f} mm")
    try:
        from sksparse.cholmod import analyze
    except ImportError:
        print("  CHOLMOD: scikit-sparse is not installed")
        return
    order_s, symbolic = timed(lambda: analyze(k, mode="supernodal"), repeat)
    seconds, factor = timed(lambda: symbolic.cholesky(k), repeat)
    print(f"  CHOLMOD: {order_s:.3f} s order + {seconds:.3f} s numbers, ratio of numbers {seconds / ours['factor_s']:.1f}, "
          f"of all {(order_s + seconds) / mine:.1f}; centre {1e3 * factor(f)[centre]:.5f} mm")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--repeat", type=int, default=3)
    repeat = parser.parse_args().repeat
    command = ["cargo", "bench", "-q", "-p", "bedplate-plates", "--bench", "peer"]
    out = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    for line in out.splitlines():
        if line.startswith("{"):
            ours = json.loads(line)
            (compare_check if ours["task"] == "check" else compare_factor)(ours, repeat)


if __name__ == "__main__":
    main()
