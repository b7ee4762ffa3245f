"""Every way to an answer gives the same answer, whatever features of a case meet.

Cases are drawn (`generated.py`); each property is a test of its own and holds for every one of them. Those on one grid
compare equations that must be the same to the last digits; those that study meshes compare within the sum of doubts.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from coarse_grids import begin_coarsely
from covering import all_pairs, pairs_of
from drawn_cases import (
    ACCURACY_K,
    CELLS,
    FIRST_CELLS,
    SOLVED,
    Key,
    Solved,
    agree,
    can_be,
    cut_at,
    flipped,
    is_heat,
    key,
    pieces_together,
    plainly,
    rewritten_answers,
    shifted,
    span,
    without_readings,
)
from generated import ALL, FAST, FEATURES, as_text, drawn, read, rows, why_not, write_tables
from rewritten import (
    Tables,
    Whole,
    as_slab,
    cut_layer,
    cut_zone,
    height_of,
    in_steps,
    mirrored,
    number,
    part_named,
    parts_of,
    plain,
    plan,
    reordered,
    rounded,
    storing,
    turned,
    upside_down,
    with_units,
)
from stacks import solve_on

from thermsim.case.geometry.places import face_box, levels, part_box, probe_point, zone_box
from thermsim.case.inputs.values import Input, inputs, with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Celsius, Cooling
from thermsim.commands.main import commands
from thermsim.doubt.inputs import with_input_doubt
from thermsim.errors import ThermsimError
from thermsim.limits.afford import afford
from thermsim.loads.load import Load
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.model.build import Model
from thermsim.model.coefficients.groups import check_varies
from thermsim.model.grid.axes import Axis, Grid
from thermsim.model.grid.outline_lines import outlines
from thermsim.nearby.gradients import gradients
from thermsim.nearby.many import many
from thermsim.nearby.sample_solver import SampleSolver
from thermsim.nearby.small_model_training import reduce
from thermsim.nearby.superposition import superposition
from thermsim.nearby.uncertain_inputs import variables
from thermsim.readout.field import Field
from thermsim.readout.ladder import ladder
from thermsim.readout.observable import HOTTEST, Observable
from thermsim.report.data.result import result
from thermsim.sweeps.sweep import Point, Vary, sweep
from thermsim.units import MM
from thermsim.warming.held_still import model_of, reader_of

SEED = 20_323
# Mesh studies take longest: they are made of so many of the fast cases, and of every sixth of the others.
STUDIED, EACH = 3, 6
COMMANDED, DIFFERED = 3, 2  # of every third and second case: the command is run, differences are solved
JUMPS_K = 0.06  # that a highest temperature may jump by on so coarse a grid as an input moves, and its interval with it
THIRDS = np.linspace(-1.0, 1.0, 7)  # of a tolerance, along which a jump of the highest temperature shows
ALIKE_SHARE = 0.2  # by which what the inputs leave of an answer may differ between two coarse grids
CASES = [pytest.param(number, marks=[] if number < FAST else [pytest.mark.slow]) for number in range(ALL)]


@lru_cache(maxsize=2)
def solved(number: int) -> Solved:
    return Solved(drawn(number))


@pytest.fixture(scope="module", params=CASES)
def one(request: pytest.FixtureRequest) -> Solved:
    """Tests that share a case run one after the other, so that it is solved once."""
    return solved(request.param)


@pytest.fixture(autouse=True)
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    """Mesh studies begin on grids as coarse as outlines allow."""
    begin_coarsely(monkeypatch, CELLS, FIRST_CELLS)


def random(one: Solved) -> np.random.Generator:
    return np.random.default_rng((SEED, one.drawn.number))


# ---- what is drawn --------------------------------------------------------------------------------------------------


def test_every_pair_of_features_meets() -> None:
    found, impossible = rows()
    met = set().union(*(pairs_of(row) for row in found))
    assert met | impossible == all_pairs(FEATURES)
    assert not met & impossible
    for pair in sorted(impossible):
        print("cannot be:", *(f"{name}: {level};" for name, level in pair), why_not(dict(pair)) or "with nothing else")
    fast = set().union(*(pairs_of(row) for row in found[:FAST]))
    print(f"{len(met)} pairs meet in {ALL} cases, {len(fast)} of them in the first {FAST}; {len(impossible)} cannot")


# ---- in time ------------------------------------------------------------------------------------------------------


def test_a_warm_up_ends_at_the_steady_state(one: Solved) -> None:
    """Whatever is held still, whatever film becomes cells, and all that is made is stored or let out."""
    if one.drawn.number % EACH and "coolant_loop" not in one.drawn.whole:
        pytest.skip("every sixth case is followed in time, and those with a loop")
    case = read(*storing(one.drawn))
    field = solve_on(case, one.grid)
    reader = reader_of(case, field, 1e-3, 1)
    small = model_of(reader, (0.0, 1e3, 1.0))
    ends = plainly({asked: float(curve[-1]) for asked, curve in reader.curves(small, np.array([1.0, 1e12])).items()})
    agree(ends, one.answers, max(10.0 * SOLVED * one.rise_K, 1e-6))
    assert reader.imbalance(small, np.array([1e-3, 1.0, 1e3])) < 1e-9


def test_a_load_that_comes_back_ends_at_the_steady_state(one: Solved) -> None:
    """Whatever leaks: all power after none, and after half of it, ends where all power at once does."""
    if one.drawn.number % (2 * EACH):
        pytest.skip("every twelfth case bears a load")
    case = read(*storing(one.drawn))
    load = Load(np.array([0.0, 1.0, 2.0]), np.array([[0.0], [0.5], [1.0]]), (), True)
    reader = reader_of(case, solve_on(case, one.grid), 1e-3, 1, load=load)
    small = model_of(reader, (0.0, 1e3, 1.0))
    ends = plainly({asked: float(curve[0]) for asked, curve in reader.curves(small, np.array([1e12])).items()})
    agree(ends, one.answers, max(10.0 * SOLVED * one.rise_K, 1e-6))
    assert reader.imbalance(small, np.array([1.5, 3.0])) < 1e-9


# ---- written in another way -----------------------------------------------------------------------------------------


def test_mirrored(one: Solved) -> None:
    grid = Grid(flipped(one.grid.x), one.grid.y, one.grid.z)
    agree(rewritten_answers(mirrored(one.drawn), grid), one.answers, SOLVED * one.rise_K)


def test_with_units_of_their_own(one: Solved) -> None:
    """Numbers typed in other units are the same numbers, bit for bit, in the base and in every option."""
    found = read(*with_units(one.drawn))
    wanted = one.whole_case
    assert dict(found) | {"options": []} == dict(wanted) | {"options": []}
    assert inputs(found) == inputs(wanted)
    for option in wanted.options:
        others = [with_option(case, option.option) for case in (found, wanted)]
        assert inputs(others[0]) == inputs(others[1])
        assert [dict(case) | {"options": []} for case in others[:1]] == [dict(others[1]) | {"options": []}]


def test_turned(one: Solved) -> None:
    if one.drawn.is_slice:
        pytest.skip("a slice has no y")
    grid = Grid(one.grid.y, one.grid.x, one.grid.z)
    found = rewritten_answers(turned(one.drawn), grid)
    agree(found, one.answers, SOLVED * one.rise_K)


def test_upside_down(one: Solved) -> None:
    if one.drawn.row["stand"] != "none":
        pytest.skip("a lid on its head stands on nothing")
    grid = Grid(one.grid.x, one.grid.y, flipped(one.grid.z, 0.5 * MM * height_of(one.drawn.whole)))
    over = {"bottom": "top", "top": "bottom", "volume": "volume"}
    found = rewritten_answers(upside_down(one.drawn), grid)
    found = {(*it[:4], over[it[4]]) if it[0] == "zone" else it: value for it, value in found.items()}
    agree(found, one.answers, SOLVED * one.rise_K)


def test_in_another_order(one: Solved) -> None:
    found = rewritten_answers(reordered(one.drawn), one.grid)
    flows = len(one.case.cooling)
    found = {("flow", str(flows - 1 - int(it[1]))) if it[0] == "flow" else it: value for it, value in found.items()}
    agree(found, one.answers, SOLVED * one.rise_K)


def test_with_lengths_that_are_rounded_differently(one: Solved) -> None:
    case = read(*rounded(one.drawn, 1e-10))
    for mine, others in zip(outlines(one.case), outlines(case), strict=True):
        assert [(line.name, line.hot) for line in mine] == [(line.name, line.hot) for line in others]
    agree(one.near(case), one.answers, 1e-6 * one.rise_K)


def test_a_slice_as_a_slab(one: Solved) -> None:
    if not one.drawn.is_slice:
        pytest.skip("no slice")
    if one.drawn.row["joint"] == "dome":
        pytest.skip("a dome falls to all its edges, and a slice has two of them")
    across = Axis(one.grid.y.faces - 0.5 * one.grid.y.faces[-1])  # a slab is centred on the axis of its stack
    found = rewritten_answers(as_slab(one.drawn), Grid(one.grid.x, across, one.grid.z))
    agree(found, one.answers, SOLVED * one.rise_K)


def test_a_layer_cut_in_two(one: Solved) -> None:
    names = [part["part"] for part in parts_of(one.drawn.whole)]
    name = names[one.drawn.number % len(names)]
    given = cut_layer(one.drawn, name, 0.43)
    low, high = next((low, high) for low, high, part in levels(one.case) if part.part == name)
    grid = cut_at(one.grid, 2, MM * (low + 0.43 * (high - low)))
    found, wanted = (without_readings(answer) for answer in (rewritten_answers(given, grid), one.on(one.case, grid)))
    entries = [entry.get("of") for entry in given[0]["cooling"]]
    for place, of in enumerate(entries):
        if of == f"{name} upper":
            found["flow", str(entries.index(name))] += found.pop(("flow", str(place)))
    found = pieces_together(found, 0.43)
    for it in [it for it in wanted if it[0] == "probe" or it[2:3] == ("highest",) or it == ("hottest",)]:
        if not abs(found[it] - wanted[it]) <= 0.005 * one.rise_K:
            studies_agree(one, given, it, None)
        del found[it], wanted[it]
    agree(found, wanted, SOLVED * one.rise_K)


def test_a_zone_cut_in_two(one: Solved) -> None:
    heats = [place for place, heat in enumerate(one.drawn.whole["heat"]) if heat.get("zones")]
    if not heats:
        pytest.skip("no zones")
    place = heats[one.drawn.number % len(heats)]
    zone, heat = one.case.heat[place].zones[0], one.case.heat[place]
    part = next(part for part in one.case.parts if part.part == heat.in_)
    box = zone_box(one.case, part, zone)
    grid = cut_at(one.grid, 0, MM * (box[0] + 0.37 * (box[2] - box[0])))
    given = cut_zone(one.drawn, place, 0.37)
    found = without_readings(rewritten_answers(given, grid))
    wanted = without_readings(one.on(one.case, grid))

    def named(name: str, takes: str) -> Key:
        return ("zone", name, takes, heat.in_, heat.at)

    left, right = zone.zone, f"{zone.zone} right"
    found[named(left, "mean")] += 0.63 * (found.pop(named(right, "mean")) - found[named(left, "mean")])
    found[named(left, "power")] += found.pop(named(right, "power"))
    found[named(left, "highest")] = max(found[named(left, "highest")], found.pop(named(right, "highest")))
    read_off = [it for it in wanted if it[0] in ("probe", "hottest") or it[2:3] == ("highest",)]
    for it in read_off:
        if not abs(found[it] - wanted[it]) <= 0.01 * one.rise_K:
            studies_agree(one, given, it, named(right, "highest") if it == named(left, "highest") else None)
    for answer in (found, wanted):
        for it in read_off:
            del answer[it]
    agree(found, wanted, SOLVED * one.rise_K)


def studies_agree(one: Solved, given: tuple[Whole, Tables], it: Key, other: Key | None) -> None:
    """Probes between cells and highest temperatures are read off polynomials that end at edges of parts and of heated
    zones. A cut that means nothing to heat gives another polynomial, off by what a coarse grid leaves: what differs
    much on it must agree within its doubts where meshes are studied.
    """
    made = predict(read(*given), accuracy_K=ACCURACY_K)
    told = [made.doubts[question] for question in made.doubts if key(question) in (it, other)]
    wanted = next(one.prediction.doubts[question] for question in one.prediction.doubts if key(question) == it)
    found = max(told, key=lambda doubt: doubt.value)
    assert found.value == pytest.approx(wanted.value, abs=found.half_width + wanted.half_width), it


# ---- heat and what is read off --------------------------------------------------------------------------------------


def film_and_fluid(one: Solved, entry: Cooling, told_C: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """W/m2K and C of what cools a face at the temperatures told, from the numbers of the case."""
    film = np.full(told_C.shape, 1e30)
    fluid = Celsius(value=loop_C(one)) if entry.on_loop else entry.fluid_C
    if entry.film_W_m2K is not None and fluid is not None:
        return np.full(told_C.shape, entry.film_W_m2K.value), np.full(told_C.shape, fluid.value)
    if entry.temperature_C is not None:
        return film, np.full(told_C.shape, entry.temperature_C.value)
    if entry.emissivity is not None and entry.room_C is not None:  # q = e s (T^4 - R^4) = e s (T^2 + R^2)(T + R)(T - R)
        face_K, room_K = told_C + 273.15, entry.room_C.value + 273.15
        film = entry.emissivity.value * 5.670374419e-8 * (face_K**2 + room_K**2) * (face_K + room_K)
        return film, np.full(told_C.shape, entry.room_C.value)
    if entry.cooler_K_W is not None:  # h A (R + 1 / 2 rho c V) = 1, with 995.6 kg/m3 and 4180 J/kgK of water
        faces = enumerate(one.field.model.cooling_face)
        place = next(number for number, other in enumerate(one.case.cooling) if other is entry)
        area = sum(float((np.expand_dims(one.grid.face_area(axis), axis) * (of == place)).sum()) for axis, of in faces)
        flow, known = entry.flow_l_min, entry.inlet_C or fluid
        half = 0.0 if flow is None else 0.5 / (995.6 * 4180.0 * flow.value / 60e3)
        assert known is not None
        spread = 1.0 / (area * (entry.cooler_K_W.value + half)) if area else 0.0
        return np.full(told_C.shape, spread), np.full(told_C.shape, known.value)
    assert entry.low_C is not None and entry.high_C is not None and entry.towards is not None
    box = face_box(one.case, entry.face)
    axis = "xy".index(entry.towards[1])
    share = (one.grid.axes[axis].centres / MM - box[axis]) / (box[2 + axis] - box[axis])
    share = share if entry.towards[0] == "+" else 1.0 - share
    rising = entry.low_C.value + share * (entry.high_C.value - entry.low_C.value)
    return film, np.broadcast_to(rising[:, None] if axis == 0 else rising[None, :], told_C.shape)


def loop_C(one: Solved) -> float:
    """Mean coolant of a loop, from the heat that its faces are told to give; 995.6 kg/m3 and 4180 J/kgK of water."""
    loop = one.case.coolant_loop
    assert loop is not None
    heat = sum(flow.heat_W for flow, of in zip(one.field.flows, one.case.cooling, strict=True) if of.on_loop)
    half = 0.0 if loop.flow_l_min is None else 0.5 * heat / (995.6 * 4180.0 * loop.flow_l_min.value / 60e3)
    return loop.room_C.value + (heat + loop.pump_W.value) / loop.radiator_W_K.value + half


def faces_of(one: Solved, face: int) -> tuple[np.ndarray, np.ndarray]:
    """Temperatures under and over a z plane, from those of the cells alone: two heat balances for two unknowns.

    The heats made are taken at the temperatures told, so that leakage is what it is there.
    """
    field, model = one.field, one.field.model
    nz, area = model.grid.shape[2], model.grid.face_area(2)
    heat, told = np.zeros((2, *area.shape)), field.z_nodes(face)
    for source in model.face_sources:
        if source.face == face:
            side = 0 if source.side == "lower" else 1
            heat[side] += source.watts * (1.0 if source.leakage is None else source.leakage.factor(told[side]))
    half, known = np.zeros((2, *area.shape)), np.full((2, *area.shape), np.nan)
    for side, cell in enumerate((face - 1, face)):
        if 0 <= cell < nz:
            solid = model.region[:, :, cell] >= 0
            k = conductivity(field, cell)
            # What is filled in around a part reaches into the gap that the film of a joint leaves beside it.
            fills = [(joint.fill_under, joint.fill_over)[side] for joint in model.joints if joint.face == face]
            half[side] = np.where(solid, k * area / (0.5 * model.grid.z.widths[cell] + sum(fills)), 0.0)
            known[side] = field.temperature[:, :, cell]
    acting = model.cooling_face[2][:, :, face]
    for index, entry in enumerate(one.case.cooling):
        for side in (0, 1):
            here = (acting == index) & np.isnan(known[side])
            if entry.flux_W_mm2 is not None:
                heat[1 - side][here] += 1e6 * entry.flux_W_mm2.value * area[here]
            else:
                film, fluid = film_and_fluid(one, entry, told[1 - side])
                half[side][here], known[side][here] = (film * area)[here], fluid[here]
    joint = sum((plane.resistance for plane in model.joints if plane.face == face), np.zeros(area.shape)) / area
    known = np.nan_to_num(known)
    # h0 (T0 - t0) + q0 = F, h1 (t1 - T1) = F + q1, t0 - t1 = r F; where one side is nothing, F is 0.
    both = (half[0] > 0.0) & (half[1] > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        free = [known[side] + heat[side] / half[side] for side in (0, 1)]
        flow = np.where(both, (free[0] - free[1]) / (1.0 / half[0] + 1.0 / half[1] + joint), 0.0)
        # At a joint of no resistance both sides are one, and hold what either makes.
        under = np.where(half[0] > 0.0, free[0] - flow / half[0], np.nan)
        over = np.where(half[1] > 0.0, free[1] + flow / half[1], np.nan)
    return under, over


def conductivity(field: Field, cell: int) -> np.ndarray:
    """Along z of one level of cells, at their own temperatures."""
    model = field.model
    k = np.zeros(model.grid.shape[:2])
    for index, region in enumerate(model.regions):
        here = model.region[:, :, cell] == index
        k[here] = region.material.laws[2](field.temperature[:, :, cell][here])
    return k


def columns_of(model: Model, zone: Any, case: Any) -> np.ndarray:
    """(nx, ny) whether columns lie within a zone, from the mm of the case."""
    heat = next(heat for heat in case.heat if (heat.in_, heat.at) == (zone.part, zone.at))
    part = next(part for part in case.parts if part.part == heat.in_)
    own = next((it for it in heat.zones if it.zone == zone.zone), None)
    x0, y0, x1, y1 = (MM * edge for edge in (part_box(case, part) if own is None else zone_box(case, part, own)))
    x, y = model.grid.x.centres, model.grid.y.centres
    return ((x > x0) & (x < x1))[:, None] & ((y > y0) & (y < y1))[None, :]


def test_zones_are_the_means_of_their_cells(one: Solved) -> None:
    """Recomputed from the temperatures of cells and the mm of the case."""
    model, field = one.field.model, one.field
    area = model.grid.face_area(2)
    for zone in field.zones:
        inside = columns_of(model, zone, one.case)
        low, high = next((low, high) for low, high, part in levels(one.case) if part.part == zone.part)
        centres = model.grid.z.centres
        within = np.flatnonzero((centres > MM * low) & (centres < MM * high))
        if zone.at == "volume":
            solid = (model.region[:, :, within] >= 0) & inside[:, :, None]
            volume = area[:, :, None] * model.grid.z.widths[within] * solid
            mean = float(np.nansum(field.temperature[:, :, within] * volume) / volume.sum())
        else:
            bottom = zone.at == "bottom"
            solid = (model.region[:, :, within[0 if bottom else -1]] >= 0) & inside
            face = int(within[0]) if bottom else int(within[-1]) + 1
            temperature = faces_of(one, face)[1 if bottom else 0]
            mean = float((temperature[solid] * area[solid]).sum() / area[solid].sum())
        assert zone.mean_C == pytest.approx(mean, abs=1e-5 * one.rise_K), zone.zone
        assert zone.highest_C >= zone.mean_C - 1e-9


def test_nothing_is_hotter_than_the_hottest_spot(one: Solved) -> None:
    field, room = one.field, 1e-9 * one.rise_K
    hottest = field.hottest[0]
    assert hottest >= float(np.nanmax(field.temperature)) - room
    for face in range(one.grid.shape[2] + 1):
        for nodes in field.z_nodes(face):
            if np.isfinite(nodes).any():  # a face that is not heated is looked at in the hottest of its cells alone
                assert hottest >= float(np.nanmax(nodes)) - 0.02 * one.rise_K, f"face {face}"
    for zone, cells in zip(field.zones, field.model.zones, strict=True):
        assert hottest >= zone.highest_C - room
        if cells.face is not None:
            lower = cells.side == "lower"
            face = field.z_nodes(cells.face)[0 if lower else 1]
            of_part = np.isfinite(field.temperature[:, :, cells.face - 1 if lower else cells.face])
            own = np.where(of_part, face, np.nan)  # beside a void of the part, the face is that of the other part
            assert zone.highest_C >= float(np.nanmax(own[cells.x, cells.y])) - room


def test_the_heat_of_all_zones_and_maps_leaves(one: Solved) -> None:
    """Powers as typed, grown by leakage at the temperatures told, are what is made, what zones tell, what leaves."""
    case, field = one.case, one.field
    model = field.model
    made = 0.0
    for source in model.face_sources:
        at = faces_of(one, source.face)[0 if source.side == "lower" else 1]
        made += float(np.nansum(source.watts * (1.0 if source.leakage is None else source.leakage.factor(at))))
    for source in model.volume_sources:
        made += float(source.made(field.temperature).sum())
    assert made == pytest.approx(field.heat_made_W, rel=1e-6, abs=1e-9)
    typed = sum(number_of_watts(one, place) for place in range(len(case.heat)))
    assert typed == pytest.approx(sum(float(source.watts.sum()) for source in model.sources), rel=1e-9)
    assert field.heat_made_W == pytest.approx(sum(flow.heat_W for flow in field.flows), abs=1e-7 * (typed + 1.0))
    if all(heat.map is None or not heat.zones for heat in case.heat) and not any_shared(one):
        told = sum(zone.power_W for zone in field.zones)
        assert told == pytest.approx(field.heat_made_W, rel=1e-9)


def any_shared(one: Solved) -> bool:
    """Whether zones share a whole, of which what none covers makes a part."""
    return any(heat.power_W is not None and heat.zones for heat in one.case.heat)


def number_of_watts(one: Solved, place: int) -> float:
    """What the file says of one heat [W]."""
    heat = one.drawn.whole["heat"][place]
    found = sum(number(zone.get("power_W", 0.0)) for zone in heat.get("zones", []))
    if "power_W" in heat:
        found = number(heat["power_W"])
    if "map" in heat:
        table = np.array(one.drawn.tables[heat["map"]["file"]])
        per_cell = 1.0
        if heat["map"]["holds"] == "W/mm2":
            sides = plan(part_named(one.drawn.whole, heat["in"])["size_mm"])
            per_cell = sides[0] * (sides[1] if len(sides) > 1 else one.drawn.whole["depth_mm"]) / table.size
        found += per_cell * float(table.sum())
    return found


def test_the_rungs_of_the_ladder_add_up(one: Solved) -> None:
    found = ladder(one.field)
    if found is None:
        pytest.skip("no heat, or none that leaves by top or bottom")
    drops = sum(rung.drop_K for rung in found.rungs)
    assert found.start_C - drops == pytest.approx(one.field.coolant_C, abs=1e-6 * one.rise_K)


# ---- numbers of a case ----------------------------------------------------------------------------------------------


def tolerances_of(given: Any, steps: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], dict[str, Any]]]:
    """Every number of a file that has a tolerance, with its place."""
    if isinstance(given, dict):
        if given.get("plus_minus"):
            yield steps, given
        for key, value in given.items():
            yield from tolerances_of(value, (*steps, key))
    elif isinstance(given, list):
        for place, value in enumerate(given):
            yield from tolerances_of(value, (*steps, place))


def place_in_file(one: Input) -> tuple[Any, ...]:
    steps = one.steps[:-1] if one.steps[-1] == "value" else one.steps
    # Written without brackets, a single length or value has no place in a list.
    return steps


def listed(case: Any) -> dict[tuple[Any, ...], Input]:
    return {place_in_file(one): one for one in inputs(case)}


def without_brackets(whole: Any, steps: tuple[Any, ...]) -> tuple[Any, ...]:
    """The place of an input in a mapping whose single numbers stand without brackets."""
    found: list[Any] = []
    held = whole
    for step in steps:
        if isinstance(step, int) and not isinstance(held, list):
            continue
        if step == "value" and not isinstance(held, dict):
            continue
        held = held[step]
        found.append(step)
    return tuple(found)


def test_every_number_with_a_tolerance_is_listed_and_varies(one: Solved) -> None:
    whole, _ = plain(one.drawn)
    found = {without_brackets(whole, place): it for place, it in listed(one.case).items() if in_file(whole, place)}
    for steps, given in tolerances_of(whole):
        assert steps in found, steps
        assert (found[steps].value, found[steps].plus_minus) == (given["value"], given["plus_minus"])
        assert found[steps].shape == ("t" if "repeats" in given else given.get("shape", "even"))
    paths = [it.path for it in one.inputs]
    assert len(set(paths)) == len(paths)
    varied = {it.input.path for it in variables((one.case,), ("the case",))}
    assert varied == {it.path for it in one.inputs if it.plus_minus > 0.0}


def at_steps(whole: Any, steps: tuple[Any, ...]) -> Any:
    """What stands at a place of a file; nothing where brackets are left out."""
    for step in steps:
        whole = whole[step] if isinstance(whole, (dict, list)) else None
    return whole


def in_file(whole: Any, steps: tuple[Any, ...]) -> bool:
    """Whether a number stands in the file; others come from the catalogue."""
    try:
        without_brackets(whole, steps)
    except (KeyError, TypeError, IndexError):
        return False
    return True


def test_what_an_option_gives_itself_varies_by_itself(one: Solved) -> None:
    if "options" not in one.drawn.whole:
        pytest.skip("no option")
    case = one.whole_case
    option = case.options[0]
    own = [given for _, given in tolerances_of(one.drawn.whole["options"][0])]
    found = variables((case, with_option(case, option.option)), ("the base", option.option))
    of_option = [(it.input.value, it.input.plus_minus) for it in found if it.acts_on == (False, True)]
    for given in own:
        assert (given["value"], given["plus_minus"]) in of_option


def some_inputs(one: Solved, most: int, fit: Callable[[Input], bool] = lambda it: True) -> list[Input]:
    """Numbers that temperatures depend on, drawn for this case."""
    rng = random(one)
    physical = [it for it in one.inputs if not it.is_offset and fit(it)]
    drawn_ones = (physical[place] for place in rng.permutation(len(physical)).tolist())
    return list(islice((it for it in drawn_ones if can_be(one.case, it)), most))


def test_a_number_changed_is_the_number_typed(one: Solved) -> None:
    """`with_inputs` gives the case that a file has with that number in it; lengths that take others along are apart."""
    whole, tables = plain(one.drawn)
    for it in some_inputs(one, 8):
        if not in_file(whole, it.steps) or "size_mm" in it.steps or "thickness_mm" in it.steps:
            continue
        if isinstance(at_steps(whole, without_brackets(whole, it.steps)), str):
            continue  # a number in the place of a class comes without the tolerance of the class
        value = shifted(it, 0.97, -1.5)
        typed = read(in_steps(whole, without_brackets(whole, it.steps), lambda _, value=value: value), tables)
        changed = with_inputs(one.case, {it.path: value})
        assert same(typed.model_dump(), changed.model_dump()), it.path


def same(one: Any, other: Any) -> bool:
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, (list, tuple)):
        return len(one) == len(other) and all(same(*pair) for pair in zip(one, other, strict=True))
    return one == pytest.approx(other, rel=1e-12) if isinstance(one, float) else bool(one == other)


def is_beside_a_line(one: Solved, it: Input, within_mm: float) -> bool:
    """Whether the place of a probe lies so near to a grid line, along the axis of this number."""
    probe = one.case.probes[int(it.steps[1])]
    axis = 2 if it.steps[-1] == len(probe.at_mm) - 1 else int(it.steps[-1])
    away = one.grid.axes[axis].faces / MM - probe_point(one.case, probe)[axis]
    return bool(np.any(np.abs(away) <= within_mm))


LARGEST_JUMP = 1e-2  # of the rise: half of what a probe may jump by across a line of a grid as coarse as these


def test_sensitivities_are_differences(one: Solved) -> None:
    """Central differences of full solves; what bends between them may have a kink there.

    What a probe tells jumps a little where it crosses a line of the grid, as two cells fit it: where a single step
    crosses one, the difference of a double step less that of a single one is free of the jump.
    """
    if one.drawn.number % DIFFERED:
        pytest.skip("its differences are not solved")
    chosen = some_inputs(one, 6)
    found = gradients(one.case, one.plan, 1, paths=[it.path for it in chosen], field=one.field)
    for it in chosen:
        step = 2e-3 * (abs(it.value) or 1.0)
        if it.path in found.left_out or not (it.allows(it.value + step) and it.allows(it.value - step)):
            continue
        up, down = (one.near(with_inputs(one.case, {it.path: it.value + part * step})) for part in (1.0, -1.0))
        far = []
        if it.key == "at_mm" and is_beside_a_line(one, it, step):
            far = [one.near(with_inputs(one.case, {it.path: it.value + part * step})) for part in (2.0, -2.0)]
        for question, row in found.values.items():
            it_is = key(question)
            change = 0.5 * (up[it_is] - down[it_is])
            bend = abs(up[it_is] - 2.0 * one.answers[it_is] + down[it_is])
            noise = 1e-6 * (1.0 + one.field.heat_made_W) if is_heat(it_is) else 2.0 * SOLVED * one.rise_K
            if far:
                jump = 2.0 * change - 0.5 * (far[0][it_is] - far[1][it_is])
                assert abs(jump) <= LARGEST_JUMP * one.rise_K, (it_is, it.path)
                change -= jump
                # Twice as many solves; and what is of third order counts seven times in the longer steps.
                noise, bend = 2.0 * noise, 3.0 * bend
            if row[it.path] * step != pytest.approx(change, rel=1e-4, abs=noise + 0.6 * bend) and not far:
                # Half a step tells a course of third order from a wrong slope: Richardson's extrapolation of both.
                half = [one.near(with_inputs(one.case, {it.path: it.value + part * step})) for part in (0.5, -0.5)]
                change = (4.0 * (half[0][it_is] - half[1][it_is]) - change) / 3.0
            assert row[it.path] * step == pytest.approx(change, rel=1e-4, abs=noise + 0.6 * bend), (it_is, it.path)


# ---- short cuts -----------------------------------------------------------------------------------------------------


def test_superposition_is_a_full_solve(one: Solved) -> None:
    """Exact where conductivities are constant and nothing leaks: leakage is made where a zone is hottest, and the watts
    of a superposition are spread evenly over it.
    """
    base = superposition(one.case, one.field)
    powers = {it.owner: it for it in one.inputs if it.path.endswith(".power_W")}
    own = np.array([zone.power_W for zone in one.field.zones])
    if all(heat.map is None for heat in one.case.heat):
        assert base.base_W == pytest.approx(own, rel=1e-6, abs=1e-9)
    assert base.temperatures(base.base_W)[0] == pytest.approx(base.base_C)
    if (
        any_shared(one)
        or not powers
        or not one.field.model.is_linear
        or any(heat.leakage is not None for heat in one.case.heat)
    ):
        return
    changed = {it.path: it.value * 1.3 + 0.1 * place for place, it in enumerate(powers.values())}
    case = with_inputs(one.case, changed)
    field = solve_on(case, one.grid)
    there = superposition(case, field)
    found = dict(zip(base.questions, base.temperatures(there.base_W)[0], strict=True))
    wanted = dict(zip(there.questions, there.base_C, strict=True))
    agree(plainly(found), plainly(wanted), 10.0 * SOLVED * span(field))


def a_small_model_varies(one: Solved, it: Input) -> bool:
    try:
        check_varies(one.case, [it])
    except ThermsimError:
        return False
    return True


def test_a_small_model_is_a_full_solve(one: Solved) -> None:
    varied = some_inputs(one, 3, lambda it: a_small_model_varies(one, it))
    ends = np.array([[shifted(it, *by) for it in varied] for by in ((0.9, -2.0), (1.0, 2.0))]).reshape(2, len(varied))
    low, high = ends.min(axis=0), ends.max(axis=0)
    try:
        model = reduce(one.case, varied=varied, plan=one.plan, multiplier=1, solved=12, held_out=6, candidates=32,
                       limits=(low, high))  # fmt: skip
    except ThermsimError as error:
        pytest.skip(f"told: {error}")
    table = low + (high - low) * random(one).random((3, len(varied)))
    found = model.answers(table)
    for row, values, doubts, inside in zip(table.tolist(), found.values, found.doubts, found.inside, strict=True):
        wanted = one.near(with_inputs(one.case, {it.path: value for it, value in zip(varied, row, strict=True)}))
        if inside:
            for question, value, doubt in zip(found.questions, values, doubts, strict=True):
                assert value == pytest.approx(wanted[key(question)], abs=3.0 * doubt + 1e-4), question


# ---- mesh studies ---------------------------------------------------------------------------------------------------


def within_doubts(found: float, doubt: float, made: Any, question: Any) -> None:
    """Doubts hold in 19 of 20; of the thousands that are asked here, none is farther out than both allow."""
    other = made.doubts[question]
    assert found == pytest.approx(other.value, abs=doubt + other.half_width + 1e-6), str(question)


@pytest.fixture
def studied(one: Solved) -> Solved:
    """Cases whose meshes are studied."""
    number = one.drawn.number
    if (number < FAST and number >= STUDIED) or (number >= FAST and number % EACH):
        pytest.skip("its meshes are not studied")
    return one


def test_the_command_tells_what_python_has(one: Solved, tmp_path: Path) -> None:
    if one.drawn.number % COMMANDED:
        pytest.skip("its command is not run")
    write_tables(one.drawn.tables, tmp_path)
    (tmp_path / "case.yaml").write_text(as_text(one.drawn.whole))
    run = CliRunner().invoke(
        commands, ["predict", str(tmp_path / "case.yaml"), "--json", "--accuracy", str(ACCURACY_K)]
    )
    assert run.exit_code == 0, run.output
    told = json.loads(run.stdout)
    wanted = json.loads(json.dumps(result(one.doubted)))
    for document in (told, wanted):
        for step in document["mesh"]:
            del step["seconds"]
    assert told == wanted
    drops = sum(rung["drop_K"] for rung in told["ladder"])
    if told["ladder"]:
        assert told["ladder_of"]["start_C"] - drops == pytest.approx(told["coolant_C"], abs=1e-6 * one.rise_K)


def test_every_tolerance_moves_what_its_end_moves(studied: Solved) -> None:
    """What a tolerance is told to move the hottest spot by is what a full solve with the number at its end moves it by,
    to a fifth: of those that matter the curves are made of moves by one standard uncertainty to both sides, of others
    to one. What is not told moves nothing that is seen beside the largest.

    Where a length parts outlines which were one, cells open between them, and on grids as coarse as these they alone
    move the hottest spot: then it is twice what the second half of the way moves.
    """
    made = studied.doubted
    acting = [one for one in variables((made.case,), ("",)) if not one.input.is_offset]
    if not acting:
        pytest.skip("no number with a tolerance acts on temperatures")
    assert made.inputs is not None
    moved = {one.path: one for one in made.inputs.moved}
    largest = max((one.kelvin for one in made.inputs.moved), default=0.0)
    solver = SampleSolver((made.case,), 0, made.plan, made.steps[0].multiplier, (HOTTEST,))
    nominal = solver.answer({})[0]
    for each in acting:
        spread = each.spread
        end = min(spread.value + spread.half_width, spread.high)
        try:
            wanted = solver.answer({each.input.path: end})[0] - nominal
            if not solver.keeps_cells({each.input.path: end}):
                half = solver.answer({each.input.path: 0.5 * (spread.value + end)})[0] - nominal
                wanted = 2.0 * (wanted - half)
        except ThermsimError:
            continue  # beyond thermal runaway, or where the stack cannot be
        found = moved[each.input.path].at_high_K if each.input.path in moved else 0.0
        off, allowed = abs(found - wanted), max(abs(found), abs(wanted)) / 5.0 + 0.1 * largest + 1e-3
        if off > allowed:  # on a grid as coarse as this the highest temperature itself may jump on the way
            steps = [solver.answer({each.input.path: spread.value + share * spread.half_width})[0] for share in THIRDS]
            bends = np.abs(np.diff(steps, 2))
            allowed += 2.0 * float(bends.max() - np.median(bends))
        assert off <= allowed, each.input.path


def test_many_are_predictions(studied: Solved) -> None:
    one = studied
    found = many(one.case, [{one.changed.path: one.changed_to}], accuracy_K=ACCURACY_K, workers=1)
    for place, question in enumerate(found.questions):
        within_doubts(found.values[0, place], found.doubts[0, place], one.changed_prediction, question)


def test_points_of_a_sweep_are_predictions(studied: Solved) -> None:
    one = studied
    it = one.changed
    if "size_mm" in it.steps or "thickness_mm" in it.steps:
        pytest.skip("a sweep keeps the floor plan, a tolerance takes it along")
    low, high = sorted((it.value, one.changed_to))
    found = sweep(one.case, [Vary(it.path, low, high, 2)], accuracy_K=ACCURACY_K)
    for point in found.points:
        is_typed = point.values[0] == it.value
        made = one.doubted if is_typed else with_input_doubt(one.changed_prediction)
        for question, doubt in point.doubts.items():
            within_doubts(doubt.value, doubt.half_width, made, question)
            if not (is_typed and it.is_filled_in):  # at a value that is given, what the catalogue says counts no more
                alike_in_inputs(point, made, question)


def alike_in_inputs(point: Point, made: Prediction, question: Observable) -> None:
    """The inputs leave as much of a point as of a prediction, on other grids."""
    assert made.inputs is not None
    assert (point.inputs is None) == made.inputs.all_exact
    if point.inputs is None:
        return
    own, other = point.inputs.bands[question], made.inputs.bands[question]
    value, told = point.doubts[question].value, made.doubts[question].value
    for mine, theirs in ((own.low - value, other.low - told), (own.high - value, other.high - told)):
        room = ALIKE_SHARE * abs(theirs) + (JUMPS_K if question == HOTTEST or question.takes == "highest" else 1e-3)
        assert mine == pytest.approx(theirs, abs=room), question


def test_what_can_be_afforded_meets_the_limit(studied: Solved) -> None:
    one = studied
    case = one.case
    if not case.readings or not case.heat:
        pytest.skip("no readings")
    try:
        found = afford(case, accuracy_K=ACCURACY_K).answers[0].power
    except ThermsimError as error:
        pytest.skip(f"told: {error}")
    if found is None or found.ends_by == "runaway" or found.share > 100.0:
        return  # with a hundred times its power a case is another: what depends on temperature is far from what it was
    whole, tables = plain(one.drawn)
    for heat in whole["heat"]:
        for zone in [heat, *heat.get("zones", [])]:
            if "power_W" in zone:
                zone["power_W"] = number(zone["power_W"]) * found.share
    there = {name: (found.share * np.array(lines)).tolist() if name.startswith("power") else lines
             for name, lines in tables.items()}  # fmt: skip
    made = predict(read(whole, there), accuracy_K=ACCURACY_K)
    highest = max((made.doubts["reading", reading.reading] for reading in case.readings), key=lambda one: one.value)
    slope = (highest.value - made.field.coolant_C) / max(made.field.heat_made_W, 1e-9)
    assert highest.value == pytest.approx(
        case.limits.reading_C, abs=2.0 * highest.half_width + slope * found.mesh_doubt_W + 0.01
    )
