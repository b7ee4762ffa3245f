"""Runs of the demo's chip by full solves, for tests: whatever held on the bench, and what its sensors then show."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache
from typing import Any

import thermsim
from thermsim.bench.responses import Bed
from thermsim.bench.runs import BenchSettings, NotedTo, Run, Runs, Usual
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.readout.observable import of_reading
from thermsim.solver.steady import steady_state

DEMO = "cases/crooked-film.yaml"
FILM = "gallium film, 30 um"
LEAKS_W_K = 0.61  # heat that leakage adds for each kelvin of all readings: 0.3 % of what leaks
SETTINGS = BenchSettings(cuts="down", noted_to=NotedTo(), usual=Usual(900.0, 100.0), one_mount_K=0.8)


@lru_cache(maxsize=1)
def demo() -> Case:
    """The demo, read once."""
    return thermsim.read_case(DEMO)


@lru_cache(maxsize=1)
def bed() -> Bed:
    """Its options over coolant and load, solved once."""
    return Bed.of(demo())


@cache
def solved(
    option: str | None, coolant_C: float, load: float, film_um: float | None = None
) -> tuple[dict[str, float], float]:
    """Readings [C] and package power [W] by a full solve; every typed power times `load`, the film as thick as told."""
    case = demo() if option is None else thermsim.with_option(demo(), option)
    values = {one.path: load * one.value for one in inputs(case) if one.key == "power_W"} | {"water.fluid_C": coolant_C}
    if film_um is not None:
        values["solder.film_um"] = film_um
    changed = with_inputs(case, values)
    model = build_model(changed, alike(plan_grid(demo()), demo(), changed).grid(1))
    field = Field.of(model, steady_state(model))
    read = answers(changed, field, [of_reading(one.reading) for one in changed.readings])
    return {one.name: value for one, value in read.items()}, field.heat_made_W


def run(
    name: str,
    option: str | None = None,
    mount: str = "1",
    coolant_C: float = 31.0,
    load: float = 1.0,
    film_um: float | None = None,
    off_K: float = 0.0,
    offsets: Mapping[str, float] | None = None,
    **given: Any,
) -> Run:
    """One run as it would be noted, without rounding.

    off_K : of the mount; offsets : of single sensors [K]; given : whatever is noted otherwise, readings too
    """
    readings, package_W = solved(option, coolant_C, load, film_um)
    package_W += LEAKS_W_K * off_K
    shown = {key: value + off_K + (offsets or {}).get(key, 0.0) for key, value in readings.items()}
    noted = {
        "on_load_s": 1800.0, "coolant_C": coolant_C, "room_C": 22.0, "package_W": package_W, "score": 1000.0 * load,
        "fans_rpm": 900.0, "pump_percent": 100.0, "readings": shown,
    }  # fmt: skip
    return Run(name, option, mount, int(name.strip("r")) + 1, **(noted | given))


def bench(*runs: Run, settings: BenchSettings = SETTINGS) -> Runs:
    """A table of them."""
    return Runs("runs.csv", runs, settings)
