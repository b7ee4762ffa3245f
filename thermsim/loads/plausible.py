"""Watts of a load that are far from what the case types: most likely another unit."""

from __future__ import annotations

from collections.abc import Sequence

from thermsim.case.vocabulary.schema import Case
from thermsim.case.vocabulary.warm_up import LoadStep
from thermsim.errors import CaseError, Fault
from thermsim.plausibility.dimensions import heat_W

# Of the power of the case, beyond which a load is told in another unit: milliwatts are a thousand times as many.
MOST, LEAST = 50.0, 1.0 / 50.0


def unlikely(case: Case, most_W: float) -> str | None:
    """What is wrong with the largest power of a load; None if it may well be."""
    typed = sum(heat_W(case, one) for one in case.heat)
    if typed <= 0.0 or most_W == 0.0 or LEAST <= most_W / typed <= MOST:
        return None
    unit = "milliwatts" if most_W > typed else "kilowatts"
    return (
        f"the load is {most_W:.4g} W at most, {most_W / typed:.3g} times what the case makes ({typed:.4g} W): "
        f"give watts, not {unit}, or mend the powers of the case"
    )


def check_watts(case: Case, steps: Sequence[LoadStep]) -> None:
    """Raises CaseError where watts of steps are in another unit, or the case has no power that they could be of."""
    watts = [step.package_W if step.zones_W is None else sum(step.zones_W.values()) for step in steps]
    known = [each for each in watts if each is not None]
    if not known:
        return
    told = unlikely(case, max(known))
    if told is not None:
        place = watts.index(max(known))
        raise CaseError([Fault(case.file or "load", *case.mark("warmup", "load", place), told)])
