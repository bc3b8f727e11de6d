#!/usr/bin/env python3
"""Makes data/plate_reference.json: six invented plates on springs, solved by scikit-fem.

Model    Kirchhoff plate, bending stiffness D (3 x 3 symmetric, N m; curvatures -(w_xx, w_yy, 2 w_xy)), free edges, point
         springs, even pressure and rectangles of even pressure. Springs press and pull; no plate here lifts off one.
Element  bicubic Hermite rectangle (ElementQuadBFS) on grid lines through springs and edges of patches. Each element is
         assembled in its own coordinates, scaled to the unit square: scikit-fem's basis in global coordinates loses digits
         on fine meshes. SuperLU.
Mesh     elements of no more than 1/32 and 1/64 of the shorter side; the value is the finer one, its `change` to the
         coarser one is stored. Deflections are sampled at 9 x 9 even places by the element's own shape functions.

Needs    Python 3.11, scikit-fem 12.0.2, numpy 2.4.6, scipy 1.17.1.
Usage    python make_plate_reference.py > data/plate_reference.json
"""

import json

import numpy as np
import scipy
import scipy.sparse as sp
import scipy.sparse.linalg as sla
import skfem
from skfem import Basis, BilinearForm, Dofs, ElementQuadBFS, LinearForm, MeshQuad
from skfem.helpers import dd


def isotropic(e, nu, t):
    d = e * t**3 / (12 * (1 - nu**2))
    return [[d, nu * d, 0], [nu * d, d, 0], [0, 0, d * (1 - nu) / 2]]


def glued(layers):
    """D - B A^-1 B of (Ex, Ey, nu_xy, Gxy, t) from the top."""
    z = -sum(layer[4] for layer in layers) / 2
    a, b, d = np.zeros((3, 3)), np.zeros((3, 3)), np.zeros((3, 3))
    for ex, ey, nu, g, t in layers:
        f = 1 / (1 - nu * nu * ey / ex)
        q = np.array([[f * ex, f * nu * ey, 0], [f * nu * ey, f * ey, 0], [0, 0, g]])
        top, z = z, z + t
        a += q * (z - top)
        b += q * (z**2 - top**2) / 2
        d += q * (z**3 - top**3) / 3
    return (d - b @ np.linalg.solve(a, b)).tolist()


ALLOY = (70e9, 70e9, 0.33, 70e9 / 2.66)
BOARD = (11e9, 4e9, 0.2, 0.9e9)
# name, size, D, springs (x, y, N/m), even pressure Pa, patches (x, y, length, width, N)
PLATES = [
    ("three cells, even", (0.62, 0.44), isotropic(70e9, 0.33, 0.005),
     [(0.07, 0.06, 1.5e6), (0.55, 0.08, 1.5e6), (0.30, 0.38, 1.5e6)], 1500.0, []),
    ("four cells, even", (0.78, 0.41), isotropic(200e9, 0.28, 0.003),
     [(0.05, 0.04, 1e6), (0.73, 0.05, 2e6), (0.06, 0.36, 3e6), (0.70, 0.37, 1e6)], 1200.0, []),
    ("six cells, even and patch", (0.88, 0.46), isotropic(9e9, 0.3, 0.012),
     [(0.06, 0.05, 8e5), (0.44, 0.07, 2e6), (0.82, 0.05, 8e5), (0.06, 0.41, 8e5), (0.44, 0.39, 2e6), (0.82, 0.41, 8e5)],
     1000.0, [(0.34, 0.15, 0.20, 0.16, 250.0)]),
    ("four cells, patch", (0.55, 0.50), isotropic(70e9, 0.33, 0.004),
     [(0.08, 0.09, 5e5), (0.46, 0.07, 5e5), (0.07, 0.43, 5e5), (0.49, 0.42, 5e5)], 0.0, [(0.18, 0.21, 0.11, 0.08, 400.0)]),
    ("glued sheet on board, five cells", (0.70, 0.43), glued([(*ALLOY, 0.002), (*BOARD, 0.006)]),
     [(0.05, 0.05, 1e6), (0.65, 0.06, 1e6), (0.05, 0.38, 1e6), (0.64, 0.37, 1e6), (0.36, 0.21, 4e5)],
     900.0, [(0.10, 0.24, 0.15, 0.10, 150.0)]),
    ("glued board between sheets, three stiff cells", (0.36, 0.74),
     glued([(*ALLOY, 0.001), (*BOARD, 0.008), (*ALLOY, 0.0015)]),
     [(0.05, 0.08, 5e6), (0.31, 0.10, 5e6), (0.17, 0.65, 5e6)], 800.0, [(0.12, 0.30, 0.12, 0.20, 300.0)]),
]
UNIT = Basis(MeshQuad.init_tensor(np.array([-0.5, 0.5]), np.array([-0.5, 0.5])), ElementQuadBFS())
ORDER = UNIT.element_dofs[:, 0]
# Powers of the sides by which the unit square's degrees of freedom w, w_x, w_y, w_xy are scaled.
POWERS = np.array([{"u": (0, 0), "u_x": (1, 0), "u_y": (0, 1), "u_xy": (1, 1)}[n] for n in ElementQuadBFS.dofnames])


def unit_matrix(form):
    return form.assemble(UNIT).toarray()[np.ix_(ORDER, ORDER)]


def second(i, j):
    pick = [lambda w: dd(w)[0, 0], lambda w: dd(w)[1, 1], lambda w: 2 * dd(w)[0, 1]]
    return unit_matrix(BilinearForm(lambda u, v, w: pick[i](u) * pick[j](v)))


