"""Grids of two cases that are alike cell by cell."""

from __future__ import annotations

import numpy as np
import pytest
from stacks import case_of, film, joint, part, solve_on

from thermsim.case.inputs.values import with_inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.model.grid.axes import Grid
from thermsim.model.grid.outline_lines import outlines
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.readout.answers import answers


def stack(lid: bool = True, die_mm: float = 12.0, chip_mm: float = 0.7) -> Case:
    layers = [part("die", [die_mm, 9.0], chip_mm, 120.0), joint("film", 6.0)]
    if lid:
        layers += [part("lid", [30.0, 26.0], 2.0, 390.0), joint("paste", 8.0)]
    layers += [part("plate", [24.0, 24.0], 3.0, 390.0)]
    zones = [{"zone": "hot", "corner_mm": [2.0, 2.0], "size_mm": [3.0, 4.0], "power_W": 40.0}]
    return case_of(layers, [{"in": "die", "zones": zones}], [film("top", 9000.0, 20.0)])


def stands_on_every_outline(grid: Grid, case: Case) -> bool:
    return all(
        np.abs(axis.faces - line.place).min() < 1e-9
        for axis, lines in zip(grid.axes, outlines(case), strict=True)
        for line in lines
    )


@pytest.mark.parametrize("multiplier", [1, 2, 3])
def test_a_stretched_grid_has_the_same_cells(multiplier: int) -> None:
    base, changed = (
        stack(),
        with_inputs(stack(), {"die.thickness_mm": 0.4, "lid.size_mm.0": 32.0, "die.size_mm.1": 9.5}),
    )
    plan = plan_grid(base)
    grid = alike(plan, base, changed).grid(multiplier)
    assert grid.shape == plan.grid(multiplier).shape
    assert stands_on_every_outline(grid, changed)
    for before, after in zip(plan.grid(multiplier).axes, grid.axes, strict=True):
        assert np.all(after.widths > 0.0)
        assert np.all(np.abs(np.log(after.widths / before.widths)) < 0.7)


def test_same_case_same_grid() -> None:
    plan = plan_grid(stack())
    for before, after in zip(plan.grid(2).axes, alike(plan, stack(), stack()).grid(2).axes, strict=True):
        np.testing.assert_allclose(after.faces, before.faces, rtol=0.0, atol=1e-15)


def test_a_level_that_is_gone_takes_its_cells_along() -> None:
    """Here the lid is also the widest part, so that the stack becomes narrower."""
    base, changed = stack(), stack(lid=False)
    plan = plan_grid(base)
    followed = alike(plan, base, changed)
    grid = followed.grid(2)
    assert stands_on_every_outline(grid, changed)
    assert grid.z.cells == sum(np.delete(plan.z.cells_between(2), 1))
    assert followed.cells(2) == grid.cells


def test_a_new_level_and_a_new_order_of_lines() -> None:
    base, changed = stack(lid=False), stack(die_mm=25.0)
    grid = alike(plan_grid(base), base, changed).grid(2)
    assert stands_on_every_outline(grid, changed)


def test_the_error_of_the_grid_cancels_in_a_difference() -> None:
    """Difference of two temperatures on one coarse grid, against a fine one; each alone is ten times further off."""
    base, changed = stack(), stack(chip_mm=0.6)
    plan = plan_grid(base)
    found = {}
    for multiplier in (1, 5):
        pair = [solve_on(case, alike(plan, base, case).grid(multiplier)) for case in (base, changed)]
        found[multiplier] = [
            answers(case, field)["zone", "hot", "mean"] for case, field in zip((base, changed), pair, strict=True)
        ]
    alone = abs(found[1][0] - found[5][0])
    together = abs((found[1][1] - found[1][0]) - (found[5][1] - found[5][0]))
    assert together < 0.1 * alone


@pytest.mark.parametrize("multiplier", [1, 3])
@pytest.mark.parametrize("width_mm", [23.8, 24.2])
def test_outlines_that_fall_apart_leave_all_other_cells(width_mm: float, multiplier: int) -> None:
    """Lid and plate are of one width; where one of them grows or shrinks a little, a sliver opens on both sides."""
    base = with_inputs(stack(), {"lid.size_mm.0": 24.0})
    changed = with_inputs(base, {"lid.size_mm.0": width_mm})
    plan = plan_grid(base)
    grid, before = alike(plan, base, changed).grid(multiplier), plan.grid(multiplier)
    assert stands_on_every_outline(grid, changed)
    assert grid.x.cells == before.x.cells + 2
    assert grid.y.cells == before.y.cells
    np.testing.assert_allclose(grid.x.widths[[0, -1]], 0.5e-3 * abs(width_mm - 24.0), rtol=1e-6)
    np.testing.assert_allclose(grid.x.widths[1:-1], before.x.widths, rtol=0.06)


def test_what_falls_apart_far_gets_a_grid_of_its_own() -> None:
    base = with_inputs(stack(), {"lid.size_mm.0": 24.0})
    changed = with_inputs(base, {"lid.size_mm.0": 36.0})
    assert stands_on_every_outline(alike(plan_grid(base), base, changed).grid(1), changed)


def test_a_width_shared_with_another_part_moves_temperatures_as_one_beside_it() -> None:
    """Continuity: a lid a little wider than, as wide as or narrower than the plate cools by the same per millimetre."""
    base = with_inputs(stack(), {"lid.size_mm.0": 24.0})
    plan = plan_grid(base)

    def hottest(width_mm: float) -> float:
        case = with_inputs(base, {"lid.size_mm.0": width_mm})
        return float(np.nanmax(solve_on(case, alike(plan, base, case).grid(1)).temperature))

    at = [hottest(width) for width in (23.8, 23.9, 24.0, 24.1, 24.2)]
    steps = np.diff(at)
    assert np.all(steps < 0.0)
    assert steps.min() / steps.max() < 3.0
