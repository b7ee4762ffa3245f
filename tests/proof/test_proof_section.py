"""EN ISO 10211, case 2, by another method: the reference of the table, made again with quadratic finite elements.

scikit-fem (an open library) shares no code with thermsim; geometry and films are typed here a second time, from the
standard (annex A, as reproduced in public validation reports), not read from the case file.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import skfem
from numpy.typing import NDArray
from skfem.helpers import dot, grad

from thermsim.proof.table.references import CASE_2, CASE_2_HEAT

Array = NDArray[np.float64]

MM = 1e-3
ACROSS, UP = (0.0, 1.5, 15.0, 500.0), (0.0, 1.5, 35.0, 36.5, 41.5, 47.5)  # outlines [mm]
WARM, COLD = 1 / 0.11, 1 / 0.06  # films [W/m2K], to 20 C below and 0 C above
PLACES = {"A": (0, 47.5), "B": (500, 47.5), "C": (0, 41.5), "D": (15, 41.5), "E": (500, 41.5),
          "F": (0, 36.5), "G": (15, 36.5), "H": (0, 0), "I": (500, 0)}  # fmt: skip


def _graded(outlines: tuple[float, ...], finest: float, growth: float) -> Array:
    """Places of nodes [m], growing away from every outline on both sides."""
    places = [outlines[0]]
    for low, high in pairwise(outlines):
        steps: list[float] = []
        while sum(steps) < (high - low) / 2:
            steps.append(min(finest * growth ** len(steps), 20.0))
        half = np.array(steps) * (high - low) / 2 / sum(steps)
        places += list(low + np.cumsum([*half, *half[::-1]]))
        places[-1] = high
    return np.array(places) * MM


def _conductivity(x: Array, y: Array) -> Array:
    """[W/mK] at places in mm: insulation with plate, web and head of aluminium, a batten of wood, concrete on top."""
    k = np.full(x.shape, 0.029)
    k[(y < 1.5) | ((y < 35) & (x < 1.5)) | ((y > 35) & (y < 36.5) & (x < 15))] = 230.0
    k[(y > 36.5) & (y < 41.5) & (x < 15)] = 0.12
    k[y > 41.5] = 1.15
    return k


def section(finest: float, growth: float) -> tuple[dict[str, float], float]:
    """Temperatures [C] of the nine points, and the heat [W/m]."""
    mesh = skfem.MeshQuad.init_tensor(_graded(ACROSS, finest, growth), _graded(UP, finest, growth))
    basis = skfem.Basis(mesh, skfem.ElementQuad2(), intorder=4)
    constant = basis.with_element(skfem.ElementQuad0())
    k = constant.interpolate(_conductivity(*(mesh.p[:, mesh.t].mean(axis=1) / MM)))
    bottom, top = (
        skfem.FacetBasis(mesh, skfem.ElementQuad2(), facets=mesh.facets_satisfying(lambda x, y=y: np.isclose(x[1], y)))
        for y in (0.0, UP[-1] * MM)
    )
    inside = skfem.BilinearForm(lambda u, v, w: w["k"] * dot(grad(u), grad(v))).assemble(basis, k=k)
    face, load = skfem.BilinearForm(lambda u, v, w: u * v), skfem.LinearForm(lambda v, w: v)
    matrix = inside + WARM * face.assemble(bottom) + COLD * face.assemble(top)
    found = skfem.solve(matrix, WARM * 20.0 * load.assemble(bottom))
    heat = COLD * float(load.assemble(top) @ found)
    nodes = {name: int(np.argmin(np.hypot(mesh.p[0] - x * MM, mesh.p[1] - y * MM))) for name, (x, y) in PLACES.items()}
    return {name: float(found[basis.nodal_dofs[0, node]]) for name, node in nodes.items()}, heat


def test_the_reference_of_case_2_by_finite_elements() -> None:
    """Two meshes agree to far less than the digits shown; the standard's rounded figures are met too."""
    (coarse, coarse_heat), (fine, heat) = section(0.3, 1.5), section(0.1, 1.35)
    for name, printed, reference in CASE_2:
        assert fine[name] == pytest.approx(reference, abs=6e-5)
        assert fine[name] == pytest.approx(coarse[name], abs=3e-4)
        assert round(fine[name], 1) == printed  # to 0.1 C, as the standard prints
    assert heat == pytest.approx(CASE_2_HEAT, abs=1e-4) and coarse_heat == pytest.approx(heat, abs=1e-4)
    assert round(heat, 1) == 9.5
