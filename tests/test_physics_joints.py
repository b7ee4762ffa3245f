"""Joints whose film is not even: wedge, dome and map against integrals worked out by hand or by quadrature.

With isothermal faces and heat that cannot turn sideways, a joint conducts the integral of dA / R''(x, y); under an
even flux its mean drop is the flux times the mean of R''. Both are limits of the same stack.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import dblquad
from stacks import Mapping, case_of, even_grid, film, part, solve_on, uneven_grid

from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import build_model
from thermsim.readout.field import Field
from thermsim.readout.ladder import ladder

WIDTH, DEPTH, WATTS = 12.0, 8.0, 30.0
AREA = WIDTH * DEPTH * 1e-6
K_FILM, BOUNDARY, WETTED = 20.0, 2.0, 0.9


def jointed(film_um: Any, side: str = "even flux", wetted: float = WETTED, folder: Path | None = None) -> Case:
    """Die and lid of one size. "even flux": nothing conducts sideways; "even temperature": both sides isothermal."""
    k: Any = [1e-9, 200.0] if side == "even flux" else [1e7, 1e7]
    middle: Mapping = {
        "joint": "film",
        "film_um": film_um,
        "conductivity_W_mK": K_FILM,
        "boundary_mm2K_W": BOUNDARY,
        "wetted_fraction": wetted,
    }
    layers = [part("die", [WIDTH, DEPTH], 1, k), middle, part("lid", [WIDTH, DEPTH], 1, k)]
    heat = [{"in": "die", "at": "bottom", "zones": [{"zone": "die", "power_W": WATTS}]}]
    return case_of(layers, heat, [film("top", 1e6)], folder)


def drop(field: Field) -> float:
    """Mean drop over the joint [K], meaned over its area."""
    under, over = field.z_nodes(field.model.joints[0].face)
    area = field.model.grid.face_area(2)
    return float(((under - over) * area).sum() / area.sum())


def per_area(film_um: float) -> float:
    """R'' [m2K/W] where the film is so thick."""
    return (1e-6 * film_um / K_FILM + 1e-6 * BOUNDARY) / WETTED


def dome_um(x: float, y: float, edge: float, centre: float) -> float:
    """x, y from -1 to 1."""
    return edge + (centre - edge) * (1 - x * x) * (1 - y * y)


def test_wedge_under_even_flux() -> None:
    """Side by side within a cell: its R'' is the logarithmic mean of those at its two sides, on any grid."""
    for towards in ("+x", "-x", "+y", "-y"):
        case = jointed({"low": 20, "high": 140, "towards": towards})
        for seed in (11, 12):
            field = solve_on(case, uneven_grid(case, np.random.default_rng(seed), most=6))
            under, over = field.z_nodes(field.model.joints[0].face)
            along = (under - over)[:, 0] if towards[1] == "x" else (under - over)[0]
            axis = field.model.grid.x if towards[1] == "x" else field.model.grid.y
            share = (axis.faces - axis.faces[0]) / (axis.faces[-1] - axis.faces[0])
            if towards[0] == "-":
                share = 1.0 - share
            side = np.array([per_area(20 + 120 * s) for s in share])
            wanted = WATTS / AREA * np.diff(side) / np.log(side[1:] / side[:-1])
            assert np.abs(along - wanted).max() < 1e-4 * wanted.max()  # four points a cell
        fine = solve_on(case, even_grid(case, [0.25, 0.25, 1]))
        assert drop(fine) == pytest.approx(WATTS / AREA * per_area(80), rel=1e-4)  # even flux: R'' of the mean film


def test_wedge_between_isothermal_faces() -> None:
    """1/R = integral of dA/R'': for a wedge A ln(R_high/R_low)/(R_high - R_low), at any cell."""
    case = jointed({"low": 20, "high": 140, "towards": "+x"}, "even temperature")
    low, high = per_area(20), per_area(140)
    exact = WATTS / (AREA * math.log(high / low) / (high - low))
    for width in (4.0, 2.0, 1.0):
        assert drop(solve_on(case, even_grid(case, [width, 8, 1]))) == pytest.approx(exact, rel=1e-3)


@pytest.mark.parametrize(("edge", "centre"), [(60, 20), (15, 90)])
def test_dome(edge: float, centre: float) -> None:
    """Under even flux the mean of (1 - x^2)(1 - y^2) is 4/9; between isothermal faces by quadrature."""
    mean = edge + 4 / 9 * (centre - edge)
    even = jointed({"edge": edge, "centre": centre})
    off = [drop(solve_on(even, even_grid(even, [w, w, 1]))) - WATTS / AREA * per_area(mean) for w in (1.0, 0.5)]
    assert abs(off[-1]) < 2e-3 * WATTS / AREA * per_area(mean)
    assert off[0] / off[1] == pytest.approx(4, rel=0.05)
    conducts, _ = dblquad(lambda y, x: 0.25 * AREA / per_area(dome_um(x, y, edge, centre)), -1, 1, -1, 1)
    flat = jointed({"edge": edge, "centre": centre}, "even temperature")
    assert drop(solve_on(flat, even_grid(flat, [0.25, 0.25, 1]))) == pytest.approx(WATTS / conducts, rel=1e-3)


@pytest.mark.parametrize("seed", [21, 22, 23])
def test_map_under_even_flux(tmp_path: Path, seed: int) -> None:
    """Places of a cell conduct side by side: 1/R'' of a cell is the mean of 1/R'' under it, on any grid."""
    rng = np.random.default_rng(seed)
    table = rng.uniform(10, 200, (rng.integers(1, 7), rng.integers(1, 7)))
    (tmp_path / "film.csv").write_text("\n".join(",".join(map(str, line)) for line in table), encoding="utf-8")
    case = jointed({"file": "film.csv"}, folder=tmp_path)
    model = build_model(case, uneven_grid(case, rng, most=7))
    conducts = 1.0 / np.array([[per_area(um) for um in line] for line in table[::-1]]).T
    finer = [np.linspace(0, 1, 40 * count, endpoint=False) + 0.5 / (40 * count) for count in conducts.shape]
    for i, j in ((0, 0), (model.grid.shape[0] - 1, 0), (model.grid.shape[0] // 2, model.grid.shape[1] // 2)):
        means = []
        for places, axis, cell in zip(finer, (model.grid.x, model.grid.y), (i, j), strict=True):
            faces = (axis.faces[cell : cell + 2] - axis.faces[0]) / (axis.faces[-1] - axis.faces[0])
            inner = np.linspace(*faces, 2001)[:-1] + 0.5 * (faces[1] - faces[0]) / 2000
            count = len(places) // 40
            means.append(np.bincount(np.minimum((inner * count).astype(int), count - 1), minlength=count) / 2000)
        wanted = 1.0 / float(means[0] @ conducts @ means[1])
        assert model.joints[0].resistance[i, j] == pytest.approx(wanted, rel=5e-3)


def test_map_is_read_the_right_way_round(tmp_path: Path) -> None:
    (tmp_path / "film.csv").write_text("10,20,30\n40,50,60\n", encoding="utf-8")
    case = jointed({"file": "film.csv"}, folder=tmp_path)
    field = solve_on(case, even_grid(case, [4, 4, 1]))
    resistance = field.model.joints[0].resistance
    wanted = np.array([[per_area(um) for um in line] for line in ([40, 10], [50, 20], [60, 30])])
    assert np.abs(resistance - wanted).max() < 1e-18 + 1e-12 * wanted.max()


@pytest.mark.parametrize("wetted", [1.0, 0.8, 0.5])
def test_wetted_fraction(wetted: float) -> None:
    """A joint that wets a fraction f conducts f times as much."""
    field = solve_on(case := jointed(100, wetted=wetted), even_grid(case, [4, 4, 1]))
    assert drop(field) == pytest.approx(WATTS / AREA * (100e-6 / K_FILM + 2e-6) / wetted, rel=1e-9)


def test_even_wedge_dome_and_number_are_one() -> None:
    forms: list[Any] = [70, {"low": 70, "high": 70, "towards": "+y"}, {"edge": 70, "centre": 70}]
    drops = []
    for form in forms:
        case = jointed(form, "even temperature")
        drops.append(drop(solve_on(case, even_grid(case, [3, 3, 1]))))
    assert drops[1] == pytest.approx(drops[0], rel=1e-9) and drops[2] == pytest.approx(drops[0], rel=1e-9)


def test_joint_lies_only_where_its_parts_meet() -> None:
    """A small die under a wide lid: the joint has the die's outline; void inserts are left out of it."""
    hole = {"material": "void", "corner_mm": [0, 0], "size_mm": [2, 2]}
    layers = [
        part("die", [6, 4], 0.7, 120, centre_mm=[1, 0], inserts=[hole]),
        {"joint": "film", "film_um": {"low": 20, "high": 80, "towards": "+x"}, "conductivity_W_mK": 5},
        part("lid", [16, 14], 2, 390),
    ]
    zone = {"zone": "z", "corner_mm": [2, 2], "size_mm": [4, 2], "power_W": 10.0}
    case = case_of(layers, [{"in": "die", "at": "bottom", "zones": [zone]}], [film("top", 9000)])
    model = build_model(case, even_grid(case, [0.5, 0.5, 0.35]))
    meets = model.joints[0].meets
    assert float(model.grid.face_area(2)[meets].sum()) == pytest.approx(20e-6)
    # The wedge runs from the left to the right edge of the die, not of the lid.
    film_um = model.joints[0].resistance[meets] * 5 * 1e6
    assert film_um.min() == pytest.approx(5 / math.log(25 / 20), rel=1e-6)
    assert film_um.max() == pytest.approx(5 / math.log(80 / 75), rel=1e-6)


