"""The same small stacks by quadratic finite elements: another discretisation, another code.

scikit-fem: Gustafsson & McBain, J. Open Source Software 5 (2020) 2369. Hexahedra with 27 nodes on a tensor mesh
whose planes stand on every outline; a joint is a layer of elements that conducts through its thickness only,
k = t/R'', which is the joint exactly. Elements refine towards edges where heat turns.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from stacks import case_of, film, joint, part

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.predict import predict

Array = NDArray[np.float64]

EXACT = 5  # order of the quadrature: in bricks the product of two quadratics is of fourth order along each axis
ORDERING = "MMD_AT_PLUS_A"  # of the unknowns, for a symmetric matrix

DIE = (-5.0, -4.0, 3.0, 2.0)  # outline [mm], off the axis of the lid
LID = (-8.0, -7.0, 8.0, 7.0)
DIE_T, LID_T, GAP = 0.7, 2.0, 0.05  # thicknesses [mm]; the gap is where the elements hold the joint
JOINT, FILM, FLUID = 12.0, 9000.0, 30.0  # [mm2K/W], [W/m2K], [C]
DIE_K, LID_K = (150.0, 100.0), (390.0, 390.0)  # in plane, through
ZONES = {"a": (-4.5, -3.5, -1.0, 1.0, 25.0), "b": (0.0, -2.0, 2.5, 1.5, 15.0)}  # outline [mm], watts


def stack() -> Case:
    zones = [
        {
            "zone": name,
            "corner_mm": [x0 - DIE[0], y0 - DIE[1]],
            "size_mm": [x1 - x0, y1 - y0],
            "power_W": watts,
        }
        for name, (x0, y0, x1, y1, watts) in ZONES.items()
    ]
    centre = [(DIE[0] + DIE[2]) / 2, (DIE[1] + DIE[3]) / 2]
    layers = [
        part("die", [DIE[2] - DIE[0], DIE[3] - DIE[1]], DIE_T, list(DIE_K), centre_mm=centre),
        joint("solder", JOINT),
        part("lid", [LID[2] - LID[0], LID[3] - LID[1]], LID_T, list(LID_K)),
    ]
    return case_of(layers, [{"in": "die", "at": "bottom", "zones": zones}], [film("top", FILM, FLUID)])


def graded(lines: list[float], widest: float, finest: float) -> Array:
    """Planes [mm] on every line, cells growing from `finest` beside a line to `widest`."""
    planes = [np.array([lines[0]])]
    for low, high in pairwise(lines):
        half, steps, size = (high - low) / 2, [0.0], finest
        while steps[-1] + 1.2 * size < half:
            steps.append(steps[-1] + size)
            size = min(1.6 * size, widest)
        inner = np.array(steps[1:])
        planes.append(np.concatenate([low + inner, [low + half], (high - inner)[::-1], [high]]))
    return np.unique(np.round(np.concatenate(planes), 9))


@dataclass(frozen=True)
class Elements:
    unknowns: int
    mean_C: dict[str, float]
    heat_W: float


def by_elements(widest: float, finest: float, along_z: tuple[int, int]) -> Elements:
    """Zone means [C] and the heat through the film, from a mesh with at most `widest` mm in plan."""
    from scipy.sparse.linalg import spsolve
    from skfem import Basis, BilinearForm, ElementHex2, FacetBasis, Functional, LinearForm, MeshHex

    lines_x = sorted({DIE[0], DIE[2], LID[0], LID[2], *(edge for zone in ZONES.values() for edge in zone[0:4:2])})
    lines_y = sorted({DIE[1], DIE[3], LID[1], LID[3], *(edge for zone in ZONES.values() for edge in zone[1:4:2])})
    x, y = graded(lines_x, widest, finest), graded(lines_y, widest, finest)
    top = DIE_T + GAP + LID_T
    z = np.concatenate([
        DIE_T * np.linspace(0, 1, along_z[0] + 1) ** 1.5,
        [DIE_T + GAP],
        DIE_T + GAP + LID_T * np.linspace(0, 1, along_z[1] + 1)[1:] ** 1.3,
    ])  # fmt: skip
    whole = MeshHex.init_tensor(x, y, z)
    middle = whole.p[:, whole.t].mean(axis=1)
    over_die = (DIE[0] < middle[0]) & (middle[0] < DIE[2]) & (DIE[1] < middle[1]) & (middle[1] < DIE[3])
    mesh = whole.restrict(np.flatnonzero(over_die | (middle[2] > DIE_T + GAP)))
    middle = mesh.p[:, mesh.t].mean(axis=1)
    in_joint = (middle[2] > DIE_T) & (middle[2] < DIE_T + GAP)
    in_lid = middle[2] > DIE_T + GAP
    # Lengths in mm: conductivities [W/mmK] are thousandths, films [W/mm2K] millionths.
    along = 1e-3 * np.where(in_lid, LID_K[0], np.where(in_joint, 0.0, DIE_K[0]))
    through = 1e-3 * np.where(in_lid, LID_K[1], np.where(in_joint, 1e3 * GAP / JOINT, DIE_K[1]))
    element = ElementHex2()
    basis = Basis(mesh, element, intorder=EXACT)

    @BilinearForm
    def conduction(u, v, w):  # type: ignore[no-untyped-def]
        du, dv = u.grad, v.grad
        return w["along"] * (du[0] * dv[0] + du[1] * dv[1]) + w["through"] * du[2] * dv[2]

    @BilinearForm
    def wetting(u, v, _):  # type: ignore[no-untyped-def]
        return 1e-6 * FILM * u * v

    @LinearForm
    def unit(v, _):  # type: ignore[no-untyped-def]
        return v

    shape = (len(along), basis.X.shape[1])
    matrix = conduction.assemble(
        basis,
        along=np.broadcast_to(along[:, None], shape),
        through=np.broadcast_to(through[:, None], shape),
    )
    upper = FacetBasis(mesh, element, facets=mesh.facets_satisfying(lambda p: np.isclose(p[2], top)), intorder=EXACT)
    matrix = matrix + wetting.assemble(upper)
    load = 1e-6 * FILM * FLUID * unit.assemble(upper)
    bottoms = {}
    for name, (x0, y0, x1, y1, watts) in ZONES.items():
        facets = mesh.facets_satisfying(
            lambda p, x0=x0, x1=x1, y0=y0, y1=y1: (
                np.isclose(p[2], 0.0) & (x0 < p[0]) & (p[0] < x1) & (y0 < p[1]) & (p[1] < y1)
            )
        )
        bottoms[name] = FacetBasis(mesh, element, facets=facets, intorder=EXACT)
        load = load + watts / ((x1 - x0) * (y1 - y0)) * unit.assemble(bottoms[name])
    solution = spsolve(matrix.tocsc(), load, permc_spec=ORDERING)

    @Functional
    def itself(w):  # type: ignore[no-untyped-def]
        return w["u"]

    means = {}
    for name, (x0, y0, x1, y1, _) in ZONES.items():
        area = (x1 - x0) * (y1 - y0)
        means[name] = float(itself.assemble(bottoms[name], u=bottoms[name].interpolate(solution))) / area
    rise = float(itself.assemble(upper, u=upper.interpolate(solution))) - FLUID * (LID[2] - LID[0]) * (LID[3] - LID[1])
    return Elements(len(solution), means, 1e-6 * FILM * rise)


def agree(meshes: list[tuple[float, float, tuple[int, int]]], first_cells: int, accuracy_K: float) -> None:
    """Both codes within the sum of their mesh doubts; that of the elements is the change of the last two meshes."""
    found = [by_elements(*mesh) for mesh in meshes]
    prediction = predict(stack(), accuracy_K=accuracy_K, first_cells=first_cells)
    assert found[-1].heat_W == pytest.approx(40.0, rel=1e-6)
    for name in ZONES:
        doubt = prediction.doubts["zone", name, "mean"]
        elements, before = found[-1].mean_C[name], found[-2].mean_C[name]
        change = abs(elements - before)
        print(
            f"\nzone {name}: elements {before:.4f} -> {elements:.4f} C ({found[-1].unknowns} unknowns), "
            f"thermsim {doubt.value:.4f} +- {doubt.half_width:.4f}, finest grid {doubt.finest:.4f}"
        )
        assert abs(doubt.value - elements) <= doubt.half_width + change
        assert abs(doubt.value - elements) < 0.002 * (elements - FLUID)
        assert change < 0.003 * (elements - FLUID)


def test_die_under_a_lid_by_quadratic_elements() -> None:
    agree([(4.0, 1.0, (1, 1)), (2.5, 0.5, (2, 2))], first_cells=6000, accuracy_K=0.2)


@pytest.mark.slow
def test_die_under_a_lid_by_finer_elements() -> None:
    agree([(2.5, 0.5, (2, 2)), (2.0, 0.3, (3, 3))], first_cells=15_000, accuracy_K=0.1)
