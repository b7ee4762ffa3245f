"""What a case takes as exact: numbers without a tolerance. Whatever they are off by is in no interval."""

from __future__ import annotations

from collections.abc import Iterable

from thermsim.case.inputs.values import inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case

MOST_POWERS = 3  # powers of zones that are named one by one


def exact_inputs(case: Case) -> list[Input]:
    """Numbers that act on an answer and have no tolerance."""
    return [one for one in inputs(case) if not one.plus_minus and one.acts_on != "nothing"]


def exact_lines(exact: Iterable[Input]) -> list[str]:
    """`top.film_W_m2K 14000 W/m2K`, one each, outlines last; many powers, and what is drawn, in one."""
    exact = list(exact)
    drawn = [one for one in exact if one.acts_on == "plan" and one.steps[0] in ("heat", "probes")]
    powers = [one for one in exact if one.steps[0] == "heat" and one.key == "power_W"]
    many = powers if len(powers) > MOST_POWERS else []
    rest = sorted((one for one in exact if one not in drawn + many), key=lambda one: one.acts_on == "plan")
    words = [f"{one.path} {one.value:g} {one.unit}".rstrip() for one in rest]
    return (
        [f"the powers of {len(many)} zones"] * bool(many)
        + words
        + ["places and sizes of zones and probes"] * bool(drawn)
    )
