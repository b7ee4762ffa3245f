"""What is uncertain in a base and its options: inputs that they share vary together, what one owns varies by itself.

An input is shared where the base and an option hold the same number with the same tolerance under one address. Where
an option gives a number of its own, it is another film, another part, another batch: it varies independently, also of
an option that gives the same number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from thermsim.case.inputs.spread import Spread
from thermsim.case.inputs.values import Input, inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.nearby.samples import Sample
from thermsim.units import COLDEST_C

SHARED = "shared"
LEAST = 1e-3  # of its value is the least that a number above zero is drawn as


@dataclass(frozen=True)
class Variable:
    """One uncertain input.

    of : "shared", or the name of the case that owns it
    acts_on : for each case, whether the input is one of it
    """

    input: Input
    of: str
    acts_on: tuple[bool, ...]

    @property
    def spread(self) -> Spread:
        """How it is spread, held to what such a number may be."""
        one = self.input
        floors = {"not negative": 0.0, "temperature": COLDEST_C, "any": -inf}
        most = 1.0 if one.sign == "fraction" else inf
        return Spread(one.value, one.plus_minus, one.shape, one.freedom, floors.get(one.sign, LEAST * one.value), most)

    @property
    def name(self) -> str:
        return self.input.path if self.of == SHARED else f"{self.input.path} ({self.of})"


def variables(cases: Sequence[Case], names: Sequence[str]) -> tuple[Variable, ...]:
    """The uncertain inputs of a base (the first case) and its options, those of the base first."""
    base = {one.path: one for one in inputs(cases[0]) if one.plus_minus > 0.0}
    held = [{one.path: one for one in inputs(case) if one.plus_minus > 0.0} for case in cases]
    found = []
    for path, one in base.items():
        acts_on = tuple(path in own and _same(own[path], one) for own in held)
        found.append(Variable(one, SHARED if sum(acts_on) > 1 or len(cases) == 1 else names[0], acts_on))
    for number in range(1, len(cases)):
        for path, one in held[number].items():
            if path not in base or not _same(base[path], one):
                found.append(Variable(one, names[number], tuple(other == number for other in range(len(cases)))))
    return tuple(found)


def _same(one: Input, other: Input) -> bool:
    return (one.value, one.plus_minus, one.shape, one.freedom) == (
        other.value,
        other.plus_minus,
        other.shape,
        other.freedom,
    )


def sample_of(varied: Sequence[Variable], values: Sequence[float]) -> Sample:
    """The numbers of each case that differ, for one value of each variable."""
    count = len(varied[0].acts_on) if varied else 0
    return tuple(
        {one.input.path: value for one, value in zip(varied, values, strict=True) if one.acts_on[case]}
        for case in range(count)
    )
