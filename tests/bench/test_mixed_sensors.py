"""Sensors unlike one another: a thermocouple on the lid beside cores hardly follows a film, and is not at fault."""

from __future__ import annotations

from dataclasses import replace

import pytest
from lidded_chip import THIN, judged, run


@pytest.mark.parametrize(("base", "film"), [(1, 1), (3, 1), (3, 3), (2, 5)])
@pytest.mark.parametrize("like", [THIN, None], ids=["as in the case", "a film that does nothing"])
def test_a_lid_that_a_film_does_not_cool_is_no_sensor_at_fault(base: int, film: int, like: str | None) -> None:
    """Cores fall by 11 K, the lid by 0.1 K: whole kelvin show the same in all runs. Nor do films that fall short."""
    off_K = (0.3, -0.4, 0.1, -0.2, 0.4)
    runs = [run(number, None, off_K[number]) for number in range(base)]
    runs += [run(10 + number, THIN, off_K[number], like=like) for number in range(film)]
    found = judged(*runs)
    assert found.sensors == ()
    assert all("lid" in one.readings for one in found.kept)


def test_a_lid_that_is_stuck_while_its_coolant_moves_is_found() -> None:
    runs = [run(number, coolant_C=24.0 + 3.0 * number) for number in range(5)]
    stuck = [one if number < 1 else replace(one, readings={**one.readings, "lid": 41.0})
             for number, one in enumerate(runs)]  # fmt: skip
    found = judged(*stuck)
    assert [fault.reading for fault in found.sensors if fault.left_out] == ["lid"]


def test_a_core_that_jumped_in_one_run_is_found_beside_a_lid() -> None:
    runs = [*(run(number) for number in range(3)), *(run(10 + number, THIN) for number in range(3))]
    odd = replace(runs[4], readings={**runs[4].readings, "B": runs[4].readings["B"] + 6.0})
    found = judged(*runs[:4], odd, *runs[5:])
    assert [(fault.runs, fault.reading, fault.left_out) for fault in found.sensors] == [((odd.name,), "B", True)]