def test_ladder_adds_up_over_uneven_joints() -> None:
    """The drops of the ladder add up to the rise of the hottest spot over its coolant, whatever the joints do."""
    layers = [
        part("die", [12, 8], 0.7, "silicon"),
        {"joint": "solder", "film_um": {"low": 20, "high": 140, "towards": "+x"}, "conductivity_W_mK": 30},
        part("lid", [20, 18], 2, "copper"),
        {"joint": "paste", "resistance_mm2K_W": 0.0},
        part("plate", [24, 24], 3, "copper"),
    ]
    zones = [
        {"zone": "a", "corner_mm": [1, 1], "size_mm": [3, 3], "power_W": 40},
        {"zone": "b", "corner_mm": [7, 2], "size_mm": [4, 5], "power_W": 50},
    ]
    cooling = [film("top", 12_000, 30), film("bottom", 10, 25), film("exposed", 10, 25)]
    case = case_of(layers, [{"in": "die", "at": "bottom", "zones": zones}], cooling)
    field = solve_on(case, even_grid(case, [1, 1, 0.35]))
    steps = ladder(field)
    assert steps is not None
    assert sum(rung.drop_K for rung in steps.rungs) == pytest.approx(field.hottest[0] - 30.0, rel=1e-9)
    assert all(math.isfinite(rung.even_K) for rung in steps.rungs)
    paste = next(rung for rung in steps.rungs if rung.item == "paste")
    assert paste.drop_K == pytest.approx(0.0, abs=1e-9)
