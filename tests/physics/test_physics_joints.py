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
from scipy.integrate import dblquad, quad
from stacks import Mapping, case_of, even_grid, film, part, solve_on, uneven_grid

from thermsim.case.inputs.values import inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.model.physics.properties import joint_of
from thermsim.nearby.gradients import gradients
from thermsim.readout.field import Field
from thermsim.readout.ladder import ladder

WIDTH, DEPTH, WATTS = 12.0, 8.0, 30.0
AREA = WIDTH * DEPTH * 1e-6
K_FILM, BOUNDARY, WETTED = 20.0, 2.0, 0.9


def jointed(
    film_um: Any, side: str = "even flux", wetted: float = WETTED, folder: Path | None = None, dimensions: int = 3
) -> Case:
    """Die and lid of one size. "even flux": nothing conducts sideways; "even temperature": both sides isothermal."""
    k: Any = [1e-9, 200.0] if side == "even flux" else [1e7, 1e7]
    middle: Mapping = {
        "joint": "film",
        "film_um": film_um,
        "conductivity_W_mK": K_FILM,
        "boundary_mm2K_W": BOUNDARY,
        "wetted_fraction": wetted,
    }
    size = [WIDTH, DEPTH] if dimensions == 3 else WIDTH
    more: Mapping = {} if dimensions == 3 else {"dimensions": 2, "depth_mm": DEPTH}
    layers = [part("die", size, 1, k), middle, part("lid", size, 1, k)]
    heat = [{"in": "die", "at": "bottom", "zones": [{"zone": "die", "power_W": WATTS}]}]
    return case_of(layers, heat, [film("top", 1e6)], folder, **more)


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


@pytest.mark.parametrize(("edge", "centre"), [(60, 20), (15, 90)])
def test_dome_of_a_slice_is_a_parabola_along_it(edge: float, centre: float) -> None:
    """Under even flux the mean of 1 - x^2 is 2/3; between isothermal faces by quadrature."""
    mean = edge + 2 / 3 * (centre - edge)
    even = jointed({"edge": edge, "centre": centre}, dimensions=2)
    fine = drop(solve_on(even, even_grid(even, [0.1, DEPTH, 1])))
    assert fine == pytest.approx(WATTS / AREA * per_area(mean), rel=1e-3)
    middle = joint_of(even.joints[0], even.dimensions).middle()
    assert middle is not None and middle.value == pytest.approx(per_area(mean), rel=1e-12)
    conducts, _ = quad(lambda x: 0.5 * AREA / per_area(dome_um(x, 0.0, edge, centre)), -1, 1)
    flat = jointed({"edge": edge, "centre": centre}, "even temperature", dimensions=2)
    assert drop(solve_on(flat, even_grid(flat, [0.25, DEPTH, 1]))) == pytest.approx(WATTS / conducts, rel=1e-3)


@pytest.mark.parametrize(("ends", "mean_um"), [(("low", "high"), 80.0), (("edge", "centre"), 20 + 120 * 2 / 3)])
def test_tolerances_of_both_ends_are_carried(ends: tuple[str, str], mean_um: float) -> None:
    """Each end varies by itself: slopes against those of the integral, the mean's tolerance by hand."""

    def wanted_K(one: float, other: float) -> float:
        """Between isothermal faces: the logarithmic mean of both R'' of a wedge, a quadrature over a dome."""
        first, second = per_area(one), per_area(other)
        if ends[0] == "low":
            return WATTS / AREA * (second - first) / math.log(second / first)
        return WATTS / quad(lambda x: 0.5 * AREA / per_area(dome_um(x, 0.0, one, other)), -1, 1)[0]

    film_um: Mapping = {ends[0]: {"value": 20, "plus_minus": 3}, ends[1]: {"value": 140, "plus_minus": 30}}
    film_um |= {"towards": "-x"} if ends[0] == "low" else {}
    case = jointed(film_um, "even temperature", dimensions=2)
    by_path = {one.path: one for one in inputs(case) if one.plus_minus > 0.0}
    assert {path: one.plus_minus for path, one in by_path.items()} == dict(
        zip([f"film.film_um.{end}" for end in ends], (3.0, 30.0), strict=True)
    )
    slopes = gradients(case, asked=["zone die"], paths=by_path).values["zone die"]
    step = 1e-3
    for path, ahead, behind in zip(
        by_path, [(20 + step, 140), (20, 140 + step)], [(20 - step, 140), (20, 140 - step)], strict=True
    ):
        assert slopes[path] == pytest.approx((wanted_K(*ahead) - wanted_K(*behind)) / (2 * step), rel=2e-3)
    known = joint_of(case.joints[0], 2).film
    share = 0.5 if ends[0] == "low" else 2 / 3
    assert known is not None and known.value == pytest.approx(1e-6 * mean_um, rel=1e-12)
    assert known.plus_minus == pytest.approx(1e-6 * math.hypot(3.0 * (1 - share), 30.0 * share), rel=1e-12)


def test_a_wedge_whose_tolerances_could_turn_it_round_is_refused() -> None:
    with pytest.raises(CaseError, match=r"`low` reaches up to 70 um and `high` down to 65 um"):
        jointed({"low": {"value": 40, "plus_minus": 30}, "high": {"value": 80, "plus_minus": 15}, "towards": "+x"})


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


# ---- what is filled in beside a film --------------------------------------------------------------------------------

