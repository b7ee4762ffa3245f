"""Every way to an answer in time gives the same answer, whatever features of a case meet: see `test_all_ways_agree`.

Drawn cases get what their materials store. Curves of one small grid are compared to the last digits with those of the
same stack written in another way, and with the same cells by other means: all their modes, or scipy's integration of
the whole balance with every property at its own temperature.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import pytest
from all_modes import curves_of_all_modes
from coarse_grids import begin_coarsely
from drawn_cases import CELLS, FIRST_CELLS, Key, Solved, agree, cut_at, flipped, key, pieces_together, without_readings
from generated import ALL, Drawn, drawn, read
from integrated import Integrated
from numpy.typing import NDArray
from rewritten import (
    Tables,
    Whole,
    cut_layer,
    cut_zone,
    height_of,
    mirrored,
    parts_of,
    reordered,
    storing,
    turned,
    upside_down,
)
from stacks import solve_on

from thermsim.case.clock import driven, proportional
from thermsim.case.geometry.places import levels, zone_box
from thermsim.case.vocabulary.schema import Case, Limits
from thermsim.limits.limit_search import LimitSearch
from thermsim.limits.states import States
from thermsim.model.build import build_model
from thermsim.model.grid.axes import Grid
from thermsim.model.powers import scaled_power
from thermsim.readout.answers import answers
from thermsim.readout.observable import Answers, of_reading
from thermsim.response.block import block_model
from thermsim.response.columns import Columns, places_of
from thermsim.transient import krylov
from thermsim.transient.balance import Balance
from thermsim.transient.curves import Reader
from thermsim.transient.grid import films_of
from thermsim.transient.krylov import SmallModel
from thermsim.transient.whole import whole_curves
from thermsim.units import MM
from thermsim.warming.held_back import holding_of
from thermsim.warming.held_still import held_doubts, model_of, model_of_load, reader_of

Array = NDArray[np.float64]

EACH, FAST = 11, 3  # of the drawn cases every so many are followed in time, so many of these in the fast tests
NUMBERS = range(4, ALL, EACH)
CASES = [pytest.param(number, marks=[] if place < FAST else [pytest.mark.slow]) for place, number in enumerate(NUMBERS)]
INTEGRATED = (92, 136, 257)  # what leaks and conducts by temperature, one of them on a loop
TIMES = np.geomspace(1e-3, 1e2, 11)
SHIFTS = (
    0.0,
    *np.geomspace(3e4, 3e-2, 14).tolist(),
)  # so many that all ways to write a stack know it to the last digits
SAME = 3e-6  # of the largest rise: what two ways to write one stack may differ by, with what the solves leave
EXACT = 3e-5  # of the largest rise, or of the heat made: what scipy's integration may be off by, and readings
MODELS = 1e-4  # of the largest rise: what small models of one heat and of many may differ by on the way
FLOWS = 2e-3  # of the heat made: flows of warm and of cold conductivities may cross, and tell too little between them
JUMPS_K = 0.02  # that a highest temperature may jump by on so coarse a grid as another cell becomes the warmest
TIMES_STEPS = 1.5  # of the doubt of steps: it tells of most answers at most times
TIME_K = 0.01  # that a small model may be off by in time


@dataclass(frozen=True)
class InTime:
    """A drawn case with what it stores, on its small grid."""

    one: Solved

    @cached_property
    def drawn(self) -> Drawn:
        return self.one.drawn

    @cached_property
    def curves(self) -> dict[Key, Array]:
        return curves_of(self.one.case, self.one.grid)

    @cached_property
    def reader(self) -> Reader:
        return reader_of(self.one.case, self.one.field, float(TIMES[0]), 1)

    @cached_property
    def small(self) -> SmallModel:
        return model_of_load(self.reader, TIMES, TIME_K)


def with_stores(number: int) -> Drawn:
    was = drawn(number)
    whole, tables = storing(was)
    return replace(was, whole=whole, tables=tables)


@lru_cache(maxsize=2)
def in_time(number: int) -> InTime:
    return InTime(Solved(with_stores(number)))


@pytest.fixture(scope="module", params=CASES)
def it(request: pytest.FixtureRequest) -> InTime:
    return in_time(request.param)


@pytest.fixture(autouse=True)
def coarse_and_sharp(monkeypatch: pytest.MonkeyPatch) -> None:
    """On coarse grids, and with solves so sharp that equations which are the same give the same."""
    begin_coarsely(monkeypatch, CELLS, FIRST_CELLS)
    monkeypatch.setattr(krylov, "SHIFTED_RESIDUAL", 1e-12)


def plainly(found: Answers[Array]) -> dict[Key, Array]:
    return {key(question): value for question, value in found.items()}


def curves_of(case: Case, grid: Grid) -> dict[Key, Array]:
    """All answers at all times, by a small model of given shifts."""
    reader = reader_of(case, solve_on(case, grid), float(TIMES[0]), 1)
    return plainly(reader.curves(model_of(reader, SHIFTS), TIMES))


def rewritten_curves(given: tuple[Whole, Tables], grid: Grid) -> dict[Key, Array]:
    return curves_of(read(*given), grid)


def agree_at_all_times(found: dict[Key, Array], wanted: dict[Key, Array], within: float) -> None:
    for row in range(len(TIMES)):
        agree(*({one: float(curve[row]) for one, curve in of.items()} for of in (found, wanted)), within)


# ---- written in another way -----------------------------------------------------------------------------------------


def as_mirrored(it: InTime) -> dict[Key, Array] | None:
    grid = it.one.grid
    return rewritten_curves(mirrored(it.drawn), Grid(flipped(grid.x), grid.y, grid.z))


def as_turned(it: InTime) -> dict[Key, Array] | None:
    grid = it.one.grid
    return None if it.drawn.is_slice else rewritten_curves(turned(it.drawn), Grid(grid.y, grid.x, grid.z))


def on_its_head(it: InTime) -> dict[Key, Array] | None:
    if it.drawn.row["stand"] != "none":
        return None  # a lid on its head stands on nothing
    grid, over = it.one.grid, {"bottom": "top", "top": "bottom", "volume": "volume"}
    upwards = flipped(grid.z, 0.5 * MM * height_of(it.drawn.whole))
    found = rewritten_curves(upside_down(it.drawn), Grid(grid.x, grid.y, upwards))
    return {(*one[:4], over[one[4]]) if one[0] == "zone" else one: curve for one, curve in found.items()}


def in_another_order(it: InTime) -> dict[Key, Array] | None:
    found, flows = rewritten_curves(reordered(it.drawn), it.one.grid), len(it.one.case.cooling)
    return {("flow", str(flows - 1 - int(one[1]))) if one[0] == "flow" else one: curve for one, curve in found.items()}


@pytest.mark.parametrize("way", [as_mirrored, as_turned, on_its_head, in_another_order])
def test_written_in_another_way(it: InTime, way: Callable[[InTime], dict[Key, Array] | None]) -> None:
    found = way(it)
    if found is not None:
        agree_at_all_times(found, it.curves, SAME * it.one.rise_K)


def without_summits(found: dict[Key, Array]) -> dict[Key, Array]:
    """Without what is read off polynomials that end at edges of parts and zones."""
    return {
        one: curve
        for one, curve in without_readings(found).items()
        if one[0] not in ("probe", "hottest") and one[2:3] != ("highest",)
    }


def test_a_layer_cut_in_two(it: InTime) -> None:
    case, names = it.one.case, [part["part"] for part in parts_of(it.drawn.whole)]
    name = names[it.drawn.number % len(names)]
    low, high = next((low, high) for low, high, part in levels(case) if part.part == name)
    grid = cut_at(it.one.grid, 2, MM * (low + 0.43 * (high - low)))
    given = cut_layer(it.drawn, name, 0.43)
    found = without_readings(rewritten_curves(given, grid))
    entries = [entry.get("of") for entry in given[0]["cooling"]]
    for place, of in enumerate(entries):
        if of == f"{name} upper":
            found["flow", str(entries.index(name))] = found["flow", str(entries.index(name))] + found.pop(
                ("flow", str(place))
            )
    rows = [
        pieces_together({one: float(curve[row]) for one, curve in found.items()}, 0.43) for row in range(len(TIMES))
    ]
    together = {one: np.array([row[one] for row in rows]) for one in rows[0]}
    agree_at_all_times(without_summits(together), without_summits(curves_of(case, grid)), SAME * it.one.rise_K)


def test_a_zone_cut_in_two(it: InTime) -> None:
    heats = [place for place, heat in enumerate(it.drawn.whole["heat"]) if heat.get("zones")]
    if not heats:
        pytest.skip("no zones")
    place = heats[it.drawn.number % len(heats)]
    case, heat = it.one.case, it.one.case.heat[place]
    part = next(part for part in case.parts if part.part == heat.in_)
    zone = heat.zones[0]
    box = zone_box(case, part, zone)
    grid = cut_at(it.one.grid, 0, MM * (box[0] + 0.37 * (box[2] - box[0])))
    found = without_summits(rewritten_curves(cut_zone(it.drawn, place, 0.37), grid))

    def named(name: str, takes: str) -> Key:
        return ("zone", name, takes, heat.in_, heat.at)

    left, right = zone.zone, f"{zone.zone} right"
    share = found.pop(named(right, "mean")) - found[named(left, "mean")]
    found[named(left, "mean")] = found[named(left, "mean")] + 0.63 * share
    found[named(left, "power")] = found[named(left, "power")] + found.pop(named(right, "power"))
    agree_at_all_times(found, without_summits(curves_of(case, grid)), SAME * it.one.rise_K)


# ---- the same cells by other means ----------------------------------------------------------------------------------


def test_a_small_model_is_all_modes_of_its_cells_within_its_doubt(it: InTime) -> None:
    """Reference: see `all_modes`; with a loop see below."""
    if it.reader.coolant is not None:
        pytest.skip("all modes are without the coolant of a loop")
    found, told = it.reader.curves(it.small, TIMES), it.reader.doubts(it.small, TIMES)
    for one, exact in curves_of_all_modes(it.reader, TIMES).items():
        assert float(np.max(np.abs(found[one] - exact))) <= told[one] + 1e-6 * it.one.rise_K, one


def test_step_responses_of_all_zones_add_up(it: InTime) -> None:
    """At the powers typed they are the warm-up; and zones that make heat answer one another alike (reciprocity)."""
    reader = it.reader
    columns = Columns.of(it.one.case, reader)
    _, places = places_of(it.one.case, reader)
    model = block_model(reader.system, columns.heats, columns.seen, SHIFTS, places)
    network = columns.network(model.modes, reader, float(TIMES[0]))
    responses = network.responses(TIMES)
    zones = len(network.inputs)
    mutual = responses[:, :zones, :zones]
    assert mutual == pytest.approx(mutual.swapaxes(1, 2), abs=SAME * float(np.abs(mutual).max()))
    made_W = sum(float(source.watts.sum()) for source in reader.rise.model.sources)
    if (
        reader.coolant is not None
        or it.drawn.row["power"].startswith("map")
        or abs(made_W - network.made_W.sum()) > 1e-9 * abs(made_W)
    ):
        return  # the coolant is held in it, and a watt of a zone is spread evenly over it, which that of a map is not
    found = network.unheated_C + responses @ network.made_W
    for place, asked in enumerate(columns.outputs):
        assert found[:, place] == pytest.approx(it.curves[key(asked)], abs=MODELS * it.one.rise_K), str(asked)


def test_what_a_chip_that_holds_back_has_left_is_what_can_be_afforded(it: InTime) -> None:
    """At the limit, on the same grid: temperatures are the same, whichever way the power to them was found."""
    case, plan = it.one.case, it.one.plan
    if not case.readings or not case.heat:
        pytest.skip("no readings")
    idle, whole = (
        max(answers(made, solve_on(made, it.one.grid), map(of_reading, names(made))).values())
        for made in (driven(case, proportional(0.0)), case)
    )
    if whole - idle < 0.5:
        pytest.skip("no reading is warmed by what may be held back")
    limit_C = float(f"{idle + 0.6 * (whole - idle):.6g}")
    held = case.model_copy(update={"limits": Limits(reading_C=limit_C, holds_back=True)})
    model = build_model(held, it.one.grid)
    films = films_of(held, model, float(TIMES[0]), 1)
    balance = Balance(model, films, model.first_guess(), holding_of(held, model))
    end = balance.settled()
    met = LimitSearch(held, States(held, plan, 1)).power_at(limit_C, "expected")
    assert met is not None and met.ends_by == "limit"
    assert abs(balance.excess_K(end)) < 1e-4
    assert end.inputs.share == pytest.approx(met.at, abs=1e-3 / (whole - idle) + 1e-5)


def names(case: Case) -> list[str]:
    return [one.reading for one in case.readings]


@pytest.mark.slow
@pytest.mark.parametrize("number", INTEGRATED)
def test_the_whole_balance_by_scipy(number: int) -> None:
    """Steps of the whole model are it within their doubt, and so is the small model with what is held still."""
    it = in_time(number)
    case, field = it.one.case, it.one.field
    whole = Integrated(case, field.model, field.guess, float(TIMES[0]))
    assert not whole.has_cells_that_hold_nothing  # they follow the others at once, which such integrators do not know
    rest = Balance(scaled_power(field.model, 0.0), whole.balance.films, field.guess).settled().state
    exact = whole.told(whole.states(rest, TIMES))
    stepped = whole_curves(case, field.model, whole.balance.films, field.guess, TIMES, 0.3)
    held = held_doubts(it.reader, it.small, field, TIMES, float(TIMES[0]), 1)
    found, doubts = it.reader.curves(it.small, TIMES), it.reader.doubts(it.small, TIMES)
    for number, asked in enumerate(exact[0]):
        known = np.array([row[asked] for row in exact])
        room = EXACT * (it.one.rise_K if not asked.is_heat else it.one.field.heat_made_W)
        room += FLOWS * it.one.field.heat_made_W * (asked.kind == "flow") + JUMPS_K * (
            asked.kind == "hottest" or asked.takes == "highest"
        )
        steps = np.abs(stepped.values[number] + stepped.left[number] - known)
        assert np.all(steps <= TIMES_STEPS * stepped.time_doubt[number] + room), (asked, steps)
        off = np.abs(found[asked] - known)
        assert np.all(off <= held[number] + doubts[asked] + room), (asked, off, held[number])
