"""How a change is spread over the readings: by what each gained more or less than their mean, and whether it leans.

Offsets of sensors take themselves out, and so does what all cores of a mount share. A film that is thicker towards one
side leaves its mean to all cores and takes from those over its thick side: the change then leans. Whether it does is
told from mounts as a gain is: the slope over the die of each mount is one number, with a scatter of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.corrected import Corrected
from thermsim.bench.statistics.gain import MeasuredGain, gain
from thermsim.bench.statistics.mounts import Prior, pooled_variance, scatter
from thermsim.case.geometry.places import probe_point, zone_box
from thermsim.case.geometry.zones import zone_of
from thermsim.case.vocabulary.schema import Case

Array = NDArray[np.float64]
Axis = Literal["x", "y"]

# How much a mount tilts: of the difference between both ends of the readings, one standard deviation; a third of what
# a mount moves them all by, on each side (common practice, no source). And what one reading scatters by beside that.
TILT, ONE_READING = Prior(0.5, 6.0), Prior(0.45, 6.0)
SURE = 0.98  # coverage of a slope that is called one: of even films, 4 in 100 are called uneven for two directions
FEWEST = 4  # readings from which a slope is told
AXES: tuple[Axis, ...] = ("x", "y")


@dataclass(frozen=True)
class Pattern:
    """How one change is spread.

    off_K : by reading, how much more than the mean of all it gained [K]
    doubt_K : half width of each, nine times in ten
    at_mm : where the readings sit, in plan [mm]
    leans : by axis, the gain at the far end of the readings less that at the near end, from mounts; only axes along
        which readings lie apart
    """

    option: str | None
    against: str | None
    off_K: Mapping[str, float]
    doubt_K: float
    at_mm: Mapping[str, tuple[float, float]]
    leans: Mapping[Axis, MeasuredGain]

    @property
    def towards(self) -> tuple[str, ...]:
        """Sides where less was gained, surely: `+x`, `-y`."""
        return tuple(
            f"{'-' if one.value_K > 0.0 else '+'}{axis}"
            for axis, one in self.leans.items()
            if one.low_K > 0.0 or one.high_K < 0.0
        )

    @property
    def words(self) -> str:
        """Whether it leans, and what that may be."""
        if not self.leans:
            return "Too few readings to see whether the change leans."
        told = []
        for axis, one in self.leans.items():
            side = "-" if one.value_K > 0.0 else "+"
            if one.low_K > 0.0 or one.high_K < 0.0:
                told.append(
                    f"towards {side}{axis} it gained {abs(one.value_K):.1f} +- {one.half_width_K:.1f} K less than at "
                    "the other end"
                )
        if not told:
            return "It does not lean more than mounts do."
        what = f"a film that is thicker towards {' and '.join(self.towards)}"
        return f"It leans: {'; '.join(told)}, as with {what}."


def pattern(
    case: Case, runs: Sequence[Corrected], pair: tuple[str | None, str | None], readings: Sequence[str]
) -> Pattern:
    """Of a pair of options (option, against), over readings that all their runs have."""
    option, against = pair
    at = {name: place for name, place in places_mm(case).items() if name in readings}
    tables = {one: _mounts(runs, one, readings) for one in dict.fromkeys(run.option for run in runs) if one in pair}
    means = {one: table.mean(axis=0) for one, table in tables.items()}
    change = means[against] - means[option]
    squares = sum(float(((table - table.mean(axis=0)) ** 2).sum()) for table in tables.values()) / len(readings)
    degrees = sum(len(table) - 1 for table in tables.values())
    variance, _ = pooled_variance(squares, degrees, ONE_READING)
    each = float(variance) ** 0.5 * (1.0 / len(tables[against]) + 1.0 / len(tables[option])) ** 0.5
    leans = {}
    if len(readings) >= FEWEST:
        for axis, weights in _slopes(np.array([at[name] for name in readings])).items():
            by_mount = {one: table @ weights for one, table in tables.items()}
            known = scatter(list(by_mount.values()), TILT)
            leans[axis] = gain(by_mount[against], by_mount[option], known, 0.0, SURE)
    return Pattern(
        option, against, dict(zip(readings, change.tolist(), strict=True)), 1.645 * each, at, leans
    )  # fmt: skip


def _mounts(runs: Sequence[Corrected], option: str | None, readings: Sequence[str]) -> Array:
    """(mounts, readings) each mount's readings less their mean, its runs averaged."""
    rows: dict[str, list[Array]] = {}
    for run in runs:
        if run.option == option:
            values = np.array([run.readings[name] for name in readings])
            rows.setdefault(run.mount, []).append(values - values.mean())
    return np.array([np.mean(row, axis=0) for row in rows.values()])


def _slopes(places: Array) -> dict[Axis, Array]:
    """Weights of readings that give the difference between the far and the near end of a plane through them."""
    from_middle = places - places.mean(axis=0)
    reach = np.ptp(places, axis=0)
    has = [number for number in range(2) if reach[number] > 0.0]
    columns = np.column_stack([np.ones(len(places)), *(from_middle[:, number] / reach[number] for number in has)])
    if np.linalg.matrix_rank(columns) < columns.shape[1]:
        return {}
    inverse = np.linalg.pinv(columns)
    return {AXES[number]: inverse[row + 1] for row, number in enumerate(has)}


def places_mm(case: Case) -> dict[str, tuple[float, float]]:
    """Where each reading sits in plan [mm], in the coordinates of the stack; the middle of its zone."""
    found = {}
    for one in case.readings:
        if one.probe is not None:
            x, y, _ = probe_point(case, next(probe for probe in case.probes if probe.probe == one.probe))
        else:
            known = zone_of(case, one)
            part = next(part for part in case.parts if part.part == known.part)
            x0, y0, x1, y1 = zone_box(case, part, known.given)
            x, y = 0.5 * (x0 + x1), 0.5 * (y0 + y1)
        found[one.reading] = (x, y)
    return found
