"""Exact steps of bodies under loads known at samples: against closed forms of one body."""

from __future__ import annotations

import numpy as np
import pytest

from thermsim.loads.stepping import stepped

RATE = 0.25  # [1/s]


def test_a_load_on_and_off_swings_between_the_limits_of_its_geometric_series() -> None:
    """A body on for a, off for b, again and again: f/r (1 - e^(-r a)) / (1 - e^(-r (a+b))) at the end of each time on.

    The sum of a geometric series of what each time on leaves behind, by hand.
    """
    on, off, blocks = 3.0, 5.0, 40
    times = np.concatenate([[block * (on + off), block * (on + off) + on] for block in range(blocks)])
    driven = np.tile([2.0, 0.0], blocks)[:, None]
    states = stepped(
        np.append(times, blocks * (on + off)), np.append(driven, [[0.0]], axis=0), np.array([RATE]), "constant"
    )
    hottest = 2.0 / RATE * -np.expm1(-RATE * on) / -np.expm1(-RATE * (on + off))
    assert states[-2, 0] == pytest.approx(hottest, rel=1e-12)
    assert states[-1, 0] == pytest.approx(hottest * np.exp(-RATE * off), rel=1e-12)


def test_a_ramp_lags_behind_by_its_time_constant() -> None:
    """y' + r y = s t from rest: y = s/r (t - (1 - e^(-r t))/r), any textbook of linear systems, by hand."""
    times = np.array([0.0, 0.1, 0.7, 4.0, 30.0])
    states = stepped(times, 3.0 * times[:, None], np.array([RATE]), "line")
    exact = 3.0 / RATE * (times + np.expm1(-RATE * times) / RATE)
    assert states[:, 0] == pytest.approx(exact, abs=1e-12)


@pytest.mark.parametrize("between", ["constant", "line"])
def test_a_step_cut_into_pieces_is_the_same_step(between: str) -> None:
    rates = np.array([0.0, 1e-9, 0.3, 40.0])
    whole = np.array([0.0, 10.0])
    pieces = np.linspace(0.0, 10.0, 7)
    f = (2.0 * np.ones(7) if between == "constant" else np.linspace(1.0, 5.0, 7))[:, None] * np.ones(4)
    once = stepped(whole, f[[0, -1]], rates, between)  # type: ignore[arg-type]
    often = stepped(pieces, f, rates, between)  # type: ignore[arg-type]
    assert often[-1] == pytest.approx(once[-1], rel=1e-12)
    assert once[-1, 0] == pytest.approx(20.0 if between == "constant" else 30.0, rel=1e-12)
