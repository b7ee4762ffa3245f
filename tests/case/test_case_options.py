"""Named changes worked into a case. Expected values are read off the case text by hand."""

from __future__ import annotations

import pickle

import pytest
from samples import CORNCRAKE, SLICE

from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case, Joint, Part
from thermsim.errors import CaseError, ThermsimError, UnknownNameError


def with_changes(changes: str, text: str = CORNCRAKE) -> str:
    """The text with one option in place of its own."""
    if "options:" in text:
        text = text[: text.index("options:")]
    return f"{text}options:\n  - option: tried\n    changes: {changes}\n"


def changed(changes: str, text: str = CORNCRAKE) -> Case:
    return with_option(parse_case(with_changes(changes, text), "f"), "tried")


def faults(changes: str, text: str = CORNCRAKE) -> list[str]:
    with pytest.raises(CaseError) as caught:
        parse_case(with_changes(changes, text), "f")
    return [f"{fault.line}:{fault.column}: {fault.message}" for fault in caught.value.faults]


def layer(case: Case, name: str) -> Part | Joint:
    return next(one for one in case.layers if name == (one.part if isinstance(one, Part) else one.joint))


def joint(case: Case, name: str) -> Joint:
    found = layer(case, name)
    assert isinstance(found, Joint)
    return found


def part(case: Case, name: str) -> Part:
    found = layer(case, name)
    assert isinstance(found, Part)
    return found


def test_options_of_the_demo() -> None:
    base = parse_case(CORNCRAKE, "f")
    gallium = with_option(base, "gallium film, 30 um")
    solder = joint(gallium, "solder")
    assert solder.film_um is not None
    assert (solder.film_um.value, solder.film_um.plus_minus, solder.film_um.basis) == (30, 15, None)
    assert solder.conductivity_W_mK is not None
    assert solder.conductivity_W_mK.value == 28
    assert solder.wetted_fraction is not None
    assert solder.wetted_fraction.value == 0.95  # not changed, so kept
    assert gallium.option == "gallium film, 30 um"

    thin = with_option(base, "thinner die, same height")
    assert [p.thickness_mm.value for p in thin.parts] == [1.36, 0.46, 2.65, 3.0]
    assert sum(p.thickness_mm.value for p in thin.parts) == pytest.approx(sum(p.thickness_mm.value for p in base.parts))

    straight = with_option(base, "plate straight on die")
    assert [p.part for p in straight.parts] == ["substrate", "die", "plate"]
    assert [j.joint for j in straight.joints] == ["solder"]
    assert base == parse_case(CORNCRAKE, "f")  # the base is left as it was


def test_a_changed_case_travels_and_keeps_its_places() -> None:
    thin = with_option(parse_case(CORNCRAKE, "f"), "thinner die, same height")
    twin = pickle.loads(pickle.dumps(thin))
    assert twin == thin
    assert twin.option == "thinner die, same height"
    lines = CORNCRAKE.split("\n")
    line, column = thin.mark("layers", 1, "thickness_mm")
    assert lines[line - 1][column - 1 :].startswith("0.46")  # where the option says so
    line, column = thin.mark("layers", 1, "size_mm")
    assert lines[line - 1][column - 1 :].startswith("[24.8")


@pytest.mark.parametrize(
    ("changes", "kept", "gone"),
    [
        ("{paste: {film_um: 50, conductivity_W_mK: 4}}", {"film_um", "conductivity_W_mK"}, {"resistance_mm2K_W"}),
        ("{paste.film_um: 50, paste.conductivity_W_mK: 4}", {"film_um", "conductivity_W_mK"}, {"resistance_mm2K_W"}),
        ("{paste: {material: silicone paste}}", {"material"}, {"resistance_mm2K_W"}),
        ("{paste: {material: silicone paste, resistance_mm2K_W: 9}}", {"material", "resistance_mm2K_W"}, {"film_um"}),
    ],
)
def test_ways_of_a_joint_exclude_each_other(changes: str, kept: set[str], gone: set[str]) -> None:
    paste = joint(changed(changes), "paste")
    assert all(getattr(paste, key) is not None for key in kept)
    assert all(getattr(paste, key) is None for key in gone)


