"""Warm-ups of drawn cases: however they are asked for, against predictions, and rests by a second run simulated."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from coarse_grids import begin_coarsely
from drawn_cases import ACCURACY_K, CELLS, FIRST_CELLS
from generated import Drawn, as_text, drawn, read, write_tables
from rewritten import storing
from test_ways_agree_in_time import with_stores

from thermsim.case.options import with_option
from thermsim.commands.main import commands
from thermsim.comparison.warm_ups import warm_ups, within
from thermsim.mesh.predict import predict
from thermsim.model.powers import scaled_power
from thermsim.readout.answers import answers
from thermsim.readout.observable import COOLANT, Answers, Observable
from thermsim.report.data.warmup_result import document, side_by_side
from thermsim.transient.balance import Balance, Balanced
from thermsim.transient.grid import films_of
from thermsim.transient.march import March
from thermsim.warming.outcome import Warmup
from thermsim.warming.warmup import warmup

FROM_S, UNTIL_S = 1e-2, 2e3
STEP_K = 0.02  # of the steps of simulated runs
SHARE = 0.05  # of its largest rise, to within which a run repeats


@pytest.fixture(autouse=True)
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    begin_coarsely(monkeypatch, CELLS, FIRST_CELLS)
    monkeypatch.setitem(warmup.__kwdefaults__, "first_cells", FIRST_CELLS)
    monkeypatch.setitem(warm_ups.__kwdefaults__, "first_cells", FIRST_CELLS)


# ---- a second run ---------------------------------------------------------------------------------------------------


class Bench:
    """The stack of a warm-up on its last grid, loaded and at rest in turns: the whole model, step by step."""

    def __init__(self, found: Warmup) -> None:
        self.case, self.model, self.guess = found.case, found.field.model, found.field.guess
        self.films = films_of(found.case, self.model, float(found.times_s[0]), found.steps[-1].multiplier)

    def settled(self, share: float) -> Balanced:
        return Balance(scaled_power(self.model, share), self.films, self.guess).settled()

    def after(
        self, share: float, start: Balanced, times: np.ndarray, asked: Iterable[Observable]
    ) -> tuple[list[Answers[float]], Balanced]:
        """Answers at times [s] after a share of the power came on, and the state at the last one."""
        march, found, wanted = March(scaled_power(self.model, share), self.films, self.guess, STEP_K), [], list(times)
        at = start
        for step in march.steps(march.begin(start), float(times[-1]), 0.1 * FROM_S):
            while wanted and wanted[0] <= step.end.time_s:
                found.append(answers(self.case, march.field(step, float(wanted.pop(0))), list(asked)))
            at = step.end.at
        return found, at


def warmed(one: Drawn) -> Warmup:
    case = read(*storing(one))
    field = predict(case, accuracy_K=ACCURACY_K).field
    rise = max(1.0, float(np.nanmax(field.temperature)) - field.model.coldest_C)
    return warmup(case, FROM_S, UNTIL_S, settled_K=SHARE * rise, accuracy_K=0.3 * SHARE * rise)


@pytest.mark.slow
@pytest.mark.parametrize("number", [58, 202, 262])
def test_after_the_rest_told_a_second_run_repeats_the_first(number: int) -> None:
    """At any time of both runs, and what is settled stays near its end; coolants of loops are put to the same."""
    found = warmed(drawn(number))
    within = found.settled_K
    bench, times = Bench(found), np.geomspace(FROM_S, UNTIL_S, 9)
    places = [one for one in found.curves if one.kind == "reading"]
    places = places or [one for one in found.curves if not one.is_heat and one != COOLANT]
    asked = [*places, *([COOLANT] if COOLANT in found.curves else [])]
    cold, loaded = bench.settled(0.0), bench.settled(1.0)
    first, _ = bench.after(1.0, cold, times, asked)
    room = 3.0 * STEP_K + 0.02 * within
    for one in places:
        latest, end = found.curves[one].settled_s, found.curves[one].loaded.value
        if latest is not None:
            (there,), _ = bench.after(1.0, cold, np.array([latest[1]]), [one])
            assert abs(there[one] - end) <= within + room, one
    for span, per_kelvin in ((found.rest.seconds, 0.0), (found.rest.noted_s, found.rest.per_kelvin)):
        if span is None:
            continue
        _, left = bench.after(0.0, loaded, np.array([span[1]]), asked)
        second, _ = bench.after(1.0, left, times, asked)
        for before, again in zip(first, second, strict=True):
            warmer = again[COOLANT] - before[COOLANT] if per_kelvin else 0.0
            off = {one: again[one] - before[one] - per_kelvin * warmer for one in places}
            assert max(map(abs, off.values())) <= within + room, (span, off)


# ---- asked for in another way ---------------------------------------------------------------------------------------


def plain_document(told: dict[str, Any]) -> dict[str, Any]:
    """As a program reads it, without how long it took."""
    found: dict[str, Any] = json.loads(json.dumps(told))
    for one in found.get("warm_ups", [found]):
        for grid in one["grids"]:
            del grid["seconds"]
    return found


@pytest.mark.slow
@pytest.mark.parametrize("number", [103, 202])
def test_side_by_side_alone_and_by_the_command_warm_ups_are_the_same(number: int, tmp_path: Path) -> None:
    one = with_stores(number)
    one.whole["options"] = drawn(number).whole["options"]
    case = one.case
    found = warm_ups(case, FROM_S, 1e2, accuracy_K=ACCURACY_K)
    shares_s = within(np.array([FROM_S, 1e2]))  # side by side, what is there of a gain by then is told as well
    alone = [
        warmup(each, FROM_S, 1e2, also_s=shares_s, accuracy_K=ACCURACY_K)
        for each in (case, with_option(case, found.names[1]))
    ]
    for together, single in zip(found.found, alone, strict=True):
        assert plain_document(document(together)) == plain_document(document(single))
    for asked in found.temperatures:
        for gain in found.gains(asked).values():
            base, changed = (each.curves[asked] for each in alone)
            off = np.abs(gain.gain_K - (base.value - changed.value))
            assert np.all(off <= 1e-12) and np.all(gain.doubt_K >= np.maximum(base.half_width, changed.half_width))
            felt = np.abs(gain.gain_K) > gain.doubt_K
            later = [time for row, time in enumerate(found.times_s.tolist()) if felt[row:].all()]
            assert gain.parts_s == (later[0] if later else None)
    for single in alone:  # what a warm-up ends at is what a prediction of the case tells
        made = predict(single.case, accuracy_K=ACCURACY_K)
        for asked, curve in single.curves.items():
            both = curve.loaded.half_width + made.doubts[asked].half_width
            assert curve.loaded.value == pytest.approx(made.doubts[asked].value, abs=both + 1e-6), asked
    write_tables(one.tables, tmp_path)
    (tmp_path / "case.yaml").write_text(as_text(one.whole))
    words = ["warmup", str(tmp_path / "case.yaml"), "--json", "--from", str(FROM_S), "--until", "100"]
    words += ["--accuracy", str(ACCURACY_K), "--all-options"]
    done = CliRunner().invoke(commands, words)
    assert done.exit_code == 0, done.output
    assert plain_document(json.loads(done.stdout)) == plain_document(side_by_side(found))
