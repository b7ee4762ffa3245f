"""A prediction as blocks of plain text: what the terminal and a notebook both show."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from thermsim.case.geometry.zones import labels
from thermsim.mesh.convergence import TO_ITS_LIMIT
from thermsim.mesh.prediction_remarks import is_grave
from thermsim.report.data.result import result
from thermsim.report.data.views import face_view
from thermsim.report.words.input_doubt import AS_IF_EXACT, NO_BASIS, between, exact_words, swing, tolerance_of
from thermsim.report.words.numbers import UNKNOWN, fixed, most_decimals, order_in_words, plain, significant, with_doubt
from thermsim.rounding import celsius, decimals_of_two_digits, doubt_in_words, times_in

if TYPE_CHECKING:
    from thermsim.mesh.prediction import Prediction

OFFSET_K = "offset [K]"
INPUTS_K, INPUTS_W = "inputs [K]", "inputs [W]"
LONGEST_BAR, LONGEST_MOVE = 20, 16  # characters of the longest bar of a ladder, and of what tolerances move
EVEN, SPREAD = "#", "/"
SURVIVED_C = 200.0  # [C] above it no processor works, nor survives: common practice, no source
MOST_MOVED = 8  # inputs that are shown by what they move; the others are counted
LEAKAGE_WORTH_SAYING = 0.005  # share of the power from which on the part of leakage is told
LEAST_BESIDE = 5e-4  # share of the power from which on what is made beside zones is told


@dataclass(frozen=True)
class Column:
    """A heading with its unit, and on which side its cells stand."""

    heading: str
    right: bool = True


@dataclass(frozen=True)
class Block:
    """A title, lines of text over a table, the table, and lines under it; every cell is plain text."""

    title: str
    lines: tuple[str, ...] = ()
    columns: tuple[Column, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    notes: tuple[str, ...] = ()


def prediction_blocks(prediction: Prediction) -> list[Block]:
    """The hottest spot and grave remarks, zones, readings, probes, flows, the ladder, the mesh study, other remarks."""
    answer = result(prediction)
    of_inputs = [] if answer["input_doubt"] is None else answer["input_doubt"]["remarks"]
    grave = tuple(remark for remark in (*answer["remarks"], *of_inputs) if is_grave(remark))
    others = tuple(remark for remark in (*answer["remarks"], *of_inputs) if not is_grave(remark))
    blocks = [_head(prediction, answer)]
    blocks += [Block("Read first", notes=grave)] if grave else []
    doubt = answer["input_doubt"]
    blocks += [_moved(answer)] if doubt is not None and doubt["moved"] else []
    blocks += [block(answer) for key, block in _LISTS if answer[key]]
    blocks.append(_mesh(answer))
    return [*blocks, Block("Remarks", notes=others)] if others else blocks


def _head(prediction: Prediction, answer: dict[str, Any]) -> Block:
    doubt = prediction.doubts.get(("hottest",))
    rise = answer["hottest_C"] - answer["coolant_C"]
    half_width = None if doubt is None else doubt.half_width
    most = _most(answer)
    title = answer["title"] if answer["option"] is None else f"{answer['title']}, with: {answer['option']}"
    over = f"{plain(rise, half_width, most)} K over {_coolant(prediction)} at {celsius(answer['coolant_C'])} C"
    hopeless = answer["heat_made_W"] > 0.0 and answer["hottest_C"] > SURVIVED_C
    lines = [
        *_spot(answer, half_width, most, over),
        *["no processor survives this: look at the remarks"] * hopeless,
        _place(prediction, answer),
    ]
    return Block(title, lines=(*lines, *_leakage(prediction, answer)), notes=_doubted(answer))


def _spot(answer: dict[str, Any], half_width: float | None, most: int, over: str) -> list[str]:
    """The hottest spot with all its doubt, and of what that is made."""
    value, band, doubt = answer["hottest_C"], answer["hottest_inputs"], answer["input_doubt"]
    alone = with_doubt(value, half_width, most)
    if doubt is None:
        return [f"hottest spot: {alone} C, {over}"]
    if band is None:
        return [f"hottest spot: {alone} C {AS_IF_EXACT}", over]
    words, decimals = between(value, band, doubt["coverage"])
    return [
        f"hottest spot: {fixed(value, f'.{decimals}f')} C, {words} C",
        f"inputs {swing(value, band)} K, mesh {alone} C; {over}",
    ]


def _doubted(answer: dict[str, Any]) -> tuple[str, ...]:
    """What the doubts hold, and what none of them does."""
    mesh, doubt = "+- is the mesh doubt: what finer grids may still change.", answer["input_doubt"]
    if doubt is None:
        return (f"{mesh} Tolerances of the inputs are not in it: `thermsim.with_input_doubt(prediction)` adds them.",)
    exact = exact_words(doubt["taken_as_exact"])
    if not doubt["moved"] and answer["hottest_inputs"] is None:
        return tuple(words for words in (mesh, exact) if words)
    inputs = f"Inputs: what the tolerances of the case leave, {times_in(doubt['coverage'])}; by {doubt['way']}."
    return tuple(words for words in (mesh, inputs, exact) if words)


def _moved(answer: dict[str, Any]) -> Block:
    """What one tolerance moves: what to measure first."""
    moved = answer["input_doubt"]["moved"]
    longest = moved[0]["moves_K"]
    decimals = decimals_of_two_digits(longest)
    shown = moved[:MOST_MOVED]
    rows = tuple(
        (
            one["input"],
            tolerance_of(one),
            one["basis"] or NO_BASIS,
            fixed(one["moves_K"], f".{decimals}f"),
            EVEN * round(LONGEST_MOVE * one["moves_K"] / longest),
        )
        for one in shown
    )
    columns = (
        Column("input", right=False),
        Column("known as"),
        Column("by", right=False),
        Column("moves [K]"),
        Column("the hottest spot", right=False),
    )
    rest = len(moved) - len(shown)
    notes = (f"{rest} more move it by less.",) if rest else ()
    return Block("What to measure first: what each tolerance moves", columns=columns, rows=rows, notes=notes)


def _coolant(prediction: Prediction) -> str:
    """What takes most heat, and what rises are told over."""
    flows = [prediction.field.flows[number] for number in prediction.field.sink]
    return named_face(" and ".join(dict.fromkeys(flow.label for flow in flows)), flows[0].face)


def _place(prediction: Prediction, answer: dict[str, Any]) -> str:
    """Where the hottest spot lies, unless its face is as hot everywhere."""
    view = face_view(prediction)
    if view.is_hottest and view.is_even(prediction.doubts.get(("hottest",))):
        return f"everywhere alike, within the doubt: {view.what}"
    spot = answer["hottest_at"]
    places = [f"{axis} {fixed(spot[f'{axis}_mm'], '.2f')}" for axis in "xyz" if spot[f"{axis}_mm"] is not None]
    return f"it lies in {spot['part']} at {', '.join(places)} mm from its lower left bottom"


def _leakage(prediction: Prediction, answer: dict[str, Any]) -> tuple[str, ...]:
    """What leakage makes of the powers typed, where that matters."""
    typed, made = answer["heat_typed_W"], answer["heat_made_W"]
    laws = [heat.leakage for heat in prediction.case.heat if heat.leakage is not None]
    if not laws or abs(made - typed) <= LEAKAGE_WORTH_SAYING * typed:
        return ()
    at = " and ".join(dict.fromkeys(f"{law.at_C:g} C" for law in laws))
    change = f"adds {made - typed:.3g} W" if made > typed else f"takes {typed - made:.3g} W off"
    return (f"{typed:.4g} W at {at} typed; leakage at the temperatures found {change}: {made:.5g} W",)


def _most(answer: dict[str, Any]) -> int:
    return most_decimals(answer["hottest_C"] - answer["coolant_C"])


def _zones(answer: dict[str, Any]) -> Block:
    most = _most(answer)
    headings = ["mean [C]", "highest [C]", INPUTS_K, "over coolant [K]", "power [W]", "[W/mm2]"]
    names = labels([(zone["zone"], zone["part"], zone["at"]) for zone in answer["zones"]])
    rows = tuple(
        (
            name,
            with_doubt(zone["mean_C"], zone["mesh_doubt_K"], most),
            with_doubt(zone["highest_C"], zone["highest_mesh_doubt_K"], most),
            swing(zone["highest_C"], zone["highest_inputs"]),
            plain(zone["rise_over_coolant_K"], zone["mesh_doubt_K"], most),
            f"{zone['power_W']:.4g}",
            f"{zone['flux_W_mm2']:.3g}",
        )
        for name, zone in zip(names, answer["zones"], strict=True)
    )
    beside = answer["heat_made_W"] - sum(zone["power_W"] for zone in answer["zones"])
    is_told = beside > LEAST_BESIDE * answer["heat_made_W"]
    notes = (f"{beside:.4g} W more are made where no zone is.",) if is_told else ()
    return Block("Zones", *_kept(answer, (Column("zone", right=False), *map(Column, headings)), rows), notes)


def _kept(
    answer: dict[str, Any], columns: tuple[Column, ...], rows: tuple[tuple[str, ...], ...], *leave: str
) -> tuple[tuple[str, ...], tuple[Column, ...], tuple[tuple[str, ...], ...]]:
    """No lines, and columns and rows without that of the inputs where none has a tolerance, nor those to leave out."""
    out = {*leave} if answer["hottest_inputs"] is not None else {INPUTS_K, INPUTS_W}
    keep = [number for number, column in enumerate(columns) if column.heading not in out]
    return (), tuple(columns[n] for n in keep), tuple(tuple(row[n] for n in keep) for row in rows)


def _readings(answer: dict[str, Any]) -> Block:
    limit, most = answer["limits"]["reading_C"], _most(answer)
    rows = tuple(_reading(reading, most) for reading in answer["readings"])
    columns = ("expected [C]", INPUTS_K, "shown [C]", OFFSET_K, "over coolant [K/W]")
    shown = [Column("reading", right=False), Column("takes", right=False), *map(Column, columns)]
    # Where all offsets are zero, only their tolerance says something, and that is among the inputs.
    leave = () if any(reading["offset_K"] for reading in answer["readings"]) else (OFFSET_K,)
    if limit is None:
        return Block("Readings", *_kept(answer, tuple(shown), tuple(row[:-2] for row in rows), *leave))
    doubts = "what offset tolerance and mesh doubt leave of it"
    if answer["hottest_inputs"] is not None:
        often = times_in(0.5 * (1.0 + answer["input_doubt"]["coverage"]))
        doubts = f"what all tolerances and the mesh doubt leave of it, {often}"
    notes = [f"Margin: to the limit of {limit:g} C; at least: {doubts}."]
    for reading in answer["readings"]:
        margin, least = reading["limit_margin_K"], reading["limit_margin_least_K"]
        if margin is not None and margin < 0.0:
            notes.append(f"{reading['reading']} is ABOVE the limit, by {-margin:.1f} K.")
        elif least is not None and least < 0.0:
            notes.append(
                f"{reading['reading']} may be above the limit: its tolerance and doubt are wider than the distance."
            )
    shown += [Column("margin [K]"), Column("at least [K]")]
    return Block("Readings", *_kept(answer, tuple(shown), rows, *leave), notes=tuple(notes))


def _reading(reading: dict[str, Any], most: int) -> tuple[str, ...]:
    at_point, resistance = reading["takes"] == "point", reading["R_reading_coolant_K_W"]
    has_offset = reading["offset_plus_minus_K"] or reading["offset_K"]
    margins = (reading["limit_margin_K"], reading["limit_margin_least_K"])
    return (
        reading["reading"],
        reading["of"] if at_point else f"{reading['takes']} of {reading['of']}",
        with_doubt(reading["expected_reading_C"], reading["mesh_doubt_K"], most),
        swing(reading["expected_reading_C"], reading["inputs"]),
        significant(reading["shown_C"], 5) if reading["step_K"] is not None else UNKNOWN,
        f"{reading['offset_K']:g} +- {reading['offset_plus_minus_K']:g}" if has_offset else UNKNOWN,
        UNKNOWN if resistance is None else f"{resistance:.4f}",
        *(UNKNOWN if margin is None else fixed(margin, ".1f") for margin in margins),
    )


def _probes(answer: dict[str, Any]) -> Block:
    most = _most(answer)
    rows = tuple(
        (
            probe["probe"],
            probe["part"],
            with_doubt(probe["temperature_C"], probe["mesh_doubt_K"], most),
            swing(probe["temperature_C"], probe["inputs"]),
            plain(probe["rise_over_coolant_K"], probe["mesh_doubt_K"], most),
        )
        for probe in answer["probes"]
    )
    columns = (
        Column("probe", right=False),
        Column("in", right=False),
        Column("[C]"),
        Column(INPUTS_K),
        Column("over coolant [K]"),
    )
    return Block("Probes", *_kept(answer, columns, rows))


def _flows(answer: dict[str, Any]) -> Block:
    heats = [flow["heat_W"] for flow in answer["flows"]]
    leaves = 0.0 if None in heats else sum(max(heat, 0.0) for heat in heats)
    rows = []
    for flow in answer["flows"]:
        share = f"{fixed(100 * flow['heat_W'] / leaves, '.1f')} %" if leaves > 0.0 else UNKNOWN
        name = flow["face"] if flow["environment"] == flow["face"] else named_face(flow["environment"], flow["face"])
        name += f", {flow['place']}" if flow["place"] else ""
        doubt = flow["mesh_doubt_W"]
        area = significant(flow["area_mm2"], 4)
        fluid = UNKNOWN if flow["fluid_C"] is None else celsius(flow["fluid_C"])
        heat = "no bound" if flow["heat_W"] is None else with_doubt(flow["heat_W"], doubt)
        rows.append(
            (name, heat, swing(flow["heat_W"], flow["inputs"]), share, area, plain(flow["face_C"], 0.05), fluid)
        )
    headings = ("heat out [W]", INPUTS_W, "share", "area [mm2]", "surface [C]", "outside [C]")
    balance = (
        f"Heat made {answer['heat_made_W']:.2f} W. Heat in less heat out: {fixed(answer['heat_balance_W'], '.1e')} W, "
        f"{answer['heat_balance_relative']:.1e} of the heat that enters."
    )
    nothing = tuple(
        f"{flow['environment']} cools nothing: no part reaches it." for flow in answer["flows"] if not flow["area_mm2"]
    )
    return Block(
        "Heat through the faces",
        *_kept(answer, (Column("face", right=False), *map(Column, headings)), tuple(rows)),
        notes=(balance, *_loop(answer["coolant_loop"]), *_bounds(answer["bounds"]), *nothing),
    )


def _loop(loop: dict[str, Any] | None) -> tuple[str, ...]:
    if loop is None:
        return ()
    told = f"Coolant loop: {with_doubt(loop['coolant_C'], loop['mesh_doubt_K'])} C in the mean of a pass"
    if loop["inputs"] is not None:
        told += f", inputs {swing(loop['coolant_C'], loop['inputs'])} K"
    told += f"; it leaves the radiator at {loop['left_radiator_C']:.2f} C"
    told += f" and is warmed by {loop['pass_rise_K']:.2f} K in a pass" if loop["pass_rise_K"] else ""
    return (f"{told}. The stack gives it {loop['heat_W']:.2f} W.",)


def _bounds(bounds: dict[str, float | None] | None) -> tuple[str, ...]:
    if bounds is None:
        return ()
    lowest, mean = (fixed(bounds[key] or 0.0, ".2f") for key in ("lowest_C", "mean_C"))
    highest = "no limit" if bounds["highest_C"] is None else f"{fixed(bounds['highest_C'], '.2f')} C"
    return (
        f"Sanity, on the finest grid: the mean of all heat made, {mean} C, lies between {lowest} C (if every level "
        f"spread perfectly) and {highest} (if nothing spread sideways).",
    )


def _ladder(answer: dict[str, Any]) -> Block:
    way, rungs = answer["ladder_of"], answer["ladder"]
    longest = max(max(rung["drop_K"], rung["even_K"]) for rung in rungs)
    rows: list[tuple[str, ...]] = [
        (
            rung["item"],
            *(fixed(rung[key], ".2f") for key in ("drop_K", "even_K", "spreading_K")),
            ladder_bar(rung["drop_K"], rung["even_K"], longest),
        )
        for rung in rungs
    ]
    total = [sum(rung[key] for rung in rungs) for key in ("drop_K", "even_K", "spreading_K")]
    rows.append(("together", *(fixed(kelvin, ".2f") for kelvin in total), ""))
    columns = (
        Column("lost in", right=False),
        Column("drop [K]"),
        Column("even [K]"),
        Column("spreading [K]"),
        Column(f"{EVEN} even, {SPREAD} spreading", right=False),
    )
    start = f"the hottest spot, in {way['zone']}," if way["starts_at"] == "hottest spot" else f"zone {way['zone']}"
    title = f"Ladder from {start} to {named_face(way['environment'], way['face'])}"
    notes = (
        f"{100 * way['share']:.1f} % of the heat leaves there, at {celsius(way['coolant_C'])} C. Even: what the same "
        "heat would lose if it used the whole area. Spreading: the rest.",
    )
    return Block(title, columns=columns, rows=tuple(rows), notes=notes)


def named_face(environment: str, face: str) -> str:
    """`water (top)`, or `the coolant of top` where it has no name of its own."""
    return f"the coolant of {face}" if environment == face else f"{environment} ({face})"


def ladder_bar(drop_K: float, even_K: float, longest_K: float) -> str:
    """The drop as a bar; the part of it that even flow explains is drawn solid."""
    length = round(LONGEST_BAR * max(drop_K, 0.0) / longest_K) if longest_K > 0.0 else 0
    solid = min(round(LONGEST_BAR * max(even_K, 0.0) / longest_K) if longest_K > 0.0 else 0, length)
    return EVEN * solid + SPREAD * (length - solid)


def _mesh(answer: dict[str, Any]) -> Block:
    at_limit = any(zone["mesh_note"] == TO_ITS_LIMIT for zone in (answer, *answer["zones"], *answer["probes"]))
    rows = tuple(
        (f"{step['cells']:,}".replace(",", " "), fixed(step["hottest_C"], ".3f"), f"{step['seconds']:.1f}")
        for step in answer["mesh"]
    )
    wanted = answer["accuracy_K"]
    held = (
        f"Accuracy held: no mesh doubt is above the {wanted:g} K asked for."
        if answer["status"] == "accuracy held"
        else f"ACCURACY NOT HELD: {wanted:g} K was asked for. What holds it, and what helps, is said on top."
    )
    note = f"{answer['mesh_note']}, " if answer["mesh_note"] else ""
    words = (
        f"hottest spot: {note}{order_in_words(answer['observed_order'])}; "
        f"widest doubt +- {doubt_in_words(answer['mesh_doubt_K'])} K at {answer['worst_at']}."
    )
    limit = ("Temperatures that settle on four grids are told at their limit at cells of no size.",)
    columns = (Column("cells"), Column("hottest [C]"), Column("time [s]"))
    return Block("Mesh study", columns=columns, rows=rows, notes=(words, *limit * at_limit, held))


_LISTS: Iterable[tuple[str, Any]] = (
    ("zones", _zones),
    ("readings", _readings),
    ("probes", _probes),
    ("flows", _flows),
    ("ladder", _ladder),
)
