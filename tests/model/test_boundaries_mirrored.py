"""Random stacks with every kind of boundary, fills beside films, faces by direction: mirrored, they are the same."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from stacks import case_of, part

from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import build_model
from thermsim.model.grid.axes import Axis, Grid
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.field import Field
from thermsim.readout.ladder import ladder
from thermsim.solver.steady import steady_state

SEED = 20_517
FLIPPED = {"+x": "-x", "-x": "+x", "left": "right", "right": "left"}
Mapping = dict[str, Any]


def drawn(rng: np.random.Generator) -> Mapping:
    """Parts, heat and cooling in mm from the middle of the stack."""
    dimensions = int(rng.choice([2, 3]))
    die, lid, board = rng.uniform(5, 8), rng.uniform(7, 11), 12.0
    ways = ["+x", "-x", "+z", "-z", *(["+y", "-y"] if dimensions == 3 else [])]

    def kind(environment: str, sides: list[str]) -> Mapping:
        entries: list[Mapping] = [
            {"film_W_m2K": float(rng.uniform(10, 4000)), "fluid_C": float(rng.uniform(15, 40))},
            {"temperature_C": float(rng.uniform(15, 40))},
            {"low_C": 18.0, "high_C": float(rng.uniform(20, 60)), "towards": str(rng.choice(sides))},
            {"flux_W_mm2": float(rng.uniform(-0.002, 0.004))},
            {"emissivity": float(rng.uniform(0.2, 1.0)), "room_C": float(rng.uniform(10, 40))},
            {"film_W_m2K": 90.0, "fluid_C": 22.0, "emissivity": 0.9, "room_C": float(rng.uniform(10, 40))},
        ]
        return {"environment": environment, **entries[rng.integers(len(entries))]}

    flat = [way for way in ways if way[1] != "z"]
    cooling: list[Mapping] = [{"face": "top", "environment": "sink", "film_W_m2K": 900.0, "fluid_C": 25.0}]
    cooling.append({"face": "bottom", **kind("under", flat)})
    cooling.append({"face": "left", **kind("left", ["+z", "-z"])})
    cooling.append({"face": "exposed", **kind("all", ways)})
    cooling.append({"face": "exposed", "of": "lid", "looking": str(rng.choice(ways)), **kind("one way", ways)})
    return {
        "dimensions": dimensions,
        "sizes": (board, die, lid),
        "offset": float(rng.uniform(-0.5, 0.5)),
        "fills": rng.random(2) < 0.6,
        "film": rng.choice(["even", "wedge", "resistance"]),
        "leaks": bool(rng.random() < 0.5),
        "zone": (float(rng.uniform(0.3, 1.5)), float(rng.uniform(1.5, 3.0))),
        "cooling": cooling,
    }


def written(of: Mapping, mirrored: bool) -> Case:
    board, die, lid = of["sizes"]
    sign = -1.0 if mirrored else 1.0
    solid = of["dimensions"] == 3

    def size(x: float, y: float) -> Any:
        return [x, y] if solid else x

    def flipped(entry: Mapping) -> Mapping:
        return {key: FLIPPED.get(str(value), value) if mirrored else value for key, value in entry.items()}

    fills = [{"around": {"material": {"conductivity_W_mK": 0.7}}} if filled else {} for filled in of["fills"]]
    film = {
        "even": {"film_um": 200.0, "conductivity_W_mK": 5.0},
        "wedge": {"film_um": {"low": 80, "high": 300, "towards": FLIPPED["+x"] if mirrored else "+x"},
                  "conductivity_W_mK": 6.0},
        "resistance": {"resistance_mm2K_W": 25.0},
    }[str(of["film"])]  # fmt: skip
    middle = {"centre_mm": size(sign * of["offset"], 0.4)}
    layers = [
        part("board", size(board, 10.0), 1.0, 15.0),
        part("die", size(die, 6.0), 0.7, 110.0, **middle, **fills[0]),
        {"joint": "film", **film},
        part("lid", size(lid, 8.0), 1.2, 300.0, **fills[1]),
    ]
    start, width = of["zone"]
    corner = die - start - width if mirrored else start
    zone = {
        "zone": "hot",
        "corner_mm": size(corner, 1.0),
        "size_mm": size(width, 3.0),
        "power_W": 4.0 if solid else 400.0,
    }
    leakage = {"leakage": {"per_K": 0.004, "at_C": 50.0}} if of["leaks"] else {}
    heat = [{"in": "die", "zones": [zone], **leakage}]
    return case_of(layers, heat, [flipped(entry) for entry in of["cooling"]], dimensions=of["dimensions"])


def solved(case: Case, grid: Grid) -> Field:
    model = build_model(case, grid)
    return Field.of(model, steady_state(model, accuracy_K=1e-9))


@pytest.mark.parametrize("number", range(24))
def test_mirrored_stacks_are_the_same(number: int) -> None:
    of = drawn(np.random.default_rng([SEED, number]))
    one, other = written(of, False), written(of, True)
    grid = plan_grid(one, 2_000).grid(1)
    mirror = Grid(Axis(-grid.x.faces[::-1]), grid.y, grid.z)
    first, second = solved(one, grid), solved(other, mirror)
    assert np.nanmax(np.abs(first.temperature - second.temperature[::-1])) < 1e-6
    for mine, theirs in zip(first.flows, second.flows, strict=True):
        assert theirs.heat_W == pytest.approx(mine.heat_W, rel=1e-6, abs=1e-6)
    assert first.touching == second.touching
    told = ladder(first)
    if told is not None:
        assert sum(rung.drop_K for rung in told.rungs) == pytest.approx(told.start_C - first.coolant_C, abs=1e-6)
