"""Cases to begin with: each reads without a fault, shows no slip, and its first comparison says something."""

from __future__ import annotations

import pytest

from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.commands.start import LIKE
from thermsim.comparison.compare import compare
from thermsim.limits.afford import afford
from thermsim.model.storage import check_capacities
from thermsim.plausibility.measure import measure
from thermsim.start.kinds import KINDS, starter_text


def test_the_command_offers_every_kind() -> None:
    assert tuple(KINDS) == LIKE


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_has_what_every_study_asks_for(kind: str) -> None:
    case = parse_case(starter_text(kind))
    assert case.worth_K and case.one_mount_K and case.readings and case.options and case.clock is not None
    assert not [slip for slip in measure(case).slips if slip.severity != "notice"]
    assert "invented" in starter_text(kind)


@pytest.mark.slow
@pytest.mark.parametrize(
    "kind", [pytest.param(kind, marks=[] if kind == "slice" else [pytest.mark.long]) for kind in KINDS]
)
def test_the_first_comparison_and_clock_say_something(kind: str) -> None:
    """One gain is told apart from nothing, and the case as typed can afford a clock."""
    case = parse_case(starter_text(kind))
    found = compare(case, samples=128, accuracy_K=0.5, workers=1)
    assert all(one.prediction.status == "accuracy held" for one in found.options)
    gains = [one.headline.interval for one in found.options]
    assert any(interval.low > 0.0 for interval in gains)
    assert afford(case, accuracy_K=1.0).answers[0].affordable is not None


def test_what_one_begins_with_can_warm_up() -> None:
    """Time needs what films and parts store: each kind says it, so that the next command works too."""
    for kind in KINDS:
        case = parse_case(starter_text(kind))
        for one in (case, *(with_option(case, option.option) for option in case.options)):
            check_capacities(one)
