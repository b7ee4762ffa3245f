"""What becomes of runs: held against full solves of the same chip at other coolants and loads, and planted faults."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benches import FILM, SETTINGS, bed, bench, demo, run, solved

from thermsim.bench.fates import Fates, fates
from thermsim.bench.runs import BenchSettings, Run, Settled
from thermsim.nearby.gradients import gradients

LIKE = [run("r01"), run("r02", mount="2", off_K=0.7), run("r03", mount="3", off_K=-0.4)]


def judged(*others: Run, settings: BenchSettings = SETTINGS) -> Fates:
    """Three runs alike, and others beside them."""
    return fates(demo(), bench(*LIKE, *others, settings=settings), bed())


def mean(values: dict[str, float]) -> float:
    return float(np.mean(list(values.values())))


def test_slopes_are_those_of_the_adjoint() -> None:
    """Differences of full solves, against derivatives by one adjoint solve a reading on the same grid."""
    found = bed().response(None, 31.0, 4.0, 1.0)
    powers = [f"{zone}.power_W" for zone in ("graphics", "cache", "memory", "input-output")]
    powers += [f"zones.C{number}.power_W" for number in range(8)]
    exact = gradients(demo(), multiplier=1, asked=[("reading", name) for name in found.readings],
                      paths=["water.fluid_C", *powers])  # fmt: skip
    for column, name in enumerate(found.readings):
        slopes = exact["reading", name]
        by_load = sum(slopes[path] * exact.known[path].value for path in powers)
        assert found.by_coolant(31.0, 1.0)[column] == pytest.approx(slopes["water.fluid_C"], rel=1e-3)
        assert found.by_load(31.0, 1.0)[column] == pytest.approx(by_load, rel=2e-3)


@pytest.mark.parametrize(
    ("option", "film_um"), [(None, None), (FILM, None), (FILM, 110.0)], ids=["base", "film", "film unlike the case's"]
)
@pytest.mark.parametrize(("coolant_C", "load"), [(35.0, 1.0), (27.0, 0.93), (33.0, 1.07), (31.0, 1.04)])
def test_a_run_is_put_back_to_what_a_full_solve_says(
    option: str | None, film_um: float | None, coolant_C: float, load: float
) -> None:
    """Also where the option does less than the case says, whose heat then leaks more at the same load."""
    found = judged(run("r04", option, "4", coolant_C, load, film_um))
    fate = found.fates[-1]
    assert fate.verdict == "corrected"
    assert fate.corrected is not None and fate.doubt_K is not None
    truth, _ = solved(option, found.coolant_C, found.load, film_um)
    off = mean(dict(fate.corrected.readings)) - mean(truth)
    assert abs(off) < 0.15
    assert abs(off) < fate.doubt_K
    assert {name: pytest.approx(value, abs=0.25) for name, value in truth.items()} == dict(fate.corrected.readings)


def test_what_a_run_lies_off_that_is_no_matter_of_coolant_or_load_stays() -> None:
    found = judged()
    assert [one.verdict for one in found.fates] == ["comparable"] * 3
    means = [mean(dict(one.readings)) for one in found.kept]
    assert means[1] - means[0] == pytest.approx(0.7, abs=0.02)
    assert (found.coolant_C, found.load) == (31.0, 1.0)


@pytest.mark.parametrize(
    ("odd", "words", "next_time"),
    [
        (replace(run("r04", mount="4"), fans_rpm=2100.0, coolant_C=None), "the fans ran at 2100 instead of 900",
         "coolant"),
        (replace(run("r04", mount="4"), coolant_C=None), "no `coolant_loop`", "coolant"),
        (replace(run("r04", mount="4"), coolant_C=None, room_C=None), "neither the coolant nor the room", "coolant"),
        (replace(run("r04", mount="4"), pump_percent=70.0), "the pump ran at 70 instead of 100 %", "pump"),
        (run("r04", mount="4", load=1.12), "12 % more load", "load it as"),
        (run("r04", mount="4", load=0.85), "15 % less load", "load it as"),
        (replace(run("r04", mount="4"), score=980.0), "2.0 % lower than that of the other runs at equal power",
         "clock"),
        (run("r04", mount="4", offsets={"C5": 20.5}), "C5 stands at the limit of 95 C", "less load"),
        (replace(run("r04", mount="4"), coolant_C=22.0, room_C=31.0), "columns look exchanged", "exchange both"),
        (run("r04", mount="4", coolant_C=48.0), "17 K warmer", "coolant like"),
        (replace(run("r04", mount="4"), on_load_s=8.0), "the load had been on for 8 s", "stand still"),
        (replace(run("r04", mount="4"), settled=Settled(None, 300.0, 2.5, "C3")), "C3 still moved by +2.5 K a minute",
         "stand still"),
    ],
)  # fmt: skip
def test_a_run_that_cannot_be_compared_is_refused_for_its_reason(odd: Run, words: str, next_time: str) -> None:
    *others, fate = judged(odd).fates
    assert fate.verdict == "not comparable"
    assert words in " ".join(fate.why)
    assert next_time in " ".join(fate.next_time)
    assert fate.corrected is None and fate.correction_K is None
    assert [one.verdict for one in others] == ["comparable"] * 3


def test_a_run_without_readings_is_still_to_be_made() -> None:
    *others, fate = judged(Run("r04", FILM, "4", 5)).fates
    assert fate.verdict == "to be made" and fate.corrected is None
    assert [one.verdict for one in others] == ["comparable"] * 3


def test_less_work_at_less_power_is_put_right_and_not_refused() -> None:
    fate = judged(run("r04", mount="4", load=0.95)).fates[-1]
    assert fate.verdict == "corrected"
    assert fate.correction_K == pytest.approx(2.4, abs=0.3)  # half a kelvin for each percent


def test_fans_differ_but_the_coolant_was_noted() -> None:
    fate = judged(replace(run("r04", mount="4", coolant_C=28.0), fans_rpm=2100.0)).fates[-1]
    assert fate.verdict == "corrected"
    assert "coolant 3.0 K colder: +3.5 K" in " ".join(fate.why)


def test_a_sensor_that_jumped_is_left_out_of_its_run() -> None:
    found = judged(run("r04", mount="4", offsets={"C6": 5.0}))
    fate = found.fates[-1]
    assert fate.verdict == "comparable"
    assert fate.corrected is not None
    truth, _ = solved(None, 31.0, 1.0)
    assert fate.corrected.readings["C6"] == pytest.approx(truth["C6"], abs=0.1)  # what it usually lies off stands in
    assert "C6 shows 5.0 K more in r04" in " ".join(fate.why)
    assert all("C6" in one.corrected.readings for one in found.fates[:3] if one.corrected)


def test_a_reading_that_was_not_noted_does_not_lower_the_mean_of_its_run() -> None:
    """C6 is one of the hottest: without it, the mean of a run would be lower."""
    odd = run("r04", mount="4", off_K=0.5)
    few = replace(odd, readings={name: value for name, value in odd.readings.items() if name != "C6"})
    found = judged(few)
    corrected = found.fates[-1].corrected
    assert corrected is not None
    assert mean(dict(corrected.readings)) == pytest.approx(mean(dict(odd.readings)), abs=0.1)
    assert "C6: not noted, taken as far off the others as usual" in " ".join(found.fates[-1].why)


def test_a_core_that_changes_with_an_option_is_no_fault_of_its_sensor() -> None:
    """A missing patch of film lies under one core: that is what the runs are made for."""
    film = [run(f"r0{4 + one}", FILM, f"{4 + one}", offsets={"C6": 7.0}) for one in range(3)]
    found = judged(*film)
    assert found.sensors == ()
    assert all("C6" in one.readings for one in found.kept)


def test_one_film_run_with_one_odd_core_is_told_and_kept() -> None:
    """A single run cannot tell a jumped sensor from a missing patch."""
    fate = judged(run("r04", FILM, "4", offsets={"C6": 7.0})).fates[-1]
    assert fate.corrected is not None and "C6" in fate.corrected.readings
    assert "its sensor jumped, or the film lacks there" in " ".join(fate.why)


def test_exchanged_sensors_are_put_back() -> None:
    odd = run("r04", mount="4", offsets={"C0": -3.0, "C5": 3.0})
    base = [replace(one, readings={**one.readings, "C0": one.readings["C0"] - 3.0, "C5": one.readings["C5"] + 3.0})
            for one in LIKE]  # fmt: skip
    swapped = dict(odd.readings, C0=odd.readings["C5"], C5=odd.readings["C0"])
    found = fates(demo(), bench(*base, replace(odd, readings=swapped)), bed())
    fate = found.fates[-1]
    assert "C0 and C5 look exchanged in r04: put back" in " ".join(fate.why)
    assert fate.corrected is not None
    assert fate.corrected.readings["C5"] - fate.corrected.readings["C0"] == pytest.approx(8.86, abs=0.1)


def test_a_stuck_sensor_is_left_out_of_all_its_runs() -> None:
    runs = [run(f"r0{one + 1}", mount=str(one), coolant_C=28.0 + 2.0 * one) for one in range(5)]
    stuck = [replace(one, readings={**one.readings, "C2": 71.0}) for one in runs]
    found = fates(demo(), bench(*stuck), bed())
    assert "C2 shows 71 C in 5 runs" in found.sensors[0].what
    assert all("C2" not in one.readings for one in found.kept)


def test_the_order_of_lines_does_not_matter() -> None:
    others = [
        run("r04", FILM, "4", 33.0), run("r05", FILM, "5", 30.0, off_K=0.5),
        replace(run("r06", FILM, "6"), fans_rpm=2100.0, coolant_C=None), run("r07", FILM, "7", offsets={"C1": -6.0}),
    ]  # fmt: skip
    runs = [*LIKE, *others]
    forth, back = fates(demo(), bench(*runs), bed()), fates(demo(), bench(*reversed(runs)), bed())
    assert {one.run.name: (one.verdict, one.correction_K, one.why) for one in forth.fates} == {
        one.run.name: (one.verdict, one.correction_K, one.why) for one in back.fates
    }
