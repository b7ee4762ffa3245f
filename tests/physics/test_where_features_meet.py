"""Faults that stood where two features meet, each found by a drawn case, as its smallest case."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from stacks import case_of, film, part, solve_case, solve_on

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.predict import predict
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike

VOID = {"material": "void", "corner_mm": [3.0, 2.0], "size_mm": [2.0, 2.0]}


def zone_and_map_beside_a_void(folder: Path, at: str) -> Case:
    """A map of one cell that falls partly over a void, and a zone of 3 W that does not."""
    (folder / "power.csv").write_text("2.0\n")
    zone = {"zone": "core", "corner_mm": [0.0, 0.0], "size_mm": [2.0, 6.0], "power_W": 3.0}
    heat = [{"in": "die", "at": at, "zones": [zone], "map": {"file": "power.csv", "holds": "W"}}]
    layers = [part("die", [8.0, 6.0], 0.6, 120.0, inserts=[VOID])]
    return case_of(layers, heat, [film("top", 5000.0, 20.0)], folder)


@pytest.mark.parametrize("at", ["bottom", "top", "volume"])
def test_what_a_map_holds_over_a_void_is_made_by_the_rest_of_its_cell_and_by_no_zone(tmp_path: Path, at: str) -> None:
    """The zone makes its 3 W, and what its area has of the map: 12 of 44 mm2 that are solid."""
    field = solve_case(zone_and_map_beside_a_void(tmp_path, at))
    assert field.heat_made_W == pytest.approx(5.0, rel=1e-9)
    assert field.zones[0].power_W == pytest.approx(3.0 + 2.0 * 12.0 / 44.0, rel=1e-9)


@pytest.mark.parametrize("at", ["bottom", "top", "volume"])
def test_a_map_alone_over_a_part_with_a_void_has_a_mean(tmp_path: Path, at: str) -> None:
    """Columns that are alike: q/h at the top, and q t/k (or a third of it, from within) under it."""
    (tmp_path / "power.csv").write_text("4.4\n")
    heat = [{"in": "die", "at": at, "map": {"file": "power.csv", "holds": "W"}}]
    layers = [part("die", [8.0, 6.0], 0.6, 120.0, inserts=[VOID])]
    field = solve_case(case_of(layers, heat, [film("top", 5000.0, 20.0)], tmp_path))
    q = 4.4 / 44e-6
    rise = q / 5000.0 + q * 0.6e-3 / 120.0 * {"bottom": 1.0, "top": 0.0, "volume": 1.0 / 3.0}[at]
    assert [zone.mean_C for zone in field.zones] == pytest.approx([20.0 + rise], abs=2e-3 * rise)
    assert field.zones[0].area_m2 == pytest.approx(44e-6)
    assert np.isfinite(field.zones[0].highest_C)


def test_equal_sizes_that_are_rounded_differently_get_the_same_grid() -> None:
    """Heat does not turn where a die meets a lid whose edges lie a tenth of an atom away."""

    def shape(side_mm: float) -> tuple[int, int, int]:
        layers = [part("die", [8.0, 6.0], 0.6, 120.0), part("lid", [side_mm, 6.0], 1.2, 300.0)]
        zone = {"zone": "core", "corner_mm": [1.0, 1.0], "size_mm": [3.0, 4.0], "power_W": 5.0}
        case = case_of(layers, [{"in": "die", "at": "bottom", "zones": [zone]}], [film("top", 5000.0, 20.0)])
        return plan_grid(case, 3000).grid(1).shape

    assert shape(8.0 + 1e-11) == shape(8.0)
    assert shape(8.1) != shape(8.0)


def flank_beside_a_map(folder: Path, off_mm: np.ndarray) -> Case:
    (folder / "power.csv").write_text("0.02, 0.03, 0.01\n")
    sizes = [7.8 + off_mm[0], 6.2 + off_mm[1]]
    die = part("die", sizes, 0.678, 120.0, centre_mm=[0.31 + off_mm[2], -0.22 + off_mm[3]])
    layers = [die | {"around": {"material": {"conductivity_W_mK": 0.8}}}, part("plate", [13.0, 10.0], 1.5, 200.0)]
    heat = [{"in": "die", "at": "bottom", "map": {"file": "power.csv", "holds": "W"}}]
    return case_of(layers, heat, [film("top", 9000.0, 25.0), film("left", 5000.0, 60.0)], folder)


def test_a_map_makes_no_heat_beside_its_part(tmp_path: Path) -> None:
    """Its edges are worked out in another way than grid lines are: 1e-17 W in the filler beside the die made it
    count as heated, and the hottest spot, which a warm fluid makes at the flank of the filler, was sought on the die
    alone.
    """
    rng = np.random.default_rng(20_341)
    base = flank_beside_a_map(tmp_path, np.zeros(4))
    plan = plan_grid(base, 300)
    for _ in range(12):
        case = flank_beside_a_map(tmp_path, 1e-10 * rng.uniform(-1.0, 1.0, 4))
        field = solve_on(case, alike(plan, base, case).grid(1))
        body = next(number for number, region in enumerate(field.model.regions) if region.name == "die")
        assert not field.model.face_sources[0].watts[field.model.region[:, :, 0] != body].any()
        assert field.hottest[0] > 50.0


@pytest.mark.parametrize("at", ["bottom", "top"])
def test_a_zone_that_only_reads_does_not_draw_the_hottest_spot_to_itself(tmp_path: Path, at: str) -> None:
    """The map makes its heat far from the zone: what is hottest is what is hottest without that zone."""
    (tmp_path / "power.csv").write_text("0, 0, 0, 6\n0, 0, 0, 0\n")
    zone = {"zone": "sensor", "corner_mm": [0.0, 0.0], "size_mm": [2.0, 3.0]}
    found = []
    for zones in ([], [zone]):
        heat = [{"in": "die", "at": at, "zones": zones, "map": {"file": "power.csv", "holds": "W"}}]
        case = case_of([part("die", [8.0, 6.0], 0.6, 120.0)], heat, [film("top", 5000.0, 20.0)], tmp_path)
        prediction = predict(case, accuracy_K=0.05)
        found.append(prediction.doubts["hottest",])
        assert prediction.field.hottest[1][0] > 1.9e-3
    assert found[0].value == pytest.approx(found[1].value, abs=found[0].half_width + found[1].half_width)


def test_the_hottest_spot_is_as_hot_as_any_zone() -> None:
    """A part that is heated throughout, and in its bottom as well, where its hottest cell lies beside that face."""
    zones = [{"zone": "all of it", "power_W": 8.0}]
    below = [{"zone": "below", "corner_mm": [0.0, 0.0], "size_mm": [1.0, 6.0], "power_W": 0.1}]
    heat = [{"in": "die", "at": "volume", "zones": zones}, {"in": "die", "at": "bottom", "zones": below}]
    cooling = [film("top", 3000.0, 20.0, corner_mm=[0.0, 0.0], size_mm=[2.0, 6.0])]
    field = solve_case(case_of([part("die", [8.0, 6.0], 0.6, 120.0)], heat, cooling))
    assert field.hottest[0] >= max(zone.highest_C for zone in field.zones)
    assert field.hottest[0] >= np.nanmax(field.temperature)