SECOND = [[second(i, j) for j in range(3)] for i in range(3)]
LOAD = LinearForm(lambda v, w: v).assemble(UNIT)[ORDER]


def lines(length, stops, h):
    stops = sorted({0.0, length, *[round(s, 12) for s in stops]})
    parts = [np.linspace(a, b, max(1, int(np.ceil((b - a) / h))) + 1)[:-1] for a, b in zip(stops, stops[1:])]
    return np.append(np.concatenate(parts), length)


def solve(plate, n):
    _, (lx, ly), d, springs, pressure, patches = plate
    h = min(lx, ly) / n
    x = lines(lx, [s[0] for s in springs] + [v for p in patches for v in (p[0], p[0] + p[2])], h)
    y = lines(ly, [s[1] for s in springs] + [v for p in patches for v in (p[1], p[1] + p[3])], h)
    mesh = MeshQuad.init_tensor(x, y)
    dofs = Dofs(mesh, ElementQuadBFS())
    ed = dofs.element_dofs
    corner = mesh.p[:, mesh.t]
    low, a, b = corner.min(axis=1), np.ptp(corner[0], axis=0), np.ptp(corner[1], axis=0)
    # The unit cell's corners in the order of its local nodes must be those of every element of the mesh.
    assert np.allclose((corner - low[:, None, :]) / np.array([a, b])[:, None, :] - 0.5, UNIT.mesh.p[:, UNIT.mesh.t])
    scale = np.tile(a[None, :] ** POWERS[:, :1] * b[None, :] ** POWERS[:, 1:], (4, 1))
    sides = [a**-2, b**-2, 1 / (a * b)]
    k = np.zeros((16, 16, ed.shape[1]))
    for i in range(3):
        for j in range(3):
            k += d[i][j] * SECOND[i][j][:, :, None] * (sides[i] * sides[j] * a * b)
    k *= scale[:, None, :] * scale[None, :, :]
    middle = corner.mean(axis=1)
    q = np.full(ed.shape[1], pressure)
    for px, py, sx, sy, force in patches:
        q += force / (sx * sy) * ((np.abs(middle[0] - px - sx / 2) < sx / 2) & (np.abs(middle[1] - py - sy / 2) < sy / 2))
    f = np.bincount(ed.ravel(), (LOAD[:, None] * scale * (q * a * b)).ravel(), dofs.N)
    at = [dofs.nodal_dofs[0][int(np.argmin(np.hypot(mesh.p[0] - s[0], mesh.p[1] - s[1])))] for s in springs]
    stiff = np.array([s[2] for s in springs])
    rows = np.r_[np.repeat(ed[:, None, :], 16, axis=1).ravel(), at]
    cols = np.r_[np.repeat(ed[None, :, :], 16, axis=0).ravel(), at]
    u = sla.splu(sp.coo_matrix((np.r_[k.ravel(), stiff], (rows, cols)), shape=(dofs.N, dofs.N)).tocsc()).solve(f)
    total = pressure * lx * ly + sum(p[4] for p in patches)
    reactions = stiff * u[at]
    assert abs(reactions.sum() / total - 1) < 1e-7, reactions.sum() / total
    assert (reactions > 0).all()
    # Of the nodes: the largest within an element lies above by the square of the mesh width.
    largest = u[dofs.nodal_dofs[0]].max()
    grid = [sample(u, ed, scale, low, a, b, (lx * i / 8, ly * j / 8)) for j in range(9) for i in range(9)]
    return np.array(grid), reactions, largest, total


def sample(u, ed, scale, low, a, b, at):
    """Deflection at a place: Hermite cubics in the element's own coordinates."""
    e = int(np.argmax((low[0] <= at[0] + 1e-12) & (low[0] + a >= at[0] - 1e-12)
                      & (low[1] <= at[1] + 1e-12) & (low[1] + b >= at[1] - 1e-12)))
    cubic = lambda t: {(0, 0): 1 - 3 * t**2 + 2 * t**3, (0, 1): t - 2 * t**2 + t**3,
                       (1, 0): 3 * t**2 - 2 * t**3, (1, 1): t**3 - t**2}
    cx, cy = cubic((at[0] - low[0, e]) / a[e]), cubic((at[1] - low[1, e]) / b[e])
    nodes = (UNIT.mesh.p[:, UNIT.mesh.t[:, 0]].T > 0).astype(int)
    shape = [cx[nx, px] * cy[ny, py] for nx, ny in nodes for px, py in POWERS]
    return float(np.dot(shape, scale[:, e] * u[ed[:, e]]))


def main():
    out = []
    for plate in PLATES:
        name, size, d, springs, pressure, patches = plate
        before, best = solve(plate, 32), solve(plate, 64)
        change = {"deflection": float(np.abs(best[0] - before[0]).max() / np.abs(best[0]).max()),
                  "reaction": float(np.abs(best[1] - before[1]).max() / best[3])}
        out.append({"name": name, "size_m": size, "bending_Nm": d, "springs": springs, "pressure_Pa": pressure,
                    "patches": patches, "load_N": best[3], "deflection_9x9_m": best[0].tolist(),
                    "max_node_deflection_m": best[2], "reactions_N": best[1].tolist(), "change": change})
    versions = {"scikit-fem": skfem.__version__, "numpy": np.__version__, "scipy": scipy.__version__}
    print(json.dumps({"made_with": versions, "plates": out}, indent=1))


if __name__ == "__main__":
    main()
