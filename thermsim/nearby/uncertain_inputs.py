"""What is uncertain in a base and its options: inputs that they share vary together, what one owns varies by itself.

An input is shared where the base and an option hold the same number of the case file. What an option gives itself is
another film, another part, another batch: it varies independently, also of an option that gives the same number and
of a base whose number is equal, unless the option says `same_as_base`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from thermsim.case.inputs.spread import Spread
from thermsim.case.inputs.values import inputs
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.nearby.sample_solver import Sample

SHARED = "shared"
LEAST_SHARE = 1e-3  # the least a positive number is drawn as, as a share of its value


@dataclass(frozen=True)
class UncertainInput:
    """One uncertain input.

    of : "shared", or the name of the case that owns it
    paths : its address in each case, None where the case does not have it
    """

    input: Input
    of: str
    paths: tuple[str | None, ...]

    @property
    def acts_on(self) -> tuple[bool, ...]:
        """For each case, whether the input is one of it."""
        return tuple(path is not None for path in self.paths)

    @property
    def spread(self) -> Spread:
        """How it is spread, held to what such a number may be; a length in plan to its tolerance, whatever its shape:
        farther out the outlines of a stack run into one another."""
        one = self.input
        low, high = one.bounds.least(one.value, LEAST_SHARE), one.bounds.high
        if one.acts_on == "plan":
            low, high = max(low, one.value - one.plus_minus), min(high, one.value + one.plus_minus)
        return Spread(one.value, one.plus_minus, one.shape, one.freedom, low, high)

    @property
    def name(self) -> str:
        """The address of the number, and whose it is where not everyone's."""
        return self.input.path if self.of == SHARED else f"{self.input.path} ({self.of})"


def variables(cases: Sequence[Case], names: Sequence[str]) -> tuple[UncertainInput, ...]:
    """The uncertain inputs of a base (the first case) and its options, those of the base first."""
    held: dict[tuple[object, ...], list[Input | None]] = {}
    for number, case in enumerate(cases):
        for one in inputs(case):
            if one.plus_minus > 0.0 and one.acts_on != "nothing":
                key = (*case.identity_of(one.steps), one.spread)
                held.setdefault(key, [None] * len(cases))[number] = one
    found = []
    for row in held.values():
        owners = [number for number, one in enumerate(row) if one is not None]
        first = row[owners[0]]
        assert first is not None
        of = SHARED if len(owners) > 1 or len(cases) == 1 else names[owners[0]]
        found.append(UncertainInput(first, of, tuple(None if one is None else one.path for one in row)))
    return tuple(found)


def sample_of(varied: Sequence[UncertainInput], values: Sequence[float]) -> Sample:
    """The numbers of each case that differ, for one value of each variable."""
    count = len(varied[0].paths) if varied else 0
    samples: list[dict[str, float]] = [{} for _ in range(count)]
    for one, value in zip(varied, values, strict=True):
        for sample, path in zip(samples, one.paths, strict=True):
            if path is not None:
                sample[path] = value
    return tuple(samples)
