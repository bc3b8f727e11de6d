#!/usr/bin/env python3
"""How a bar glued under a plate holds the plate against bending across it: the layer thickness c of `src/ribs.rs`.

A plate of thickness t, bent by a moment, carries under its middle a bar of breadth b and height h (plane elasticity, half of
it by symmetry). What the ends turn less than those of the bare plate makes a rigid length; a layer of thickness c glued over
b would give the same. Prints t, b, h, rigid length / b, c.

Made with Python 3.11, numpy 2.4.6, scipy 1.17.1, scikit-fem 12.0.2.
"""

import numpy as np
from scipy.optimize import brentq
from skfem import Basis, ElementQuad2, ElementVector, FacetBasis, LinearForm, MeshQuad, condense, solve
from skfem.models.elasticity import lame_parameters, linear_elasticity

CASES = [(4, 10, 20), (2, 10, 20), (8, 10, 20), (4, 20, 15), (2, 20, 15), (8, 20, 15), (4, 5, 20), (4, 20, 5), (4, 40, 5),
         (4, 10, 5), (3, 15, 30), (6, 30, 30)]


def rigid_length(t, b, h, n=10):
    length = b / 2 + 4 * max(t, b)
    step = min(t, b, h) / n

    def lines(a, e):
        return np.linspace(a, e, max(2, round((e - a) / step)) + 1)

    x = np.unique(np.r_[lines(0, b / 2), b / 2 + (length - b / 2) * np.linspace(0, 1, 60) ** 1.3])
    mesh = MeshQuad.init_tensor(x, np.unique(np.r_[lines(-h, 0), lines(0, t)]))
    middle = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.restrict(np.nonzero(~((middle[0] > b / 2) & (middle[1] < 0)))[0])
    element = ElementVector(ElementQuad2())
    basis = Basis(mesh, element, intorder=4)
    stiffness = linear_elasticity(*lame_parameters(1.0, 0.0)).assemble(basis)
    end = FacetBasis(mesh, element, facets=mesh.facets_satisfying(lambda p: np.abs(p[0] - length) < 1e-9), intorder=6)

    @LinearForm
    def unit_moment(v, w):
        return 12 / t**3 * (w.x[1] - t / 2) * v[0]

    load = unit_moment.assemble(end)
    symmetry = basis.get_dofs(lambda p: np.abs(p[0]) < 1e-9)
    held = np.r_[symmetry.nodal["u^1"], symmetry.facet["u^1"]]
    top = basis.nodal_dofs[1, np.argmin(np.abs(mesh.p[0]) + np.abs(mesh.p[1] - t))]
    u = solve(*condense(stiffness, load, D=np.r_[held, top].astype(int)))
    return 2 * (length - (load @ u) * t**3 / 12)


def stiffening(t, c):
    """Bending stiffness of plate and layer over that of the plate."""
    middle = (t * t / 2 + c * (t + c / 2)) / (t + c)
    return (t**3 / 12 + t * (middle - t / 2) ** 2 + c**3 / 12 + c * (t + c / 2 - middle) ** 2) / (t**3 / 12)


for t, b, h in CASES:
    rigid = rigid_length(t, b, h)
    c = brentq(lambda c: b * (1 - 1 / stiffening(t, c)) - rigid, 1e-6, 200)
    print(f"t {t} b {b} h {h}: rigid length / b {rigid / b:.3f}, c {c:.3f}")
