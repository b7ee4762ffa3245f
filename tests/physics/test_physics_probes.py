"""Temperatures at points: exact on straight courses, on the better conductor at a jump, smooth in the grid.

Straight and parabolic courses of a plane wall: Incropera et al., 6th ed., sections 3.1 and 3.5.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from stacks import case_of, even_grid, film, joint, part, solve_on, uneven_grid

from thermsim.model.grid.plan import plan_grid
from thermsim.readout.answers import answers
from thermsim.readout.field import Field


def wall() -> Field:
    """Two slabs with a joint under a straight course of 2e5 W/m2, on an uneven grid."""
    layers = [part("lower", [6, 4], 2, 50), joint("film", 100), part("upper", [6, 4], 3, 200)]
    case = case_of(layers, [], [{"face": "bottom", "flux_W_mm2": 0.2}, {"face": "top", "temperature_C": 10.0}])
    return solve_on(case, uneven_grid(case, np.random.default_rng(314), most=5))


def exact(z: float) -> float:
    """On the wall above, z [m] from the base; on the joint in the better conductor, the upper slab."""
    if z >= 2e-3 - 1e-15:
        return 10.0 + 2e5 * (5e-3 - z) / 200
    return 10.0 + 2e5 * (3e-3 / 200 + 100e-6 + (2e-3 - z) / 50)


def test_straight_course_is_exact_everywhere() -> None:
    field = wall()
    rng = np.random.default_rng(2718)
    for _ in range(60):
        x, y, z = rng.uniform(-3e-3, 3e-3), rng.uniform(-2e-3, 2e-3), rng.uniform(0, 5e-3)
        assert field.at((x, y, z)) == pytest.approx(exact(z), rel=1e-10)
    for z in (0.0, 2e-3, 5e-3, *field.model.grid.z.faces):
        assert field.at((3e-3, -2e-3, z)) == pytest.approx(exact(float(z)), rel=1e-10)


def test_joint_is_read_on_the_better_conductor() -> None:
    """The jump over the joint is 20 K: a point on it belongs to the upper slab (200 against 50 W/mK)."""
    field = wall()
    assert field.at((0.0, 0.0, 2e-3)) == pytest.approx(13.0, rel=1e-10)
    assert field.at((0.0, 0.0, 2e-3 - 1e-7)) == pytest.approx(33.0 + 2e5 * 1e-7 / 50, rel=1e-9)


def test_probe_places_count_from_the_part() -> None:
    """From the part's lower left bottom, also where the part stands off the axis."""
    layers = [part("base", [10, 10], 1, 100), part("post", [4, 2], 3, 100, centre_mm=[2, -1])]
    probes = [
        {"probe": "foot", "in": "post", "at_mm": [0, 0, 0]},
        {"probe": "head", "in": "post", "at_mm": [4, 2, 3]},
        {"probe": "middle", "in": "post", "at_mm": [2, 1, 1.5]},
    ]
    ends = [{"face": "bottom", "temperature_C": 80.0}, {"face": "top", "temperature_C": 20.0}]
    case = case_of(layers, [], ends, probes=probes)
    field = solve_on(case, even_grid(case, [0.5, 0.5, 0.25]))
    found = answers(case, field)
    assert found["probe", "head"] == pytest.approx(20.0, abs=1e-3)
    assert found["probe", "middle"] == field.at((2e-3, -1e-3, 2.5e-3), "post")
    assert found["probe", "foot"] == field.at((0.0, -2e-3, 1e-3), "post")
    assert 20.0 < found["probe", "middle"] < found["probe", "foot"] < 80.0


def test_point_outside_or_in_a_void_has_no_temperature() -> None:
    hole = {"material": "void", "corner_mm": [4, 4], "size_mm": [2, 2]}
    case = case_of([part("slab", [10, 10], 1, 100, inserts=[hole])], [], [film("top", 100, 20)])
    field = solve_on(case, even_grid(case, [1, 1, 0.5]))
    assert math.isnan(field.at((0.0, 0.0, 0.5e-3)))
    assert field.at((-1e-3, 0.0, 0.5e-3)) == pytest.approx(20.0)  # on the wall of the hole: the solid side
    assert math.isnan(field.at((6e-3, 0.0, 0.5e-3)))


