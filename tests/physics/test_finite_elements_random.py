"""Random stacks by quadratic finite elements: another discretisation, another code, agree within both mesh doubts.

scikit-fem: Gustafsson & McBain, J. Open Source Software 5 (2020) 2369. Parts of different outline (steps, so voids),
orthotropic, with joints (a layer of elements that conducts only through its thickness, k = t/R''), one heated zone at
the bottom of the lowest part, films on top and bottom. The doubt of the elements is what is
left of an error of first order after meshes of 1.0 and 0.6 mm at the edges; and they come from below (Galerkin's
mean over the only source is an energy).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from stacks import case_of, film, joint, part
from test_finite_elements import EXACT, ORDERING, graded

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.predict import predict

Array = NDArray[np.float64]
GAP = 0.05  # [mm], where the elements hold a joint


@dataclass(frozen=True)
class Level:
    """Half outline, thickness [mm], conductivities [W/mK], and the joint over it [mm2K/W], 0 for none."""

    half_x: float
    half_y: float
    thickness: float
    along: float
    through: float
    joint: float


@dataclass(frozen=True)
class Stack:
    levels: tuple[Level, ...]
    zone: tuple[float, float, float, float]  # outline [mm] from the axis
    top: float  # films [W/m2K]
    bottom: float

    def case(self) -> Case:
        layers = []
        for number, level in enumerate(self.levels):
            size = [2 * level.half_x, 2 * level.half_y]
            layers.append(part(f"p{number}", size, level.thickness, [level.along, level.through]))
            if level.joint and number < len(self.levels) - 1:
                layers.append(joint(f"j{number}", level.joint))
        x0, y0, x1, y1 = self.zone
        corner = [x0 + self.levels[0].half_x, y0 + self.levels[0].half_y]
        zones = [{"zone": "z", "corner_mm": corner, "size_mm": [x1 - x0, y1 - y0], "power_W": 30.0}]
        heat = [{"in": "p0", "at": "bottom", "zones": zones}]
        return case_of(layers, heat, [film("top", self.top), film("bottom", self.bottom)])


@st.composite
def stacks(draw: st.DrawFn) -> Stack:
    """Two or three levels; tenths of a millimetre, so that no two outlines all but coincide."""

    def tenths(low: int, high: int) -> float:
        return draw(st.integers(low, high)) / 10

    levels = tuple(
        Level(tenths(40, 80), tenths(40, 80), tenths(4, 25), 10 ** tenths(15, 26), 10 ** tenths(15, 26),
              draw(st.sampled_from([0.0, 5.0, 20.0])))
        for _ in range(draw(st.integers(2, 3)))
    )  # fmt: skip
    x0, y0 = tenths(-35, 5), tenths(-35, 5)
    zone = (x0, y0, x0 + tenths(12, 30), y0 + tenths(12, 30))
    return Stack(levels, zone, 10 ** tenths(35, 45), 10 ** tenths(10, 30))


def by_elements(stack: Stack, widest: float, finest: float, along_z: int) -> float:
    """Mean rise [K] of the zone."""
    from scipy.sparse.linalg import spsolve
    from skfem import Basis, BilinearForm, ElementHex2, FacetBasis, Functional, LinearForm, MeshHex

    zone = stack.zone
    x = sorted({zone[0], zone[2], *(sign * level.half_x for level in stack.levels for sign in (-1, 1))})
    y = sorted({zone[1], zone[3], *(sign * level.half_y for level in stack.levels for sign in (-1, 1))})
    planes, floors = [0.0], []
    for number, level in enumerate(stack.levels):
        low = planes[-1]
        planes += [low + level.thickness * (step / along_z) ** 1.5 for step in range(1, along_z + 1)]
        floors.append((low, planes[-1], level, False))
        if level.joint and number < len(stack.levels) - 1:
            floors.append((planes[-1], planes[-1] + GAP, level, True))
            planes.append(planes[-1] + GAP)
    whole = MeshHex.init_tensor(graded(x, widest, finest), graded(y, widest, finest), np.array(planes))
    middle = whole.p[:, whole.t].mean(axis=1)
    along, through, solid = (np.zeros(whole.t.shape[1]) for _ in range(3))
    for number, (low, high, level, is_joint) in enumerate(floors):
        here = (low < middle[2]) & (middle[2] < high)
        inside = here & (abs(middle[0]) < level.half_x) & (abs(middle[1]) < level.half_y)
        if is_joint:
            upper = floors[number + 1][2]
            inside &= (abs(middle[0]) < upper.half_x) & (abs(middle[1]) < upper.half_y)
        solid[inside] = 1.0
        # Lengths in mm: conductivities [W/mmK] are thousandths, films [W/mm2K] millionths.
        along[inside] = 0.0 if is_joint else 1e-3 * level.along
        through[inside] = GAP / level.joint if is_joint else 1e-3 * level.through
    kept = np.flatnonzero(solid)
    mesh, along, through = whole.restrict(kept), along[kept], through[kept]
    element = ElementHex2()
    basis = Basis(mesh, element, intorder=EXACT)

    @BilinearForm
    def conduction(u, v, w):  # type: ignore[no-untyped-def]
        du, dv = u.grad, v.grad
        return w["along"] * (du[0] * dv[0] + du[1] * dv[1]) + w["through"] * du[2] * dv[2]

    @BilinearForm
    def wetting(u, v, _):  # type: ignore[no-untyped-def]
        return u * v

    @LinearForm
    def unit(v, _):  # type: ignore[no-untyped-def]
        return v

    @Functional
    def itself(w):  # type: ignore[no-untyped-def]
        return w["u"]

    shape = (len(along), basis.X.shape[1])
    matrix = conduction.assemble(
        basis, along=np.broadcast_to(along[:, None], shape), through=np.broadcast_to(through[:, None], shape)
    )
    for height, strength in ((0.0, stack.bottom), (planes[-1], stack.top)):
        facets = mesh.facets_satisfying(lambda p, at=height: np.isclose(p[2], at))
        matrix = matrix + 1e-6 * strength * wetting.assemble(FacetBasis(mesh, element, facets=facets, intorder=EXACT))
    under = mesh.facets_satisfying(
        lambda p: np.isclose(p[2], 0.0) & (zone[0] < p[0]) & (p[0] < zone[2]) & (zone[1] < p[1]) & (p[1] < zone[3])
    )
    bottom = FacetBasis(mesh, element, facets=under, intorder=EXACT)
    area = (zone[2] - zone[0]) * (zone[3] - zone[1])
    solution = spsolve(matrix.tocsc(), 30.0 / area * unit.assemble(bottom), permc_spec=ORDERING)
    return float(itself.assemble(bottom, u=bottom.interpolate(solution))) / area


@pytest.mark.slow
@settings(
    max_examples=5, deadline=None, derandomize=True, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
)
@given(stacks())
def test_random_stacks_by_quadratic_elements(stack: Stack) -> None:
    before, elements = by_elements(stack, 4.0, 1.0, 2), by_elements(stack, 3.0, 0.6, 3)
    doubt = predict(stack.case(), accuracy_K=0.5).doubts["zone", "z", "mean"]
    change = abs(elements - before)
    print(f"\nelements {before:.4f} -> {elements:.4f}, thermsim {doubt.value:.4f} +- {doubt.half_width:.4f}")
    left = change / (1.0 / 0.6 - 1.0)
    assert abs(doubt.value - elements) <= doubt.half_width + left
    assert before <= elements <= doubt.value + doubt.half_width
    assert change < 0.03 * elements