def test_a_resistance_replaces_a_film() -> None:
    solder = joint(changed("{solder: {resistance_mm2K_W: 5}}"), "solder")
    assert (solder.film_um, solder.conductivity_W_mK, solder.boundary_mm2K_W) == (None, None, None)
    solder = joint(changed("{solder: {material: gallium film}}"), "solder")
    assert (solder.film_um, solder.conductivity_W_mK, solder.wetted_fraction) == (None, None, None)


def test_other_ways_that_exclude_each_other() -> None:
    top = changed("{cooling.top: {temperature_C: 30}}").cooling[0]
    assert (top.film_W_m2K, top.fluid_C) == (None, None)
    assert top.wetted_mm is not None
    top = changed("{top: {corner_mm: [0, 0], size_mm: [10, 10]}}").cooling[0]
    assert top.wetted_mm is None
    leakage = changed("{heat.die.leakage.share: 0.2, heat.die.leakage.doubling_K: 25}").heat[0].leakage
    assert leakage is not None
    assert (leakage.per_K, leakage.share, leakage.at_C) == (None, 0.2, 80)
    film = joint(changed("{film.film_um.value: 60}", SLICE), "film").film_um
    assert film is not None
    assert (film.value, film.low, film.towards) == (60, None, None)
    material = part(changed("{spreader.material.conductivity_W_mK: 300}", SLICE), "spreader").material
    assert (material.in_plane_W_mK, material.through_W_mK) == (None, None)


def test_plain_values_open_up() -> None:
    lid = part(changed("{lid.thickness_mm.plus_minus: 0.05, lid.material.density_kg_m3: 8900}"), "lid")
    assert (lid.thickness_mm.value, lid.thickness_mm.plus_minus) == (2.45, 0.05)
    assert lid.material.name == "copper"
    assert lid.material.density_kg_m3 is not None


def test_a_given_value_replaces_the_old_one_with_its_tolerance() -> None:
    die = part(changed("{die.thickness_mm: 0.5}"), "die")
    assert (die.thickness_mm.plus_minus, die.thickness_mm.basis) == (0.0, None)
    die = part(changed("{die.thickness_mm.value: 0.5}"), "die")
    assert (die.thickness_mm.value, die.thickness_mm.plus_minus, die.thickness_mm.basis) == (0.5, 0.02, "measured")


def test_zones_probes_readings_and_the_case_itself() -> None:
    case = changed(
        "{zones.C0.power_W: 5, graphics: {power_W: 4}, under C5.at_mm: [10.3, 2.2, 0.66], readings.C0.step_K: 2,"
        " accuracy_K: 0.01, limits.reading_C: 90, exposed.film_W_m2K: 3, C7: remove, solder.wetted_fraction: remove}"
    )
    powers = {zone.zone: zone.power_W.value for zone in case.heat[0].zones}
    assert (powers["C0"], powers["graphics"], "C7" in powers) == (5, 4, False)
    assert [at.value for at in case.probes[0].at_mm] == [10.3, 2.2, 0.66]
    assert case.readings[0].step_K == 2
    assert (case.accuracy_K, case.limits.reading_C) == (0.01, 90)
    assert case.cooling[2].film_W_m2K is not None
    assert case.cooling[2].film_W_m2K.value == 3
    assert joint(case, "solder").wetted_fraction is None


def test_one_name_of_a_part_and_its_zone() -> None:
    text = SLICE.replace("zone: left", "zone: bar")
    case = changed("{bar: {power_W: 5}, bar.thickness_mm: 3}", text)
    assert case.heat[0].zones[0].power_W.value == 5
    assert case.parts[0].thickness_mm.value == 3
    told = faults("{bar.size_mm: 3}", text)
    assert told == ["32:15: option 'tried': `bar` may mean several entries; write `layers.bar` or `zones.bar`"]