def test_error_of_a_point_is_smooth_over_a_family_of_grids() -> None:
    """Whether the point falls on a corner of cells or on a centre, its error is one constant times h^2.

    The square column of EN ISO 10211, case 1, at the point (3/8, 5/8) of its table, on odd and even grids.
    """
    case = case_of(
        [part("column", 8.0, 8.0, 1.0)],
        [],
        [{"face": face, "temperature_C": 0.0} for face in ("left", "right", "bottom")]
        + [{"face": "top", "temperature_C": 20.0}],
        dimensions=2,
    )
    scaled = []
    for cells in (20, 21, 30, 31, 40, 41):
        field = solve_on(case, even_grid(case, [8.0 / cells, 1000, 8.0 / cells]))
        scaled.append((field.at((1e-3, 0.5, 3e-3)), cells))
    # (x, depth) = (5/8, 5/8), whose exact value is that of the table at (3/8, 5/8)
    constants = [(value - 2.98584703) * cells**2 for value, cells in scaled]
    assert max(constants) - min(constants) < 0.25 * abs(float(np.mean(constants)))


def test_highest_is_smooth_over_a_family_of_grids() -> None:
    """The peak of a heated square between cells and on a cell: errors fall in one line, multipliers odd and even."""
    zone = {"zone": "s", "corner_mm": [15, 15], "size_mm": [10, 10], "power_W": 100.0}
    case = case_of([part("plate", [40, 40], 3, 390)], [{"in": "plate", "at": "top", "zones": [zone]}],
                   [film("bottom", 5000)])  # fmt: skip
    plan = plan_grid(case, 3000)
    constants = []
    for multiplier in (2, 3, 4, 5):
        field = solve_on(case, plan.grid(multiplier))
        peak, at = field.zones[0].highest_C, field.zones[0].highest_at
        assert peak == pytest.approx(field.hottest[0], rel=1e-12)
        assert math.hypot(at[0], at[1]) < 1e-6
        constants.append((peak - 29.6575) * multiplier**2)
    assert max(constants) / min(constants) < 1.25


def test_hottest_of_heat_in_a_volume() -> None:
    """A slab heated throughout, cooled on both sides: the middle is q L^2/(8k) over its faces."""
    layers = [part("slab", [10, 10], 10, 20)]
    heat = [{"in": "slab", "at": "volume", "zones": [{"zone": "slab", "power_W": 100.0}]}]
    case = case_of(layers, heat, [{"face": face, "temperature_C": 25.0} for face in ("top", "bottom")])
    wanted = 25 + 1e8 * (10e-3) ** 2 / (8 * 20)
    off = []
    for cells in (10, 11, 20, 21):
        field = solve_on(case, even_grid(case, [10, 10, 10 / cells]))
        value, at = field.hottest
        assert at[2] == pytest.approx(5e-3, abs=0.0051 / cells)
        off.append((value - wanted) * (cells / 10e-3) ** 2)
    assert all(-1e-6 <= one <= 1.01 * 1e8 / (8 * 20) for one in off)  # at most q h^2/(8k) too high


def test_a_probe_at_a_joint_reads_its_own_part() -> None:
    """By hand: 100 W over 1 cm2 through 1 mm of k 100, 20 mm2K/W and 2 mm of k 400 into a face at 100 C."""
    layers = [part("die", [10, 10], 1, 100), {"joint": "film", "resistance_mm2K_W": 20}, part("lid", [10, 10], 2, 400)]
    probes = [
        {"probe": "die top", "in": "die", "at_mm": [5, 5, 1]},
        {"probe": "lid underside", "in": "lid", "at_mm": [5, 5, 0]},
    ]
    heat = [{"in": "die", "at": "bottom", "zones": [{"zone": "die", "power_W": 100.0}]}]
    case = case_of(layers, heat, [{"face": "top", "temperature_C": 100.0}], probes=probes)
    found = answers(case, solve_on(case, even_grid(case, [5, 5, 0.5])))
    assert found["probe", "lid underside"] == pytest.approx(105.0, abs=1e-8)
    assert found["probe", "die top"] == pytest.approx(125.0, abs=1e-8)
