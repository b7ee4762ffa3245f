"""A coolant that was not noted, told by the loop of the case: against the loop solved with the stack, and in time."""

from __future__ import annotations

from dataclasses import replace

import pytest
from benches import SETTINGS, bench

import thermsim
from thermsim.bench.corrections import Warming
from thermsim.bench.fates import fates
from thermsim.bench.responses import Bed
from thermsim.bench.runs import Run
from thermsim.case.vocabulary.schema import Case


@pytest.fixture(scope="module")
def case() -> Case:
    return thermsim.read_case("cases/second-run.yaml")


@pytest.fixture(scope="module")
def bed(case: Case) -> Bed:
    return Bed.of(case)


def run_at(bed: Bed, name: str, coolant_C: float, **noted: object) -> Run:
    response = bed.response(None, bed.coolant_C(), 6.0, 1.0)
    *values, made_W, _ = response.at(coolant_C, 1.0).tolist()
    given = {"on_load_s": 3600.0, "coolant_C": coolant_C, "package_W": made_W, "fans_rpm": 900.0, **noted}
    return Run(name, None, name, 2, **given, readings=dict(zip(response.readings, values, strict=True)))  # type: ignore[arg-type]


def test_a_settled_loop_tells_its_coolant(case: Case, bed: Bed) -> None:
    """Room as in the case: the coolant is the one that is solved with the stack."""
    assert case.coolant_loop is not None
    own, room = bed.coolant_C(), case.coolant_loop.room_C.value
    likes = [run_at(bed, f"r{number}", own, room_C=room) for number in (1, 2, 3)]
    silent = replace(run_at(bed, "r4", own, room_C=room), coolant_C=None)
    found = fates(case, bench(*likes, silent), bed)
    told = found.fates[-1].circumstances
    assert told is not None
    assert told.coolant_C == pytest.approx(own, abs=0.05)
    assert "the coolant was not noted" in found.fates[-1].why[0]
    assert found.fates[-1].verdict == "comparable"
    assert told.radiator_K > 0.1  # what the radiator's conductance is off by is in its doubt, shared by all such runs


def test_too_short_a_load_tells_nothing(case: Case, bed: Bed) -> None:
    own = bed.coolant_C()
    likes = [run_at(bed, f"r{number}", own, room_C=23.0) for number in (1, 2, 3)]
    early = replace(run_at(bed, "r4", own, room_C=23.0), coolant_C=None, on_load_s=200.0)
    fate = fates(case, bench(*likes, early), bed).fates[-1]
    assert fate.verdict == "not comparable"
    assert "the loop had not settled" in " ".join(fate.why)


def test_a_lag_of_a_warming_coolant_is_put_right(case: Case, bed: Bed) -> None:
    own = bed.coolant_C()
    warming = Warming.of(case, bed.response(None, own, 6.0, 1.0))
    lag_K = warming.rate_K_s(240.0) * SETTINGS.noted_to.lag_s
    assert lag_K > 0.1
    likes = [run_at(bed, f"r{number}", own) for number in (1, 2, 3)]
    early = replace(run_at(bed, "r4", own), on_load_s=240.0, coolant_C=own - lag_K)
    fate = fates(case, bench(*likes, early), bed).fates[-1]
    assert fate.circumstances is not None
    assert fate.circumstances.coolant_C == pytest.approx(own, abs=1e-6)
    assert "of its rise still to go" in " ".join(fate.why)


@pytest.mark.slow
def test_the_time_constant_of_the_loop_is_that_of_the_whole(case: Case, bed: Bed) -> None:
    """One body beside a quick stack, against the slowest time constant of the stack with its loop in time."""
    told = Warming.of(case, bed.response(None, bed.coolant_C(), 6.0, 1.0)).constant_s
    whole = thermsim.warmup(case, 10.0, 1e4, accuracy_K=5.0, first_cells=1000).slowest_s
    assert told == pytest.approx(whole, rel=0.1)
