"""What each input does to the doubt of a gain, which one to measure next and how well, and which are not fit for it.

Gains are base less option [K]. Contributions are those of an uncertainty budget: JCGM 100:2008, 5.1.3 (formula 11a) and
EA-4/02 M:2022, clause 4 (from memory). What to measure next, and what is unfit, is our own rule, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, floor, log10, sqrt

from thermsim.rounding import tolerance, with_tolerance

FINEST_SHARE = 0.05  # No measurement is proposed that would leave less than this share of the present half width.
UNFIT_RELATIVE = 1.0 / 3.0  # half width over value from which on an input may be unfit to decide by
HALF_PERCENT = 0.005  # half of one percent, to which probabilities are told


# ---- contributions ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class InputShare:
    """One input's part in the doubt of a gain.

    value, half_width : in `unit`; sensitivity : kelvin of gain per `unit`
    uncertainty_K : standard uncertainty of the gain by this input alone; share : of the variance of the gain, 0 to 1
    measurable : False for what nobody can measure before the step
    is_ratio : whether nothing is its zero; a place or a temperature has an arbitrary one, and no relative width
    """

    name: str
    value: float
    half_width: float
    unit: str
    sensitivity: float
    uncertainty_K: float
    share: float
    measurable: bool = True
    is_ratio: bool = True

    @property
    def half_width_K(self) -> float:
        """By how much the gain moves when the input moves by its half width, along a straight line."""
        return abs(self.sensitivity) * self.half_width


def unfit(one: InputShare, gain_K: float, worth_K: float = 0.0, remedy: str = "") -> str | None:
    """In words, why an input is not fit for the question; None where it is.

    It is unfit where its half width is a third of its value or more, and moves the gain by as much as the gain lies
    away from what is worth it. An input about zero (an offset), a place or a temperature has no relative
    width and is not judged.
    remedy : a better way to find the input, as a sentence
    """
    if not one.is_ratio or one.value == 0.0 or one.half_width < UNFIT_RELATIVE * abs(one.value):
        return None
    if one.half_width_K <= 0.0 or one.half_width_K < abs(gain_K - worth_K):
        return None
    known = f"{one.name} is known as {with_tolerance(one.value, one.half_width)} {one.unit}".rstrip()
    if one.half_width >= abs(one.value):
        known += ", so it may be nothing at all or twice as much"
    return (
        f"{known}. That alone moves the gain ({gain_K:.2g} K, held against {worth_K:g} K) by {one.half_width_K:.2g} K "
        f"either way: the tolerance decides, not the option. {remedy or f'Find {one.name} in a better way first.'}"
    )


# ---- the next measurement ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class NextMeasurement:
    """What to measure next, and to within what.

    name, half_width : None where no single measurement settles the decision; `words` say why
    chance : that it falls by then, as the measured value may come out elsewhere; None where nothing is to be measured
    """

    name: str | None
    half_width: float | None
    unit: str
    chance: float | None
    words: str


def measure_next(
    shares: Sequence[InputShare], gain_K: float, low_K: float, high_K: float, worth_K: float, uncertainty_K: float
) -> NextMeasurement:
    """The input that settles whether a gain exceeds `worth_K`, and the widest half width that does.

    The interval [low_K, high_K] of the gain shrinks with its standard uncertainty, `uncertainty_K`. The end on the side
    of `worth_K` must come to stand beyond it: what the other inputs leave of that is for this one. The input of the
    largest share needs the least accuracy. That holds if the input is measured where it is thought to be; the chance
    that the decision falls looks at all values that it may turn out to have (normal, along a straight line).
    """
    if not low_K <= worth_K <= high_K:
        return NextMeasurement(None, None, "", None, "Nothing needs to be measured: it is settled as it stands.")
    ranked = sorted((one for one in shares if one.measurable and one.share > 0.0), key=lambda one: -one.share)
    if not ranked or uncertainty_K <= 0.0:
        words = "No input that can be measured carries the doubt: only mounts on the bench can settle it."
        return NextMeasurement(None, None, "", None, words)
    first, distance = ranked[0], gain_K - worth_K
    factors = (gain_K - low_K) / uncertainty_K, (high_K - gain_K) / uncertainty_K
    factor = factors[0] if distance > 0.0 else factors[1]
    own = first.share * uncertainty_K**2
    rest = max(uncertainty_K**2 - own, 0.0)
    left = ((distance / factor) ** 2 if factor > 0.0 else 0.0) - rest
    if left >= FINEST_SHARE**2 * own:
        half = _rounded_down(first.half_width * min(1.0, sqrt(left / own)))
        chance = _chance(distance, own, rest, half / first.half_width, factors)
        return NextMeasurement(first.name, half, first.unit, chance, _to_do(first, half, chance))
    chance = _chance(distance, own, rest, 0.0, factors)
    if left > 0.0:
        why = f"it would have to be measured {floor(sqrt(own / left))} times as well as now"
    else:
        why = f"even without it the gain stays open by +-{factor * sqrt(rest):.2g} K, and it lies "
        right_at = abs(distance) < HALF_PERCENT * uncertainty_K
        why += "right at" if right_at else f"only {abs(distance):.2g} K from"
        why += f" the {worth_K:g} K asked for"
    words = (
        f"No single measurement is sure to settle it: {first.name} carries most of the doubt ({percent(first.share)}), "
        f"but if it is still {_with(first.value, first.unit)} then, {why}; measured well, it settles it only if it "
        f"turns out far enough from that (chance: {percent(chance)})."
    )
    return NextMeasurement(None, None, "", chance, words)


def _to_do(one: InputShare, half_width: float, chance: float) -> str:
    where = f"still {_with(one.value, one.unit)}" if one.value != 0.0 else "still zero"
    wanted, now = _with(half_width, one.unit), f"{tolerance(one.half_width)} {one.unit}".rstrip()
    return (
        f"Measure {one.name} next, to within {wanted} (now {now}). "
        f"If it is {where} then, that settles it; if not, the gain moves too (chance that it settles it: "
        f"{percent(chance)})."
    )


def _chance(distance: float, own: float, rest: float, ratio: float, factors: tuple[float, float]) -> float:
    """Probability that the interval about the gain as it will be known excludes what is worth it.

    The gain moves by a normal amount of variance own (1 - ratio^2), and own ratio^2 + rest is left of its variance.
    """
    moves, remains = sqrt(own * (1.0 - ratio**2)), sqrt(own * ratio**2 + rest)
    if moves == 0.0:
        return float(distance > factors[0] * remains or -distance > factors[1] * remains)
    above = _normal((distance - factors[0] * remains) / moves)
    return min(1.0, above + _normal((-distance - factors[1] * remains) / moves))


def _normal(standard: float) -> float:
    return 0.5 * erfc(-standard / sqrt(2.0))


# ---- words ---------------------------------------------------------------------------------------------------------


def percent(share: float) -> str:
    """Whole percent, never a certainty that is none."""
    if 0.0 < share < HALF_PERCENT:
        return "less than 1 %"
    if 1.0 - HALF_PERCENT < share < 1.0:
        return "more than 99 %"
    return f"{100.0 * share:.0f} %"


def _rounded_down(width: float) -> float:
    """To two digits: a half width that is asked for must do."""
    step = 10.0 ** (floor(log10(width)) - 1)
    return float(f"{floor(width / step * (1.0 + 1e-9)) * step:.2g}")


def _with(number: float, unit: str) -> str:
    return f"{number:g} {unit}".rstrip()