FILMS: dict[str, Mapping] = {
    "solder": {"joint": "film", "film_um": 240, "conductivity_W_mK": 70, "boundary_mm2K_W": 3},
    "pad": {"joint": "film", "film_um": 500, "conductivity_W_mK": 5, "boundary_mm2K_W": 10},
    "adhesive": {"joint": "film", "film_um": 20, "conductivity_W_mK": 2, "boundary_mm2K_W": 3},
    "by its resistance": {"joint": "film", "resistance_mm2K_W": 12},
}


def beside_a_fill(film_of: str, sides: str, dimensions: int) -> Case:
    """A die and a lid on a substrate under a plate; the level of the die, of the lid or of both is filled."""
    size = (lambda x, y: [x, y]) if dimensions == 3 else (lambda x, y: x)
    fills = {side: {"around": {"material": {"conductivity_W_mK": 0.6}}} for side in sides.split(" and ")}
    layers = [
        part("substrate", size(24, 22), 1.2, 20),
        part("die", size(12, 10) if "die" in fills else size(24, 22), 0.7, 120, **fills.get("die", {})),
        FILMS[film_of],
        part("lid", size(12, 10) if "lid" in fills else size(24, 22), 1.5, 390, **fills.get("lid", {})),
        part("plate", size(24, 22), 1.0, 390),
    ]
    middle = {"corner_mm": size(1, 1), "size_mm": size(10, 8)} if "die" in fills else {}
    heat = [{"in": "die", "zones": [{"zone": "hot", "power_W": 100.0 if dimensions == 3 else 2000.0, **middle}]}]
    return case_of(layers, heat, [film("top", 8000, 30), film("bottom", 20, 30)], dimensions=dimensions)


@pytest.mark.parametrize("sides", ["die", "lid", "die and lid"])
@pytest.mark.parametrize("film_of", list(FILMS))
def test_a_slice_whose_film_ends_in_a_fill_settles(film_of: str, sides: str) -> None:
    """The orders that smooth fields and jumps of flux have: between 1.2 and 2.2.

    A fill that touched both parts at the edge of the film would draw heat as the logarithm of the cell width: order 0.
    """
    found = predict(beside_a_fill(film_of, sides, 2), accuracy_K=2e-3)
    assert found.status == "accuracy held"
    told = found.doubts["zone", "hot", "mean"]
    assert told.order is not None and 1.2 < told.order < 2.2


@pytest.mark.slow
@pytest.mark.parametrize("film_of", ["solder", "pad"])
def test_a_stack_whose_film_ends_in_a_fill_settles(film_of: str) -> None:
    found = predict(beside_a_fill(film_of, "die", 3), accuracy_K=0.02)
    told = found.doubts["zone", "hot", "mean"]
    assert found.status == "accuracy held" and told.order is not None and 1.3 < told.order < 2.5


def test_the_fill_stands_in_the_gap_beside_the_film() -> None:
    """Heat that crosses a fill of 0.8 mm and a gap of 0.5 mm beside a film that conducts nothing: 1/R = k A / 1.3 mm.

    The part itself conducts next to nothing, so all heat takes the fill. Two fills that meet share the gap.
    """
    nothing, fill = 1e-6, {"around": {"material": {"conductivity_W_mK": 2.0}}}
    for lid_k, more, length_mm in ((1e5, {}, 0.8 + 0.5), (nothing, fill, 0.8 + 0.5 + 0.4)):
        layers = [
            part("base", [20, 10], 1, 1e5),
            part("die", [12, 10], 0.8, nothing, **fill),
            {"joint": "film", "film_um": 500, "conductivity_W_mK": 1e-4},
            part("lid", [12, 10] if more else [20, 10], 0.4, lid_k, **more),
            part("plate", [20, 10], 1, 1e5),
        ]
        cooling = [film("top", 1e8), {"face": "bottom", "temperature_C": 50.0}]
        case = case_of(layers, (), cooling)
        heat = solve_on(case, even_grid(case, [1, 5, 0.2])).flows[0].heat_W
        assert heat == pytest.approx(50.0 * 2.0 * 80e-6 / (1e-3 * length_mm), rel=2e-3)


def test_how_wide_a_gap_is(tmp_path: Path) -> None:
    """As the film at the nearest place of its edge; of a joint class, its film; else R'' times 3 W/mK."""
    (tmp_path / "film.csv").write_text("10,30\n20,40\n", encoding="utf-8")
    wanted: list[tuple[Mapping, list[float]]] = [
        ({"film_um": 70, "conductivity_W_mK": 5}, [70, 70]),
        ({"film_um": {"low": 20, "high": 140, "towards": "+x"}, "conductivity_W_mK": 5}, [20, 140]),
        ({"film_um": {"edge": 60, "centre": 20}, "conductivity_W_mK": 5}, [60, 60]),
        ({"film_um": {"file": "film.csv"}, "conductivity_W_mK": 5}, [20, 40]),
        ({"resistance_mm2K_W": 12}, [36, 36]),
        ({"material": "silicone paste"}, [37.5, 37.5]),
        ({"material": "silicone paste", "resistance_mm2K_W": 12}, [37.5, 37.5]),
    ]
    for given, (left_um, right_um) in wanted:
        die = part("die", [10, 8], 0.7, 120, around={"material": {"conductivity_W_mK": 0.6}})
        case = case_of(
            [die, {"joint": "film", **given}, part("lid", [20, 18], 2, 390)], (), [film("top", 9e3)], tmp_path
        )
        plane = build_model(case, even_grid(case, [1, 1, 1])).joints[0]
        gap = 1e6 * plane.fill_under
        assert [gap[0, 6], gap[-1, 6]] == pytest.approx([left_um, right_um])
        assert not plane.fill_over.any() and not plane.fill_under[plane.meets].any()
