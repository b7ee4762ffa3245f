"""When two options' warm-ups part, against the exact solution of two layered stacks."""

from __future__ import annotations

import pytest

from tests.transient.test_open_cases import EXACT, STEP, TIMES
from thermsim.case.load import parse_case
from thermsim.errors import ThermsimError
from thermsim.response.parting import parting
from thermsim.warming.warmup import warmup

AT = (1e-2, 1.0, 10.0)


def test_a_film_that_stores_is_felt_when_heat_has_reached_it_and_gains_as_the_exact_solutions_do() -> None:
    """Reference: both columns of tests/transient/test_open_cases.py; heat crosses the die in milliseconds."""
    of = {}
    for name in ("contact", "film that stores"):
        case = parse_case(f"title: {name}\nlayers:{EXACT[name][0]}{STEP}", "open.yaml")
        of[name] = warmup(case, 1e-3, 30.0, also_s=AT, first_cells=60)
    found = parting(of["contact"], of["film that stores"], ("zone", "all", "mean"), AT)
    (_, contact, end), (_, film, film_end) = EXACT["contact"], EXACT["film that stores"]
    assert found.final_K == pytest.approx(end - film_end, rel=1e-4)
    for time, (share, doubt) in found.shares.items():
        at = TIMES.index(time)
        exact = (contact[at] - film[at]) / (end - film_end)
        assert abs(share - exact) <= doubt
        assert doubt < 0.5 * exact or time == 10.0
    assert found.parts_s is not None and 1e-3 < found.parts_s < 1e-2
    with pytest.raises(ThermsimError, match="do not lie between"):
        parting(of["contact"], of["film that stores"], "zone all, mean", [1e-4])
    other = warmup(of["contact"].case, 1e-3, 20.0, first_cells=60, grids=3)
    with pytest.raises(ThermsimError, match="different times"):
        parting(of["contact"], other, "zone all, mean")
