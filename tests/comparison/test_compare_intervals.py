"""Does the interval of a gain hold the exact gain? Random stacks and options of them against the summed series.

Series of the rectangular flux channel (Muzychka, Culham, Yovanovich, J. Electron. Packag. 125 (2003) 178), summed in
`thermsim.proof`. No input has a tolerance, so that an interval holds the mesh doubt alone. Asked for: the exact gain
lies in its own "9 in 10" interval 9 times in 10 or more, and the told gain always does.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from counts import counts

from thermsim.case.load import parse_case
from thermsim.comparison.compare import compare
from thermsim.proof.closed_form.flux_channel import Channel
from thermsim.proof.run.honesty import draw
from thermsim.proof.run.random_stacks import exact_of

SEED, MANY_SEED = 20_281, 20_283
ASKED = 0.90


@dataclass(frozen=True)
class Judged:
    """One gain: its interval, what is told, and what is true [K]."""

    low: float
    high: float
    told: float
    exact: float


def changed(channel: Channel, zones: list[dict[str, Any]], rng: np.random.Generator) -> tuple[Any, Channel, list[Any]]:
    """A random option (changes as a case file has them), and the closed form with it: a part thinner or thicker, a
    better or worse conductor, another film, or less heat in a zone."""
    number, factor = int(rng.integers(len(channel.layers))), float(rng.uniform(0.67, 1.5))
    layers, kind = list(channel.layers), int(rng.integers(4))
    if kind == 0:
        layers[number] = replace(layers[number], thickness_m=factor * layers[number].thickness_m)
        changes: dict[str, Any] = {f"layer {number}.thickness_mm": 1e3 * layers[number].thickness_m}
        return changes, replace(channel, layers=tuple(layers)), zones
    if kind == 1:
        one = layers[number]
        better = replace(one, in_plane_W_mK=factor * one.in_plane_W_mK, through_W_mK=factor * one.through_W_mK)
        layers[number] = better
        material = {"in_plane_W_mK": better.in_plane_W_mK, "through_W_mK": better.through_W_mK}
        return {f"layer {number}.material": material}, replace(channel, layers=tuple(layers)), zones
    if kind == 2:
        film = factor * channel.film_W_m2K
        return {"bottom.film_W_m2K": film}, replace(channel, film_W_m2K=film), zones
    less = {**zones[0], "power_W": factor * zones[0]["power_W"]}
    return {f"zones.{less['zone']}.power_W": less["power_W"]}, channel, [less, *zones[1:]]


def judged(stacks: int, seed: int, accuracy_K: float) -> list[Judged]:
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(stacks):
        stack = draw(rng)
        options = [changed(stack.channel, stack.zones, rng) for _ in range(2)]
        whole = json.loads(stack.case.source_text)
        whole["options"] = [
            {"option": f"o{number}", "changes": changes} for number, (changes, *_) in enumerate(options)
        ]
        told = compare(parse_case(json.dumps(whole), "random.yaml"), accuracy_K=accuracy_K, memory_GB=0.4, samples=256)
        for one, (_, channel, zones) in zip(told.options, options, strict=True):
            exact = exact_of(channel, zones)
            found += [
                Judged(gain.interval.low, gain.interval.high, gain.value_K, stack.exact[short] - exact[short])
                for gain in one.gains
                if (short := (gain.question.kind, gain.question.name, gain.question.takes)) in exact
            ]
    return found


def shares(found: list[Judged], accuracy_K: float) -> tuple[float, float]:
    """How many gains hold the exact gain, and the told one, of all; prints them."""
    exact = float(np.mean([one.low <= one.exact <= one.high for one in found]))
    told = float(np.mean([one.low <= one.told <= one.high for one in found]))
    off = [abs(one.exact - one.told) for one in found]
    width = np.median([0.5 * (one.high - one.low) / max(miss, 1e-12) for one, miss in zip(found, off, strict=True)])
    print(
        f"\n{len(found)} gains at {accuracy_K:g} K: exact inside {100 * exact:.1f} %, told inside {100 * told:.1f} %, "
        f"half width over true error {width:.1f} in the median, true error up to {max(off):.3g} K"
    )
    return exact, told


def test_interval_holds_the_exact_gain_and_the_told_one() -> None:
    exact, told = shares(judged(2, SEED, 0.5), 0.5)
    assert exact >= ASKED
    assert told == 1.0


@pytest.mark.parametrize("stacks", counts(12, 80))
@pytest.mark.parametrize("accuracy_K", [0.5, 0.05])
def test_interval_of_a_thousand_gains(accuracy_K: float, stacks: int) -> None:
    found = judged(stacks, MANY_SEED, accuracy_K)
    exact, told = shares(found, accuracy_K)
    assert len(found) >= (1000 if stacks == 80 else 120)
    assert exact >= ASKED
    assert told == 1.0
