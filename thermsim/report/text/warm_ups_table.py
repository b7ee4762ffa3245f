"""Options side by side in time as blocks of text: each temperature of each case, and what each option gains when."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from thermsim.comparison.warm_ups import WarmUps
from thermsim.mesh.prediction_remarks import is_grave
from thermsim.report.text.blocks import Block, Column
from thermsim.report.text.warmup_table import load_in_words, settled_in_words, shown_times, span_in_words, time_in_words
from thermsim.report.words.numbers import UNKNOWN, plain, with_doubt
from thermsim.response.parting import AT_S
from thermsim.rounding import two_digits_up
from thermsim.warming.outcome import Warmup

SMALL_REST = 0.1  # share of what is gained on the way: of a smaller final gain no share is told


def warm_ups_blocks(found: WarmUps) -> list[Block]:
    """What is shown of options side by side."""
    base = found.found[0]
    span = f"{time_in_words(float(found.times_s[0]))} to {time_in_words(float(found.times_s[-1]))}"
    loads = [load_in_words(one) for one in found.found]
    lines = [f"{loads[0]}; followed from {span}"]
    lines += [f"{name}: {own}" for name, own in zip(found.names, loads, strict=True) if own != loads[0]]
    head = Block(f"{found.case.title}: options side by side", lines=tuple(lines))
    told = list(_remarks(found))
    grave = tuple(words for words, is_one in told if is_one)
    others = tuple(words for words, is_one in told if not is_one)
    at = shown_times(base, base.load)
    blocks = [head, *([Block("Read first", notes=grave)] if grave else [])]
    blocks += [_temperatures(found, at), _gains(found, at), *_shares(found), _rests(found)]
    return [*blocks, Block("Remarks", notes=others)] if others else blocks


def _remarks(found: WarmUps) -> Iterator[tuple[str, bool]]:
    """Every remark once, with those that it is of unless that is all, and whether it is grave."""
    of: dict[str, list[str]] = {}
    for name, one in zip(found.names, found.found, strict=True):
        for remark in one.remarks:
            of.setdefault(remark, []).append(name)
    for remark, names in of.items():
        whose = "" if len(names) == len(found.names) else f" (of: {'; '.join(names)})"
        yield remark + whose, is_grave(remark)


def _heads(found: WarmUps, at: list[int]) -> list[Column]:
    return [Column(time_in_words(float(found.times_s[index]))) for index in at]


def _temperatures(found: WarmUps, at: list[int]) -> Block:
    columns = [Column("[C]", right=False), Column("before"), *_heads(found, at), Column("end"), Column("settled")]
    rows = []
    for one in found.temperatures:
        rows.append((str(one).removeprefix("the "), *[""] * (len(columns) - 1)))
        for name, of in zip(found.names, found.found, strict=True):
            if one not in of.curves:
                continue
            curve = of.curves[one]
            rows.append(
                (
                    f"- {name}",
                    plain(curve.unheated, curve.loaded_doubt, 2),
                    *(plain(float(curve.value[index]), float(curve.half_width[index]), 2) for index in at),
                    plain(curve.loaded_C, curve.loaded_doubt, 2),
                    settled_in_words(curve),
                )
            )
    doubts = "; ".join(f"{name} {_widest(of)} K" for name, of in zip(found.names, found.found, strict=True))
    notes = (
        f"Doubt at most, of all at all times: {doubts}. Tolerances of the inputs are not in it.",
        f"Settled: from then on within {found.found[0].settled_K:g} K of the end; {UNKNOWN} where that is after the "
        "last time, or the doubts are wider than that until then.",
    )
    return Block("Temperatures over time", columns=tuple(columns), rows=tuple(rows), notes=notes)


def _widest(of: Warmup) -> str:
    return two_digits_up(max(float(np.max(curve.half_width)) for one, curve in of.curves.items() if not one.is_heat))


def _gains(found: WarmUps, at: list[int]) -> Block:
    columns = [Column("[K]", right=False), *_heads(found, at), Column("end"), Column("+-"), Column("felt from")]
    rows = []
    for one in found.temperatures:
        rows.append((str(one).removeprefix("the "), *[""] * (len(columns) - 1)))
        for name, gain in found.gains(one).items():
            felt = UNKNOWN if gain.parts_s is None else time_in_words(gain.parts_s)
            cells = (plain(float(gain.gain_K[index]), float(gain.doubt_K[index]), 2) for index in at)
            widest = max(float(np.max(gain.doubt_K)), gain.final_doubt_K)
            end = plain(gain.final_K, gain.final_doubt_K, 2)
            rows.append((f"- {name}", *cells, end, two_digits_up(widest), felt))
    notes = (
        f"By what each option is colder than the base ({found.names[0]}). +-: the doubts of both together, at most.",
        f"Felt from: from then on the gain, or loss, is larger than these doubts at every time; {UNKNOWN} where it is "
        "not at the last time. `thermsim compare` judges the ends with the tolerances.",
    )
    return Block("Gain over time", columns=tuple(columns), rows=tuple(rows), notes=notes)


def _shares(found: WarmUps) -> list[Block]:
    """What share of the final gain is there at some times."""
    at = [time for time in AT_S if found.times_s[0] <= time <= found.times_s[-1]]
    if not at or found.found[0].load is not None:
        return []
    columns = [Column("share of the final gain", right=False), *(Column(time_in_words(time)) for time in at)]
    rows = []
    for one in found.temperatures:
        rows.append((str(one).removeprefix("the "), *[""] * len(at)))
        for name, gain in found.gains(one).items():
            most = float(np.abs(gain.gain_K).max())
            known = abs(gain.final_K) > max(gain.final_doubt_K, SMALL_REST * most)
            rows.append((f"- {name}", *(_share(*gain.shares[time]) if known else UNKNOWN for time in at)))
    notes = (
        f"With the doubts of both; below zero where the option is warmer first, {UNKNOWN} where the final gain is no "
        f"larger than its doubt, or than {SMALL_REST:g} of what is gained or lost on the way.",
    )
    return [Block("Share of the final gain that is there", columns=tuple(columns), rows=tuple(rows), notes=notes)]


def _share(share: float, doubt: float) -> str:
    return f"{with_doubt(100.0 * share, 100.0 * doubt, 1)} %"


def _rests(found: WarmUps) -> Block:
    """How long to wait before a second run of each."""
    columns = [Column("", right=False), Column("rest"), Column("coolant noted"), Column("longest", right=False)]
    rows = tuple(
        (name, span_in_words(of.rest.seconds), span_in_words(of.rest.noted_s), str(of.rest.last))
        for name, of in zip(found.names, found.found, strict=True)
    )
    notes = (
        f"Switched off for so long, a second run repeats the first within {found.found[0].settled_K:g} K; "
        f"coolant noted: with a loop, and readings put to the same coolant; longest: what takes longest; {UNKNOWN} "
        "where that is after the last time, where the doubts are wider, or where there is no loop.",
        *(
            f"{name}: how long to rest is not known: {of.rest.why}."
            for name, of in zip(found.names, found.found, strict=True)
            if of.rest.why is not None
        ),
    )
    return Block("Rest before a second run", columns=tuple(columns), rows=rows, notes=notes)
