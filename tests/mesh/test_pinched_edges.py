"""Edges where good conductors touch across bad ones: their order, and the duality theorem of checkerboards.

Keller, A theorem on the conductivity of a composite medium, J. Math. Phys. 5 (1964) 548: a square of two by two squares
k1, k2, k1, k2 between two held sides conducts as if it were all of sqrt(k1 k2).
"""

from __future__ import annotations

from math import atan, pi, sqrt
from typing import Any

import pytest
from stacks import case_of, part

from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.pinched_edges import slowest_order
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid


def board(good: float, bad: Any) -> Case:
    """10 x 10 x 1 mm between 0 and 100 C."""
    material = bad if isinstance(bad, str) else {"conductivity_W_mK": bad}
    corners = ([5, 0], [0, 5])
    inserts = [{"material": material, "corner_mm": corner, "size_mm": [5, 5]} for corner in corners]
    held = [{"face": "left", "temperature_C": 0}, {"face": "right", "temperature_C": 100}]
    return case_of([part("slab", [10, 10], 1.0, good, inserts=inserts)], [], held)


def order_of(case: Case) -> float | None:
    return slowest_order(build_model(case, plan_grid(case).grid(1)))


@pytest.mark.parametrize("contrast", [100.0, 1e3, 1e5])
def test_order_of_an_edge(contrast: float) -> None:
    """Four right angles: tan(pi p/4) = sqrt(k2/k1) (Kellogg 1975, from memory)."""
    assert order_of(board(1000.0, 1000.0 / contrast)) == pytest.approx(4 / pi * atan(1 / sqrt(contrast)))


def test_an_edge_between_levels_counts_and_one_in_a_joint_does_not() -> None:
    def stack(*between: dict[str, Any]) -> Case:
        lower, upper = (
            part(name, [10, 10], 5, k, inserts=[{"material": {"conductivity_W_mK": other}, **half}])
            for name, k, other in (("lower", 400, 0.4), ("upper", 0.4, 400))
            for half in [{"corner_mm": [5, 0], "size_mm": [5, 10]}]
        )
        held = [{"face": "bottom", "temperature_C": 0}, {"face": "top", "temperature_C": 9}]
        return case_of([lower, *between, upper], [], held)

    assert order_of(stack()) == pytest.approx(4 / pi * atan(1 / sqrt(1000)))
    assert order_of(stack({"joint": "glue", "resistance_mm2K_W": 10})) is None


def test_voids_weak_contrasts_and_plain_corners_are_no_such_edges() -> None:
    assert order_of(board(1000.0, "void")) is None
    assert order_of(board(100.0, 20.0)) is None
    one = {"material": {"conductivity_W_mK": 0.1}, "corner_mm": [5, 5], "size_mm": [5, 5]}
    held = [{"face": "left", "temperature_C": 0}, {"face": "right", "temperature_C": 100}]
    assert order_of(case_of([part("slab", [10, 10], 1.0, 400, inserts=[one])], [], held)) is None


@pytest.mark.parametrize("contrast", [1e3, 1e5])
def test_flow_through_a_checkerboard_lies_in_its_band(contrast: float) -> None:
    """1 mm thick and square: sqrt(k1 k2) t dT of heat, by the duality theorem."""
    found = predict(board(1000.0, 1000.0 / contrast), grids=3, first_cells=2000)
    doubt = found.doubts["flow", "1"]
    exact = sqrt(1000.0 * 1000.0 / contrast) * 1e-3 * 100
    assert abs(abs(doubt.value) - exact) <= doubt.half_width
