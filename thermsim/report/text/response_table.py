"""Step responses as blocks of text: Zth at powers of ten of time, the resistance matrix, chain and ladder of a zone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from thermsim.mesh.prediction_remarks import is_grave
from thermsim.report.text.blocks import Block, Column
from thermsim.report.text.warmup_table import shown_times, time_in_words
from thermsim.report.words.numbers import UNKNOWN, plain, significant
from thermsim.response.step_response import StepResponse
from thermsim.response.structure import Structure
from thermsim.rounding import two_digits_up

Array = NDArray[np.float64]

DECIMALS = 4  # of a resistance [K/W], at most
LEAST_SHARE = 0.05  # of what a time constant stores, from which on a part is named


def response_blocks(found: StepResponse, zones: Sequence[str] | None = None) -> list[Block]:
    """What is shown of step responses. zones : whose way is shown; the one with the largest resistance unless given"""
    grave = tuple(remark for remark in found.remarks if is_grave(remark))
    others = tuple(remark for remark in found.remarks if not is_grave(remark))
    blocks = [_head(found), *([Block("Read first", notes=grave)] if grave else []), _own(found)]
    for zone in zones or [found.most_resistant]:
        way = found.structure(zone)
        blocks += [_by(found, zone), _constants(way), _ladder(way), *([_way(way)] if way.stretches else [])]
    blocks += [_matrix(found), *_moved(found), _grids(found)]
    return [*blocks, Block("Remarks", notes=others)] if others else blocks


def _head(found: StepResponse) -> Block:
    case = found.case
    title = case.title if case.option is None else f"{case.title}, with: {case.option}"
    span = f"{time_in_words(float(found.times_s[0]))} to {time_in_words(float(found.times_s[-1]))}"
    lines = (
        f"Zth: what a watt in a zone, from time 0 on, warms each zone and probe by; followed from {span}",
        f"longest time constant: {time_in_words(found.longest_s)}",
    )
    return Block(f"{title}: step responses", lines=lines)


def _rows(found: StepResponse, names: Sequence[str], pairs: Sequence[tuple[int, int]]) -> tuple[tuple[str, ...], ...]:
    at = shown_times(found)
    rows = []
    for name, (row, column) in zip(names, pairs, strict=True):
        values, widths = found.zth[:, row, column], found.half_width[:, row, column]
        end, of_end = found.resistance[row, column], found.resistance_doubt[row, column] + found.time_doubt[row, column]
        cells = (plain(float(values[index]), float(widths[index]), DECIMALS) for index in at)
        widest = two_digits_up(max(float(widths.max()), float(of_end)))
        rows.append((name, *cells, plain(float(end), float(of_end), DECIMALS), widest))
    return tuple(rows)


def _columns(found: StepResponse) -> tuple[Column, ...]:
    heads = [time_in_words(float(found.times_s[index])) for index in shown_times(found)]
    return (Column("[K/W]", right=False), *map(Column, heads), Column("end"), Column("+-"))


def _own(found: StepResponse) -> Block:
    names = found.network.inputs
    rows = _rows(found, names, [(at, at) for at in range(len(names))])
    notes = ("+-: mesh and time doubt together, the largest of all times. Tolerances of the inputs are not in it.",)
    return Block("Zth of each zone by its own watt", columns=_columns(found), rows=rows, notes=notes)


def _by(found: StepResponse, zone: str) -> Block:
    column = found.network.inputs.index(zone)
    names = found.network.outputs
    rows = _rows(found, names, [(at, column) for at in range(len(names))])
    return Block(f"Zth by a watt in {zone}", columns=_columns(found), rows=rows)


def _matrix(found: StepResponse) -> Block:
    widths = found.resistance_doubt + found.time_doubt
    columns = (Column("by a watt in", right=False), *map(Column, found.network.inputs))
    rows = tuple(
        (name, *(plain(value, width, DECIMALS) for value, width in zip(values, of_each, strict=True)))
        for name, values, of_each in zip(found.network.outputs, found.resistance.tolist(), widths.tolist(), strict=True)
    )
    notes = (f"In K/W, each known to {two_digits_up(float(widths.max()))} K/W or better.",)
    return Block("Steady resistance matrix", columns=columns, rows=rows, notes=notes)


def _constants(way: Structure) -> Block:
    columns = (Column("time constant"), Column("R [K/W]"), Column("share"), Column("stored in", right=False))
    whole = float(way.foster.resistance_K_W.sum())
    rows = []
    for resistance, constant, shares in zip(*way.foster, way.stored, strict=True):
        named = [(share, name) for share, name in zip(shares.tolist(), way.places, strict=True) if share >= LEAST_SHARE]
        stored = ", ".join(f"{name} {100 * share:.0f} %" for share, name in sorted(named, reverse=True))
        share = f"{100 * resistance / whole:.1f} %"
        rows.append((time_in_words(float(constant)), significant(float(resistance), 3), share, stored))
    notes = (
        "A sum of R (1 - exp(-t / time constant)); stored in: where the heat of each lies while it dies away. "
        "Constants below the first time asked stand for all that is quicker.",
    )
    return Block(f"Time constants of {way.zone} (Foster chain)", columns=columns, rows=tuple(rows), notes=notes)


def _ladder(way: Structure) -> Block:
    columns = tuple(map(Column, ("R [K/W]", "C [J/K]", "sum R [K/W]", "sum C [J/K]")))
    rows = tuple(
        tuple(significant(float(value), 3) for value in stage)
        for stage in zip(*way.cauer, way.cumulative_K_W, way.cumulative_J_K, strict=True)
    )
    notes = (
        "From the zone on: each capacitance, then the resistance behind it. The sums are the cumulative structure "
        "function of JESD51-14; what stands last is the surroundings, whose capacitance has no end.",
    )
    return Block(f"Ladder of {way.zone} (Cauer)", columns=columns, rows=rows, notes=notes)


def _way(way: Structure) -> Block:
    heads = ("R [K/W]", "from", "to [K/W]", "ladder [J/K]", "stores [J/K]", "bend")
    columns = (Column("crossed", right=False), *map(Column, heads))
    rows = tuple(
        (
            one.item,
            fixed_K_W(one.to_K_W - one.from_K_W),
            fixed_K_W(one.from_K_W),
            fixed_K_W(one.to_K_W),
            significant(one.ladder_J_K, 3),
            UNKNOWN if one.stores_J_K is None else significant(one.stores_J_K, 3),
            UNKNOWN if one.stores_J_K is None else ("yes" if one.is_bend else "no"),
        )
        for one in way.stretches
    )
    notes = [
        "Where the steady temperatures of the watt fall, part by part. Bend: whether the ladder stores on this stretch "
        "about what the part does, so that its bend in the structure function is that of the part; where heat still "
        "spreads, or part of it leaves by another way, the ladder stores less."
    ]
    if way.beside:
        others = ", ".join(f"{name} {significant(store, 3)} J/K" for name, store in way.beside)
        notes.append(f"Beside this way store: {others}.")
    return Block(f"From {way.zone} to the coolant", columns=columns, rows=rows, notes=tuple(notes))


def _moved(found: StepResponse) -> list[Block]:
    """What tolerances of a coolant loop move."""
    moved, given = found.moved_by_loop(), found.case.coolant_loop
    if not moved:
        return []
    columns = (Column("number", right=False), Column("known as"), Column("at most [K]"), Column("last [K]"))
    rows = []
    for name, kelvins in moved.items():
        number = getattr(given, name)
        known = f"{number.value:g} +- {number.plus_minus:g}"
        most, last = (significant(float(of.max()), 2) for of in (kelvins, kelvins[-1]))
        rows.append((name, known, most, last))
    notes = (
        "Of the case at its own powers, after a start from rest: the zone or probe that is moved most, at any time, "
        f"and after {time_in_words(float(found.times_s[-1]))}.",
    )
    return [Block("What tolerances of the loop move", columns=columns, rows=tuple(rows), notes=notes)]


def fixed_K_W(value: float) -> str:
    """A resistance as it stands among others."""
    return plain(value, 10.0 ** -(DECIMALS + 1), DECIMALS)


def _grids(found: StepResponse) -> Block:
    columns = tuple(map(Column, ("cells", "solves", "iterations", "seconds")))
    rows = tuple(
        (f"{step.cells:,}", f"{step.solves}", f"{step.iterations}", f"{step.seconds:.1f}") for step in found.steps
    )
    return Block("Grids", columns=columns, rows=rows)
