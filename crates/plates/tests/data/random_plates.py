#!/usr/bin/env python3
"""Converged references for random plates of a deck: writes random_plates.json, inputs and answers together.

Invented plates, seed 20251124: 3 to 6 springs anywhere off one line, orthotropic or isotropic, one patch and an even load.
Solved with scikit-fem's Bogner-Fox-Schmit rectangle on lines through springs and patch edges, elements of at most 1/24 and 1/48
of the shorter side, extrapolated as h^2 (the rate at a point support). Cells are scattered from a
centred unit cell, as the library's own assembly (monomials in the plate's coordinates) loses digits on fine meshes.

Made with Python 3.11, numpy 2.4.6, scipy 1.17.1, scikit-fem 12.0.2.
Usage   python random_plates.py > random_plates.json
"""

import json

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sla
from skfem import Basis, BilinearForm, Dofs, ElementQuadBFS, LinearForm, MeshQuad
from skfem.helpers import dd


@LinearForm
def unit_pressure(v, w):
    return v


def lines(length, stops, h):
    stops = sorted({0.0, length, *stops})
    parts = [np.linspace(a, b, max(1, int(np.ceil((b - a) / h))) + 1)[:-1] for a, b in zip(stops, stops[1:])]
    return np.append(np.concatenate(parts), length)


def unit_cell():
    """Forms of the centred unit cell, its dof w, w_x, w_y, w_xy in the element's own order: scaled, no digits are lost."""
    ends = np.array([-0.5, 0.5])
    basis = Basis(MeshQuad.init_tensor(ends, ends), ElementQuadBFS())
    order = basis.element_dofs[:, 0]

    def form(f):
        return BilinearForm(f).assemble(basis).toarray()[np.ix_(order, order)]

    xx = form(lambda u, v, w: dd(u)[0, 0] * dd(v)[0, 0])
    yy = form(lambda u, v, w: dd(u)[1, 1] * dd(v)[1, 1])
    both = form(lambda u, v, w: dd(u)[0, 0] * dd(v)[1, 1] + dd(u)[1, 1] * dd(v)[0, 0])
    twist = form(lambda u, v, w: 4 * dd(u)[0, 1] * dd(v)[0, 1])
    return xx, yy, both, twist, unit_pressure.assemble(basis)[order]


UNIT = unit_cell()


def answers(p, parts):
    lx, ly = p["size_m"]
    d11, d12, d22, d66 = p["d"]
    x0, y0, sx, sy = p["patch_m"]
    h = min(lx, ly) / parts
    x = lines(lx, [s[0] for s in p["springs"]] + [x0, x0 + sx] + [q[0] for q in p["points_m"]], h)
    y = lines(ly, [s[1] for s in p["springs"]] + [y0, y0 + sy] + [q[1] for q in p["points_m"]], h)
    mesh = MeshQuad.init_tensor(x, y)
    dofs = Dofs(mesh, ElementQuadBFS())
    ed = dofs.element_dofs
    corners = mesh.p[:, mesh.t]
    hx, hy = np.ptp(corners[0], axis=0), np.ptp(corners[1], axis=0)
    # Made by the same call, all cells have their vertices in the unit cell's order. A cell's dof are scaled by its own sides,
    # the plate's by h.
    scale = np.tile(np.array([np.ones_like(hx), hx / h, hy / h, hx * hy / h**2]), (4, 1))
    xx, yy, both, twist, even = UNIT
    cells = (d11 * np.multiply.outer(xx, hy / hx**3) + d22 * np.multiply.outer(yy, hx / hy**3)
             + np.multiply.outer(d12 * both + d66 * twist, 1 / (hx * hy)))
    cells = cells * scale[:, None, :] * scale[None, :, :]
    ii, jj = np.broadcast_to(ed[:, None, :], cells.shape), np.broadcast_to(ed[None, :, :], cells.shape)

    def node(q):
        return dofs.nodal_dofs[0][int(np.argmin(np.hypot(mesh.p[0] - q[0], mesh.p[1] - q[1])))]

    at = np.array([node(s) for s in p["springs"]])
    stiffness = np.array([s[2] for s in p["springs"]])
    k = sp.coo_matrix((np.r_[cells.ravel(), stiffness], (np.r_[ii.ravel(), at], np.r_[jj.ravel(), at])),
                      shape=(dofs.N, dofs.N)).tocsc()
    middle = corners.mean(axis=1)
    inside = (np.abs(middle[0] - x0 - sx / 2) < sx / 2) & (np.abs(middle[1] - y0 - sy / 2) < sy / 2)
    pressure = p["even_pa"] + inside * p["patch_newton"] / (sx * sy)
    f = np.bincount(ed.ravel(), (even[:, None] * scale * pressure * hx * hy).ravel(), dofs.N)
    u = sla.splu(k, permc_spec="MMD_AT_PLUS_A", options=dict(SymmetricMode=True), diag_pivot_thresh=0.0).solve(f)
    load = p["even_pa"] * lx * ly + p["patch_newton"]
    assert abs((stiffness * u[at]).sum() / load - 1) < 1e-6
    return stiffness * u[at], np.array([u[node(q)] for q in p["points_m"]])


def plate(rng):
    lx, ly = (round(v, 4) for v in (rng.uniform(0.3, 1.0), rng.uniform(0.25, 0.6)))
    d11 = float(np.exp(rng.uniform(np.log(100), np.log(3000))))
    ratio = float(rng.choice([1.0, 0.5, 0.37]))
    nu = rng.uniform(0.02, 0.33)
    d66 = d11 * (1 - nu) / 2 if ratio == 1.0 else 0.1 * d11
    n = int(rng.integers(3, 7))
    corners = [(0, 0), (1, 0), (0, 1), (1, 1), (0.5, 0.5), (0.5, 0)][:n]
    springs = []
    for cx, cy in corners:
        fx, fy = (abs(c - rng.uniform(0.03, 0.2)) for c in (cx, cy))
        springs.append([round(fx * lx, 4), round(fy * ly, 4), float(rng.choice([0.5e6, 1e6, 2e6]))])
    sx, sy = (round(v, 4) for v in (rng.uniform(0.05, 0.2), rng.uniform(0.05, 0.2)))
    corner = [round(rng.uniform(0, lx - sx), 4), round(rng.uniform(0, ly - sy), 4)]
    points = [[lx / 2, ly / 2], [lx / 2, 0.0], [0.0, ly / 2], [lx, ly], [0.0, 0.0]]
    return dict(size_m=[lx, ly], d=[d11, nu * d11 * ratio**0.5, d11 * ratio, d66], springs=springs,
                patch_m=[*corner, sx, sy], patch_newton=round(rng.uniform(100, 700), 1),
                even_pa=round(rng.uniform(200, 1500), 1), points_m=points)


def main():
    rng = np.random.default_rng(20251124)
    out = []
    for _ in range(24):
        p = plate(rng)
        (r1, w1), (r2, w2) = answers(p, 24), answers(p, 48)
        p["reactions_newton"] = [round(v, 6) for v in r2 + (r2 - r1) / 3]
        p["deflections_m"] = [float(f"{v:.9g}") for v in w2 + (w2 - w1) / 3]
        out.append(p)
    print(json.dumps(out, indent=1))


if __name__ == "__main__":
    main()
