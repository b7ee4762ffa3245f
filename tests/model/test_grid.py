"""Grids: faces on every outline, widths as wanted, one mapping for a whole family."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from samples import CORNCRAKE, SLICE
from stacks import case_of, film, part, solve_on

from thermsim.case.load import parse_case
from thermsim.model.grid.axes import FOLLOWS, AxisPlan, merge_lines, plan_axis
from thermsim.model.grid.cells import as_planes
from thermsim.model.grid.outline_lines import outlines
from thermsim.model.grid.plan import FIRST_GRID_CELLS, FIRST_MULTIPLIER, GROWTH, plan_grid
from thermsim.readout.answers import answers

MICROMETRES = st.lists(st.integers(-50_000, 50_000), min_size=2, max_size=8, unique=True).filter(
    lambda lines: max(lines) - min(lines) > 100
)


@st.composite
def axis_plans(draw: st.DrawFn) -> AxisPlan:
    lines = 1e-6 * np.sort(np.array(draw(MICROMETRES)))
    hot = draw(st.lists(st.sampled_from(list(lines)), max_size=4))
    finest = draw(st.floats(1e-4, 5e-3))
    return plan_axis(lines, np.array(hot), finest, draw(st.sampled_from([0.0, 0.2, 0.4, 1.0])))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(axis_plans(), st.sampled_from([1, 2, 3, 5]))
def test_faces_rise_and_stand_on_every_line(plan: AxisPlan, multiplier: int) -> None:
    axis = plan.axis(multiplier)
    assert axis.cells == plan.cells(multiplier) == multiplier * plan.cells(1)
    assert np.all(axis.widths > 0.0)
    for line in plan.lines:
        assert axis.faces[axis.face_at(line)] == line
    assert axis.faces[0] == plan.lines[0] and axis.faces[-1] == plan.lines[-1]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(axis_plans())
def test_one_mapping_sampled_more_finely(plan: AxisPlan) -> None:
    """Every face of a grid stands in the grid of twice, and of three times, as many cells."""
    coarse = plan.axis(2).faces
    for multiplier in (4, 6):
        fine = plan.axis(multiplier).faces
        step = multiplier // 2
        assert np.abs(fine[::step] - coarse).max() < 1e-12


@settings(max_examples=60, deadline=None, derandomize=True)
@given(axis_plans())
def test_cells_are_as_many_as_wanted(plan: AxisPlan) -> None:
    """Between two outlines the integral of ds / h(s), h = finest + growth d(s), rounded, and one at least."""
    for low, high, count in zip(plan.lines[:-1], plan.lines[1:], plan.counts, strict=True):
        places = np.linspace(low, high, 20_001)
        distance = np.min(plan.distance[None, :] + np.abs(places[:, None] - plan.lines[None, :]), axis=1)
        wanted = np.trapezoid(1.0 / (plan.finest + plan.growth * distance), places)
        assert count >= 1
        assert abs(max(wanted, 1.0) - count) < 0.5 + 1e-2 * wanted


@settings(max_examples=60, deadline=None, derandomize=True)
@given(axis_plans())
def test_both_sides_of_a_hot_line_are_alike(plan: AxisPlan) -> None:
    """Where no limit of growth stands against it: the ratio of the two cells at a line tends to 1."""
    axis = plan.axis(64)
    for number in range(1, len(plan.lines) - 1):
        both = slice(number - 1, number + 1)
        exact = [
            abs(segment.steps() - count) < 1e-6
            for segment, count in zip(plan.segments[both], plan.counts[both], strict=True)
        ]
        natural = np.diff(plan.lines)[both] / plan.counts[both]
        if all(exact) and plan.distance[number] == 0.0 and natural.min() > 2 * FOLLOWS * natural.max():
            face = axis.face_at(plan.lines[number])
            assert axis.widths[face] / axis.widths[face - 1] == pytest.approx(1.0, abs=0.08)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(axis_plans())
def test_mirrored_lines_give_a_mirrored_grid(plan: AxisPlan) -> None:
    hot = plan.lines[plan.distance == 0.0]
    mirrored = plan_axis(-plan.lines[::-1], -hot[::-1], plan.finest, plan.growth)
    assert np.array_equal(mirrored.counts, plan.counts[::-1])
    assert np.abs(-mirrored.axis(3).faces[::-1] - plan.axis(3).faces).max() < 1e-12


def test_neighbours_grow_by_less_than_a_third() -> None:
    """Within a segment, from the second grid of a study on: what GROWTH promises."""
    plan = plan_axis(np.array([0.0, 0.04]), np.array([0.0]), 2e-4, GROWTH)
    for multiplier in (2, 4):
        widths = plan.axis(multiplier).widths
        assert np.max(widths[1:] / widths[:-1]) < 4 / 3


def test_lines_that_differ_by_rounding_are_one() -> None:
    found = merge_lines(np.array([8.2e-3, (4.0 + 4.2) * 1e-3, 0.0, 0.0, 1e-2, 8.2e-3 + 1e-12]))
    assert found.tolist() == pytest.approx([0.0, 8.2e-3, 1e-2])


def test_slice_has_one_cell_across_at_every_multiplier() -> None:
    case = parse_case(SLICE)
    plan = plan_grid(case, 800)
    assert plan.is_slice
    for multiplier in (2, 3, 8):
        grid = plan.grid(multiplier)
        assert grid.shape[1] == 1 and grid.cells == plan.cells(multiplier)
        assert grid.y.faces.tolist() == [0.0, 0.5]


def test_every_outline_of_a_case_is_a_face() -> None:
    case = parse_case(CORNCRAKE)
    for multiplier in (2, 3):
        grid = plan_grid(case, 3000).grid(multiplier)
        for axis, lines in zip(grid.axes, outlines(case), strict=True):
            for line in lines:
                assert np.abs(axis.faces - line.place).min() < 1e-12


def test_a_film_map_adds_faces_where_it_changes(tmp_path: Path) -> None:
    """And so a coarse grid gives the mean of columns that conduct nothing sideways: q (t / k + film / k + 1 / h)."""
    (tmp_path / "film.csv").write_text("20,20,1000\n")
    upright = {"in_plane_W_mK": 0.01, "through_W_mK": 100}
    layers = [
        {"part": "die", "material": upright, "size_mm": [90, 80], "thickness_mm": 1},
        {"joint": "tim", "film_um": {"file": "film.csv"}, "conductivity_W_mK": 5},
        {"part": "lid", "material": upright, "size_mm": [90, 80], "thickness_mm": 1},
    ]
    heat = [{"in": "die", "at": "bottom", "zones": [{"zone": "all", "power_W": 90 * 80 * 0.1}]}]
    case = case_of(layers, heat, [film("top", 10_000)], tmp_path)
    assert [line.place for line in outlines(case)[0] if "map" in line.name] == pytest.approx([0.015])
    assert not any("map" in line.name for line in outlines(case)[1])
    field = solve_on(case, plan_grid(case, 1).grid(1))
    columns = [1e5 * (2 * 1e-3 / 100 + film_m / 5 + 1 / 10_000) for film_m in (20e-6, 20e-6, 1000e-6)]
    assert answers(case, field)["zone all, mean"] == pytest.approx(np.mean(columns), rel=2e-3)


@pytest.mark.parametrize("cells", [2_000, FIRST_GRID_CELLS, 200_000])
def test_budget_of_cells_is_kept(cells: int) -> None:
    """As close below as whole cells between outlines allow; a stack of many outlines needs some at least."""
    for case in (parse_case(CORNCRAKE), simple()):
        least = plan_grid(case, 1).cells(FIRST_MULTIPLIER)
        found = plan_grid(case, cells).cells(FIRST_MULTIPLIER)
        assert found <= max(cells, least)
        assert found > 0.5 * cells or found == least


def test_budget_is_spent_on_a_slice_too() -> None:
    """Also without heat, where the whole width is the only length to measure in."""
    layers = [part("thin", 500, 0.02, 200), part("thick", 500, 30, 0.03)]
    case = case_of(layers, [], [film("top", 10, 0), film("bottom", 10, 20)], dimensions=2)
    for cells in (2_000, 5_000):
        assert 0.7 * cells < plan_grid(case, cells).cells(FIRST_MULTIPLIER) <= cells


def simple():  # type: ignore[no-untyped-def]
    heat = [{"in": "plate", "at": "top", "zones": [
        {"zone": "s", "corner_mm": [15, 15], "size_mm": [10, 10], "power_W": 1}]}]  # fmt: skip
    return case_of([part("plate", [40, 40], 3, 390)], heat, [film("bottom", 5000)])


def test_cells_are_fine_where_heat_enters() -> None:
    """Smallest widths at the outline of the source and at the heated face, largest far from them."""
    grid = plan_grid(simple(), 20_000).grid(2)
    at_edge = grid.x.widths[grid.x.face_at(-5e-3)]
    assert at_edge < 0.5 * grid.x.widths[grid.x.face_at(-12.5e-3)]
    assert at_edge < 0.7 * grid.x.widths[grid.x.face_at(0.0)]
    assert grid.z.widths[-1] < grid.z.widths[0]


def test_same_topology_when_only_a_thickness_changes() -> None:
    """Not promised by the plan itself: cells follow lengths. Held for small changes, so that a difference is clean."""
    base, thinner = (
        plan_grid(case_of([part("die", [10, 10], thickness, 100), part("lid", [20, 20], 2, 390)],
                          [{"in": "die", "at": "bottom", "zones": [{"zone": "z", "power_W": 1}]}],
                          [film("top", 9000)]), 4000)
        for thickness in (0.70, 0.69)
    )  # fmt: skip
    assert base.x.counts.tolist() == thinner.x.counts.tolist()
    assert base.z.counts.tolist() == thinner.z.counts.tolist()


def test_planes_across_an_axis_are_a_view_like_numpys() -> None:
    cells = np.arange(24.0).reshape(2, 3, 4)
    for axis in range(3):
        assert np.shares_memory(as_planes(axis, cells), cells)
        np.testing.assert_array_equal(as_planes(axis, cells), np.moveaxis(cells, axis, 0))


@pytest.mark.parametrize("columns", [14, 40, 41, 1000])
@pytest.mark.parametrize("strong", [0, 3])
def test_lines_of_a_map_whose_columns_are_alike_stand_evenly(tmp_path: Path, columns: int, strong: int) -> None:
    """More edges than a map adds lines for, all as strong or a few stronger: no end of the map has more lines than the
    other, and no gap between lines is twice as wide as even ones are."""
    conducts = 1.0 + np.arange(columns) % 2
    conducts[:strong] += 10.0 * (1 + np.arange(strong) % 2)
    (tmp_path / "film.csv").write_text(",".join(map(repr, (100.0 / conducts).tolist())))
    streaks = {"joint": "tim", "film_um": {"file": "film.csv"}, "conductivity_W_mK": 5}
    layers = [part("die", 20, 0.6, 120), streaks, part("lid", 20, 2, 380)]
    case = case_of(layers, cooling=[film("top", 5000.0)], folder=tmp_path, dimensions=2)
    of_map = [1e3 * line.place + 10.0 for line in outlines(case)[0] if "map" in line.name]
    edges = np.sort(np.round(np.array(of_map) / 20.0 * columns)).astype(int)
    assert 11 <= len(edges) <= 12
    assert set(range(1, strong + 1)) <= set(edges.tolist())
    gaps = np.diff(np.concatenate([[strong], edges[edges > strong], [columns]]))
    assert gaps.max() <= 2.0 * (columns - strong) / len(gaps) + 1.0
    assert strong or np.array_equal(gaps, gaps[::-1])
