"""What is said of loads over time, and the load as it is mended: one row a kind of message."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from remedies import SMALL, OfCall, OfCase, Row
from remedies_of_solving import EXACT, LEAKS, RUNS_AWAY, SMOOTH
from remedies_of_solving import tiny as case_of

from thermsim.case.vocabulary.schema import Case
from thermsim.loads.load import Load
from thermsim.loads.log import read_load
from thermsim.warming.planned import planned
from thermsim.warming.warmup import warmup

AT_END = "accuracy_K: 0.1\n"
LOG = "time_s,package_W\n0,{0}\n1,{0}\n2,{0}\n"


def of_case(load: str, told: str, mended: str) -> OfCase:
    broken = f"{AT_END}warmup: {{{load}}}\n"
    return OfCase(((AT_END, broken),), told, ((broken, f"{AT_END}warmup: {{{mended}}}\n"),), SMALL)


def until(seconds: float) -> object:
    log = Load(np.array([0.0, 1.0]), np.array([[1.0], [0.5]]), (), True, ends_s=2.0, source="power.csv")
    return planned(case_of(base=EXACT), 1.0, seconds, None, log)


def long_log(case: Case, most: float) -> object:
    """A log of shares that changes more often than the whole model is followed through."""
    seconds = np.arange(0.0, 40.0)
    shares = most * (0.75 + 0.25 * np.cos(seconds))[:, None]
    return warmup(case, 1.0, load=Load(seconds, shares, (), True, ends_s=40.0), first_cells=60, grids=3)


def joined(shares: bool) -> object:
    """A ramp down, of a case whose power leaks."""
    unit = 1.0 if shares else 10.0
    load = Load(np.array([0.0, 2.0]), np.array([[unit], [0.5 * unit]]), (), shares, "line", ends_s=2.0)
    return warmup(case_of(LEAKS, base=EXACT), 1.0, 2.0, load=load, first_cells=60, grids=3)


def logged(text: str) -> Callable[..., object]:
    def read(folder: Path, *found: Any) -> object:
        (folder / "power.csv").write_text(text.format(*found) if found else text, encoding="utf-8")
        return read_load(folder / "power.csv", case_of(base=EXACT))

    return read


HELD = ("limits: {reading_C: 90}", "limits: {reading_C: 90, holds_back: true}")
STEPS: list[dict[str, float]] = [{"at_s": 0.0, "share": 1.0}, {"at_s": 60.0, "share": 0.25}]

ROWS: list[Row] = [
    of_case("from_s: 2, until_s: 1", "give the first time first, both in seconds", "from_s: 1, until_s: 2"),
    of_case(
        "load: [{at_s: 3, share: 1}]",
        r"what is on before\? Put `({at_s: 0, share: 0})` before it for nothing",
        "load: [{at_s: 0, share: 0}, {at_s: 3, share: 1}]",
    ),
    of_case(
        "load: [{at_s: 0, share: 1}, {at_s: 9, share: 0}, {at_s: 4, share: 1}]",
        "4 s stands after 9 s; put them in order, each time once",
        "load: [{at_s: 0, share: 1}, {at_s: 4, share: 1}, {at_s: 9, share: 0}]",
    ),
    of_case(
        "load: [{at_s: 0, share: 1}, {at_s: 9, package_W: 20}]",
        "tell all steps of a load in one way",
        "load: [{at_s: 0, share: 1}, {at_s: 9, share: 0.5}]",
    ),
    of_case(
        "load: [{at_s: 0, zones_W: {c0: 9}}]",
        "`zones_W`: there is no zone 'c0'; did you mean `(C0)`",
        "load: [{at_s: 0, zones_W: {{0}: 9}}]",
    ),
    of_case("load: [{at_s: 0}]", "or `zones_W`: give one of these", "load: [{at_s: 0, share: 1}]"),
    of_case("log: a.csv, load: [{at_s: 0, share: 1}]", "leave one of them out", "log: a.csv"),
    of_case("samples: points", "leave it out, or give the `log`", "log: a.csv, samples: points"),
    OfCall(lambda _: until(3.0), "ask until then, `--until ([0-9.]+)`", lambda _, last: until(float(last))),
    OfCall(
        lambda _: planned(case_of(base=EXACT), load=[{"at_s": 0.0}]),
        "give steps as in a case, such as ",
        lambda _: planned(case_of(base=EXACT), load=STEPS),
    ),
    OfCall(
        lambda _: warmup(case_of(HELD, base=EXACT), 1.0, 2.0, load=STEPS),
        "leave `holds_back` out, or the load",
        lambda _: warmup(case_of(base=EXACT), 1.0, 2.0, load=STEPS, first_cells=60),
    ),
    OfCall(
        lambda _: long_log(case_of(SMOOTH), 1.5),
        "type a `power_W` for the package that is at least ([0-9.]+) times as large",
        lambda _, most: long_log(case_of(SMOOTH, ("power_W: 20", f"power_W: {20 * float(most)}")), 1.0),
    ),
    OfCall(
        lambda _: warmup(case_of(RUNS_AWAY), 1.0, 2.0, load=STEPS),
        "lower the powers of the case, or give the load in watts",
        lambda _: warmup(case_of(RUNS_AWAY), 1.0, 2.0, load=[{"at_s": 0.0, "package_W": 20.0}], first_cells=60),
    ),
    OfCall(
        lambda _: joined(True),
        "or give the load in watts, which hold what leaks",
        lambda _: joined(False),
    ),
    OfCall(logged(LOG.format("-1")), "power is 0 or above", logged(LOG.format("0"))),
]
