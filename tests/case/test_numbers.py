"""Every number of a case: none is dropped, each has one address, and every way in refuses what cannot be built."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from samples import CORNCRAKE, SLICE
from stacks import Mapping, case_of, film, part, solve_case

from thermsim.case.faults.examination import entries
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import parse_case, read_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary import schema
from thermsim.case.vocabulary.numbers import ACTS_ON, PLAIN, numbers, unit_of
from thermsim.case.vocabulary.schema import Case, Entry, Quantity, Tolerance
from thermsim.comparison.compare import compare
from thermsim.errors import CaseError, ThermsimError
from thermsim.model.grid.plan import plan_grid
from thermsim.model.physics.boundary import boundary_of
from thermsim.model.physics.properties import joint_of
from thermsim.nearby.gradients import gradients
from thermsim.nearby.many import many
from thermsim.nearby.uncertain_inputs import SHARED, variables
from thermsim.readout.answers import HOTTEST
from thermsim.sweeps.sweep import Vary, sweep

SHIPPED = sorted((Path(__file__).parents[2] / "cases").rglob("*.yaml"))


def toleranced(value: float, plus_minus: float) -> Mapping:
    return {"value": value, "plus_minus": plus_minus}


def two_films_on_top(**more: Any) -> Case:
    """A patch that is wetted and the rest of the same face, neither named; heat at both sides of the die."""
    heat = [
        {"in": "die", "at": side, "leakage": {"per_K": per_K, "at_C": 60}, "zones": [{"zone": side, "power_W": 40}]}
        for side, per_K in (("bottom", 0.002), ("top", 0.004))
    ]
    cooling = [
        film("top", toleranced(14_000, 6_000), 30.0, wetted_mm=[8, 8]),
        film("top", toleranced(900, 300), toleranced(28.0, 2.0)),
    ]
    layers = [part("die", [10, 10], 0.7, 120.0), part("lid", [12, 12], 2.0, 390.0)]
    return case_of(layers, heat, cooling, **more)


def numbers_with_a_tolerance(case: Case) -> int:
    return sum(isinstance(entry, Tolerance) and entry.plus_minus > 0.0 for _, entry in entries(case))


ENTRIES = [
    kind for kind in vars(schema).values() if isinstance(kind, type) and issubclass(kind, Entry) and kind is not Entry
]

CASES = {
    "two films": two_films_on_top,
    "corncrake": lambda: parse_case(CORNCRAKE),
    "slice": lambda: parse_case(SLICE),
    **{str(path.relative_to(path.parents[1])): lambda path=path: read_case(path) for path in SHIPPED},
}


@pytest.mark.parametrize("name", CASES)
def test_every_quantity_with_a_tolerance_is_listed_and_can_be_set(name: str) -> None:
    base = CASES[name]()
    for case in (base, *(with_option(base, option.option) for option in base.options)):
        known = {one.path: one for one in inputs(case)}
        assert len(known) == len(inputs(case))
        given = [one for one in known.values() if one.plus_minus > 0.0 and not one.is_filled_in]
        assert len(given) == numbers_with_a_tolerance(case)
        for one in given:
            value = one.value + 1e-3 * one.plus_minus
            again = {other.path: other for other in inputs(with_inputs(case, {one.path: value}))}[one.path]
            assert (again.value, again.plus_minus) == (pytest.approx(value, rel=1e-14), one.plus_minus)


SEED = 8_317


def with_tolerances(case: Case, rng: np.random.Generator) -> Case:
    """Half of its numbers, drawn at random, with a tolerance of a thousandth, written into the file.

    Where outlines lie on one another, a place or a size can have none, and the reader says so: it is left out.
    """
    values = json.loads(case.model_dump_json(by_alias=True, exclude_none=True, exclude={"options"}))
    drawn: list[tuple[tuple[Any, ...], Mapping]] = []

    def look_at(value: Any, path: tuple[Any, ...]) -> None:
        if isinstance(value, dict) and "plus_minus" in value:
            if value.get("value") and not (path[-1] == "wetted_fraction" and value["value"] > 0.99):
                drawn.append((path, value))
        elif isinstance(value, (dict, list)):
            for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
                look_at(inner, (*path, key))

    look_at(values, ())
    chosen = [drawn[number] for number in rng.permutation(len(drawn))[: len(drawn) // 2].tolist()]
    for _, entry in chosen:
        for key in ("shape", "repeats"):
            entry.pop(key, None)
        entry["plus_minus"] = 1e-3 * abs(entry["value"])
    try:
        return parse_case(json.dumps(values, indent=1), "drawn.yaml", case.folder)
    except CaseError as refused:
        assert all("reaches" in fault.message for fault in refused.faults)
    for path, entry in chosen:
        if any(key in path for key in ("size_mm", "corner_mm", "centre_mm", "wetted_mm", "at_mm", "thickness_mm")):
            entry["plus_minus"] = 0.0
    return parse_case(json.dumps(values, indent=1), "drawn.yaml", case.folder)


@pytest.mark.parametrize("name", CASES)
def test_no_tolerance_of_a_drawn_case_is_dropped(name: str) -> None:
    rng = np.random.default_rng([SEED, *name.encode()])
    for _ in range(2):
        case = with_tolerances(CASES[name](), rng)
        known = {one.path: one for one in inputs(case)}
        given = [one for one in known.values() if one.plus_minus > 0.0 and not one.is_filled_in]
        assert len(given) == numbers_with_a_tolerance(case)
        values = {one.path: one.value + 1e-3 * one.plus_minus for one in given if not one.is_length}
        changed = {one.path: one for one in inputs(with_inputs(case, values))}
        for path, value in values.items():
            assert changed[path].value == pytest.approx(value, rel=1e-14)
            assert changed[path].spread[1:] == known[path].spread[1:]


def test_every_number_of_the_vocabulary_is_in_the_registry_or_known_to_be_none() -> None:
    """A key that is added to the vocabulary is a `Quantity`, or it is said what it is."""
    settings = {
        "accuracy_K", "accuracy_W", "worth_K", "one_mount_K", "reading_C", "step_K", "frequency_GHz", "voltage_V",
        "dimensions", "plus_minus", "repeats", "coolant_K", "power_percent", "lag_s", "fans_rpm", "pump_percent",
            "from_s", "until_s", "settled_K", "at_s", "share", "package_W", "zones_W",
    }  # fmt: skip
    for kind in ENTRIES:
        for key, info in kind.model_fields.items():
            words = str(info.annotation)
            is_number = re.search(r"\b(float|int)\b", words) is not None and "list" not in words
            if is_number and not issubclass(kind, Quantity):
                assert key in PLAIN.get(kind, {}) or key in settings, f"{kind.__name__}.{key}"
            if "Quantity" in words or "Positive" in words:
                assert key in ACTS_ON or unit_of(key), f"{kind.__name__}.{key}"


# ---- addresses --------------------------------------------------------------------------------------------------


def test_two_entries_on_a_face_are_told_by_their_addresses() -> None:
    """What a table calls them is what an option or a sweep may name."""
    case = two_films_on_top()
    labels = [boundary_of(case, entry).label for entry in case.cooling]
    assert labels == ["cooling.top.0", "cooling.top.1"]
    assert {f"{label}.film_W_m2K" for label in labels} <= {one.path for one in inputs(case)}
    assert [boundary_of(one, one.cooling[0]).label for one in (placed(),)] == ["water"]


def test_a_place_or_a_temperature_has_no_relative_width() -> None:
    case = placed()
    kinds = {one.key: one.is_ratio for one in numbers(case)}
    assert not any(kinds[key] for key in ("corner_mm", "centre_mm", "fluid_C"))
    assert all(kinds[key] for key in ("size_mm", "thickness_mm", "power_W", "conductivity_W_mK", "film_W_m2K"))


def test_entries_that_share_a_name_are_told_apart_by_place() -> None:
    """On one face by the order of the file, in one part by the side."""
    known = {one.path: one.value for one in inputs(two_films_on_top())}
    assert (known["cooling.top.0.film_W_m2K"], known["cooling.top.1.film_W_m2K"]) == (14_000, 900)
    assert (known["heat.die.bottom.leakage.per_K"], known["heat.die.top.leakage.per_K"]) == (0.002, 0.004)


def test_an_address_works_wherever_a_number_is_named() -> None:
    """In options, `with_inputs`, sweeps, `many` and gradients."""
    path = "cooling.top.0.film_W_m2K"
    case = two_films_on_top(options=[{"option": "half", "changes": {path: 7_000}}])
    changed = with_option(case, "half")
    assert [one.film_W_m2K.value for one in changed.cooling if one.film_W_m2K] == [7_000, 900]
    for one, other in zip(with_inputs(case, {path: 7_000.0}).cooling, changed.cooling, strict=True):
        assert one.film_W_m2K is not None and other.film_W_m2K is not None
        assert one.film_W_m2K.value == other.film_W_m2K.value
    told = many(case, [{path: 7_000.0}, {path: 14_000.0}], accuracy_K=2.0, workers=1)
    swept = sweep(case, [Vary(path, 7_000.0, 14_000.0, 2)], accuracy_K=2.0)
    hottest = told.questions.index(HOTTEST)
    for row, point in enumerate(swept.points):
        assert told.values[row, hottest] == pytest.approx(point.doubts[HOTTEST].value, abs=2.0)
    slope = gradients(case, plan_grid(case, 4000), 2, [HOTTEST], [path])[HOTTEST][path]
    below, above = (solve_case(with_inputs(case, {path: at})).hottest[0] for at in (13_900.0, 14_100.0))
    assert slope == pytest.approx((above - below) / 200.0, rel=1e-3)


@pytest.mark.parametrize(
    "path", ["lid.size_mm.0", "lid.thickness_mm", "zones.top.power_W", "heat.die.top.leakage.per_K", "bar.size_mm.0"]
)
def test_options_take_the_addresses_of_numbers(path: str) -> None:
    """`size_mm.0` is one number of a list, also where the file leaves out the brackets."""
    case = two_films_on_top()
    if path == "bar.size_mm.0":
        case = parse_case(SLICE)
    known = {one.path: one.value for one in inputs(case)}
    if path == "bar.size_mm.0":
        text = SLICE.replace("options:", f"options:\n  - option: other\n    changes: {{{path}: {1.25 * known[path]}}}")
        optioned = parse_case(text)
    else:
        optioned = two_films_on_top(options=[{"option": "other", "changes": {path: 1.25 * known[path]}}])
    found = {one.path: one.value for one in inputs(with_option(optioned, "other"))}
    assert found == known | {path: 1.25 * known[path]}


@pytest.mark.slow
def test_a_tolerance_on_an_unnamed_entry_widens_the_interval() -> None:
    """As wide as where the entries have names: what a number is called changes no answer."""

    def interval(names: bool) -> tuple[float, float]:
        case = two_films_on_top(options=[{"option": "thin", "changes": {"lid.thickness_mm": 1.0}}])
        if names:
            text = case.source_text.replace('"wetted_mm"', '"environment": "jet",\n"wetted_mm"')
            case = parse_case(text.replace("28.0", "28.0", 1))
        found = compare(case, accuracy_K=5.0, samples=256).options[0].headline.interval
        return found.low, found.high

    low, high = interval(False)
    assert (low, high) == pytest.approx(interval(True), abs=1e-6)
    assert high - low > 0.5


# ---- one gate ---------------------------------------------------------------------------------------------------


def patched(plus_minus: float = 0.0, **more: Any) -> Case:
    return case_of(
        [part("die", [10, 10], 1.0, 120.0), part("plate", [44, 44], 3.0, 390.0)],
        [{"in": "die", "zones": [{"zone": "core", "corner_mm": [1, 1], "size_mm": [4, 4], "power_W": 40}]}],
        [film("top", 5_000.0, 30.0, wetted_mm=[toleranced(40, plus_minus), 40], environment="water")],
        probes=[{"probe": "p", "in": "die", "at_mm": [5, 5, 1]}],
        **more,
    )


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("water.wetted_mm.0", 60.0, "sticks out of the face"),
        ("core.corner_mm.0", 8.0, "sticks out of 'die'"),
        ("core.size_mm.1", 9.5, "sticks out of 'die'"),
        ("plate.centre_mm.0", 40.0, "does not lie over"),
        ("p.at_mm.2", 1.5, "lies outside 'die'"),
        ("die.thickness_mm", 1e-7, "must be at least"),
    ],
)
def test_every_way_in_makes_the_geometric_checks(path: str, value: float, told: str) -> None:
    more: Any = {"options": [{"option": "other", "changes": {path: value}}]}
    case = patched()
    if path.startswith("plate.centre"):
        text = case.source_text.replace('"part": "plate"', '"part": "plate", "centre_mm": [0, 0]')
        case, more = parse_case(text), {}
    start = next(one.value for one in inputs(case) if one.path == path)
    with pytest.raises(ThermsimError, match=told):
        with_inputs(case, {path: value})
    with pytest.raises(ThermsimError, match=told):
        many(case, [{path: value}])
    with pytest.raises(ThermsimError, match=told):
        sweep(case, [Vary(path, min(start, value), max(start, value), 2)])
    if more:
        with pytest.raises(CaseError, match=told):
            patched(**more)


def test_a_wedge_stays_a_wedge() -> None:
    case = parse_case(SLICE)
    with pytest.raises(ThermsimError, match="`low` is above `high`"):
        with_inputs(case, {"film.film_um.low": 150.0})


def test_a_tolerance_that_reaches_beyond_its_face_is_told_by_the_reader() -> None:
    with pytest.raises(CaseError, match=r"wetted_mm.*sticks out of the face"):
        patched(plus_minus=6.0)


# ---- places and sizes -------------------------------------------------------------------------------------------


def placed(**more: Any) -> Case:
    """A core whose place and size are not sure, on a die that may have been soldered off centre."""
    layers = [
        part("die", [10, 10], 0.5, 120.0, centre_mm=[toleranced(0.0, 0.5), 0.0]),
        part("lid", [14, 14], 1.0, 390.0),
    ]
    zone = {
        "zone": "core", "power_W": 40, "corner_mm": [toleranced(3, 1), 3],
        "size_mm": [toleranced(4, 1), toleranced(4, 0.5)],
    }  # fmt: skip
    cooling = [film("top", 9_000.0, 30.0, wetted_mm=[8, toleranced(8, 1)], environment="water")]
    options = [{"option": "half the power", "changes": {"core.power_W": 20}}]
    return case_of(layers, [{"in": "die", "zones": [zone]}], cooling, options=options, **more)


@pytest.mark.slow
def test_tolerances_of_places_and_sizes_are_carried() -> None:
    """The interval of a gain holds the gains at both ends of the size of the heated zone.

    A gain of halving the power is half the rise, whatever the size: two full solves give it.
    """
    case = placed()
    paths = {"core.corner_mm.0", "core.size_mm.0", "core.size_mm.1", "die.centre_mm.0", "water.wetted_mm.1"}
    assert {one.path for one in inputs(case) if one.plus_minus and not one.is_filled_in} == paths
    found = compare(case, accuracy_K=1.0, samples=256).options[0]
    gains = [
        0.5 * (solve_case(with_inputs(case, {"core.size_mm.0": size})).hottest[0] - 30.0) for size in (3.2, 4.0, 4.8)
    ]
    assert found.headline.interval.low < min(gains) < max(gains) < found.headline.interval.high
    told = {one.path: one for one in found.contributions}
    assert set(told) == paths
    size = told["core.size_mm.0"].sensitivity
    assert size == pytest.approx((gains[2] - gains[0]) / 1.6, rel=0.2)


@pytest.mark.slow
def test_an_outline_on_another_is_varied_by_differences() -> None:
    """Two zones that touch: no grid of the same cells follows an edge of one alone, so full solves do."""
    zones = [
        {"zone": "a", "corner_mm": [0, 0], "size_mm": [toleranced(4, 1), 10], "power_W": 40},
        {"zone": "b", "corner_mm": [6, 0], "size_mm": [4, 10], "power_W": 10},
    ]
    insert = {"material": {"conductivity_W_mK": 119.0}, "corner_mm": [4, 0], "size_mm": [1, 10]}
    case = case_of(
        [part("die", [10, 10], 0.5, 120.0, inserts=[insert]), part("lid", [14, 14], 1.0, 390.0)],
        [{"in": "die", "zones": zones}],
        [film("top", 9_000.0, 30.0)],
        options=[{"option": "half", "changes": {"a.power_W": 20}}],
    )
    found = compare(case, accuracy_K=1.0, samples=256).options[0]
    low, high = (
        solve_case(with_inputs(case, {"a.size_mm.0": size})).hottest[0]
        - solve_case(with_inputs(case, {"a.size_mm.0": size, "a.power_W": 20.0})).hottest[0]
        for size in (3.1, 4.9)  # nine in ten even sizes lie between
    )
    assert found.headline.interval.low == pytest.approx(high, abs=0.4)
    assert found.headline.interval.high == pytest.approx(low, abs=0.4)
    assert found.contributions[0].sensitivity == pytest.approx((high - low) / 1.8, rel=0.25)


def test_tolerances_that_cannot_hold_together_are_refused_before_anything_is_sampled() -> None:
    zones = [
        {"zone": "a", "corner_mm": [0, 0], "size_mm": [toleranced(4.9, 0.15), 10], "power_W": 40},
        {"zone": "b", "corner_mm": [toleranced(5.1, 0.15), 0], "size_mm": [4, 10], "power_W": 10},
    ]
    case = case_of(
        [part("die", [10, 10], 0.5, 120.0)],
        [{"in": "die", "zones": zones}],
        [film("top", 9_000.0, 30.0)],
        options=[{"option": "half", "changes": {"a.power_W": 20}}],
    )
    with pytest.raises(ThermsimError, match="overlaps zone 'a'") as told:
        compare(case, accuracy_K=5.0, samples=256)
    assert "a.size_mm.0" in str(told.value) and "b.corner_mm.0" in str(told.value)


# ---- what an option gives itself --------------------------------------------------------------------------------


def joined(changes: Mapping, joint: Mapping | None = None, **more: Any) -> Case:
    base = {"film_um": toleranced(60, 30), "conductivity_W_mK": 4, "boundary_mm2K_W": 2, "wetted_fraction": 0.5}
    return case_of(
        [part("die", [10, 10], 0.7, 120.0), {"joint": "paste", **(joint or base)}, part("lid", [10, 10], 2.0, 390.0)],
        [{"in": "die", "zones": [{"zone": "core", "power_W": 40}]}],
        [film("top", 9_000.0, 30.0)],
        options=[{"option": "other", "changes": changes, **more}],
    )


def owners(case: Case) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for one in variables([case, with_option(case, "other")], ["base", "other"]):
        found.setdefault(one.input.path, set()).add(one.of)
    return found


def test_what_an_option_gives_itself_varies_by_itself() -> None:
    """Equal numbers of two films are no single film."""
    case = joined({"paste.film_um": toleranced(60, 30)})
    assert owners(case)["paste.film_um"] == {"base", "other"}
    assert owners(joined({"lid.thickness_mm": 1.0}))["paste.film_um"] == {SHARED}


@pytest.mark.slow
def test_the_interval_of_two_films_that_are_equal() -> None:
    case = joined({"paste.film_um": toleranced(60, 30)})
    interval = compare(case, accuracy_K=5.0, samples=256).options[0].headline.interval
    # Two independent even films of 60 +- 30 um: the gain is triangular over +- 60 um / (4 W/mK 0.5 100 mm2) 40 W.
    half = 60e-6 / (4 * 0.5 * 100e-6) * 40.0 * (1.0 - np.sqrt(0.1))
    assert (interval.low, interval.high) == (pytest.approx(-half, rel=0.06), pytest.approx(half, rel=0.06))


def test_an_option_may_say_that_a_number_is_the_base_s() -> None:
    changes = {"paste.film_um": toleranced(60, 30), "paste.conductivity_W_mK": 6}
    case = joined(changes, same_as_base=["paste.film_um"])
    assert owners(case)["paste.film_um"] == {SHARED}


@pytest.mark.parametrize(
    ("changes", "named", "told"),
    [
        ({"paste.film_um": toleranced(50, 30)}, "paste.film_um", "differs from the base's"),
        ({"lid.thickness_mm": 1.0}, "paste.film_um", "this option does not change"),
        ({"lid.thickness_mm": 1.0}, "paste.filn_um", "no number"),
    ],
)
def test_same_as_base_is_held_to_what_is_given(changes: Mapping, named: str, told: str) -> None:
    with pytest.raises(CaseError, match=told):
        joined(changes, same_as_base=[named])


def test_entries_that_an_option_takes_out_change_no_identity() -> None:
    """The other film keeps varying with its like in the base, though its address and its place are others."""
    cooling_of = two_films_on_top(
        options=[{"option": "other", "changes": {"cooling.top.0": "remove", "lid.thickness_mm": toleranced(1.5, 0.1)}}]
    )
    found = variables([cooling_of, with_option(cooling_of, "other")], ["base", "other"])
    rest = [one for one in found if one.input.value == 900]
    assert len(rest) == 1 and rest[0].acts_on == (True, True) and rest[0].of == SHARED
    paths = [one.input.path for one in found]
    assert len(paths) == len(set(paths))


@pytest.mark.parametrize(
    ("joint", "changes", "mm2K_W"),
    [
        (None, {"paste": {"resistance_mm2K_W": 5}}, 5.0),
        (None, {"paste.resistance_mm2K_W": 5}, 5.0),
        (None, {"paste": {"resistance_mm2K_W": 5, "wetted_fraction": 0.8}}, 6.25),
        (None, {"paste.wetted_fraction": 0.8, "paste.resistance_mm2K_W": 5}, 6.25),
        (None, {"paste.resistance_mm2K_W": 5, "paste.wetted_fraction": 0.8}, 6.25),
        (None, {"paste.film_um": 40}, (40 / 4 + 2) / 0.5),
        (
            {"resistance_mm2K_W": 20, "wetted_fraction": 0.5},
            {"paste": {"film_um": 40, "conductivity_W_mK": 4}},
            10.0,
        ),
        ({"resistance_mm2K_W": 20, "wetted_fraction": 0.5}, {"paste.resistance_mm2K_W": 5}, 5.0),
        ({"resistance_mm2K_W": 20, "wetted_fraction": 0.5}, {"paste.wetted_fraction": 1.0}, 20.0),
        ({"material": "gallium film", "wetted_fraction": 0.5}, {"paste.resistance_mm2K_W": 5}, 5.0),
    ],
)
def test_a_resistance_stands_for_the_whole_joint(joint: Mapping | None, changes: Mapping, mm2K_W: float) -> None:
    """Film, boundary and wetted share go with the joint that they were measured of."""
    joint_given = with_option(joined(changes, joint), "other").joints[0]
    middle = joint_of(joint_given).middle()
    assert middle is not None and middle.value == pytest.approx(1e-6 * mm2K_W)