def test_names_with_dots_and_blanks() -> None:
    text = CORNCRAKE.replace("zone: graphics", "zone: g. v1.2")
    assert changed("{g. v1.2.power_W: 7}", text).heat[0].zones[0].power_W.value == 7


def test_removing_two_joints_apart_says_what_else_to_remove() -> None:
    told = faults("{lid: remove}")
    assert len(told) == 1
    assert told[0].startswith("64:13: option 'tried': joint 'paste': two joints in a row ('solder' and 'paste')")
    assert "`paste: remove`" in told[0]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ("{dye.thickness_mm: 0.4}", "65:15: option 'tried': the case has nothing called 'dye'; did you mean `die`?"),
        (
            "{die.thicknes_mm: 0.4}",
            "65:15: option 'tried': part 'die': unknown key `thicknes_mm`; did you mean `thickness_mm`?",
        ),
        (
            "{die: {thickness_mm: -0.4}}",
            "65:35: option 'tried': part 'die': `thickness_mm` must be above 0, found -0.4",
        ),
        ("{die.thickness_mm: 0.4 ells}", "65:33: option 'tried': part 'die': `thickness_mm` must be a number"),
        ("{die: 5}", "65:15: option 'tried': `die` is a whole entry: it takes {key: value}, or `remove`, found 5"),
        (
            "{die.size_mm: [24.8, 9]}",
            "64:13: option 'tried': zone 'graphics': it sticks out of 'die' (24.8 x 9 mm): 1.4 mm over the upper edge",
        ),
        (
            "{die.thickness_mm: 0.4, die: {thickness_mm: 0.3}}",
            "65:44: option 'tried': `die: thickness_mm` changes what `die.thickness_mm` changes already",
        ),
        (
            "{die.thickness_mm: 0.4, die: remove}",
            "65:15: option 'tried': `die.thickness_mm` changes what `die` removes",
        ),
        ("{lid.thickness_mm.of.it: 0.4}", "65:15: option 'tried': part 'lid': unknown key `of`"),
        ("{lid.size_mm.x: 0.4}", "65:15: option 'tried': `lid.size_mm.x` reaches into a list of 2, which has no keys"),
        ("{cooling.topp.fluid_C: 4}", "65:15: option 'tried': `cooling` has no entry 'topp.fluid_C'"),
        ("{dimensions: 2}", "65:15: option 'tried': an option cannot change `dimensions`"),
        (
            "{heat.die: {leakage: {per_K: 2, at_C: 80}}}",
            "65:43: option 'tried': heat in 'die': `per_K` must be at most 1, found 2",
        ),
        ("{solder.basis: remove}", "65:29: option 'tried': `basis` is not given in the base case; nothing to remove"),
        ("{accuracy_K: 0}", "65:27: option 'tried': `accuracy_K` must be above 0, found 0"),
        ("5", "65:14: option 'tried': `changes` must be a mapping"),
        ("{top: {film_W_m2K: }}", "65:32: `film_W_m2K` has no value"),
    ],
)
def test_faults_stand_at_the_option(changes: str, told: str) -> None:
    found = faults(changes)
    assert found[0].startswith(told), found


def test_faults_of_all_options_are_told_together() -> None:
    text = CORNCRAKE.replace("die.thickness_mm: 0.46", "dye.thickness_mm: 0.46").replace("lid: remove", "lid: removed")
    with pytest.raises(CaseError) as caught:
        parse_case(text, "f")
    assert len(caught.value.faults) == 2


def test_a_case_changed_in_memory_takes_no_option() -> None:
    """Its changes would be lost without a word."""
    case = parse_case(CORNCRAKE, "f").model_copy(update={"accuracy_K": 0.5})
    with pytest.raises(ThermsimError, match="take the option first"):
        with_option(case, "thinner die, same height")


def test_a_wrong_name_of_an_option() -> None:
    case = parse_case(CORNCRAKE, "f")
    with pytest.raises(UnknownNameError, match="did you mean `gallium film, 30 um`"):
        with_option(case, "gallium film 30 um")
