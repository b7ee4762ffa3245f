"""Is the mesh doubt honest? Random stacks whose answer is known, predicted at the accuracy of a new case.

Each stack is written as a case file's text: one to three layers, joints between them, one to five rectangles heated on
the top face, a film below. Its exact zone means and highest temperatures are the summed series of the rectangular flux
channel (Muzychka, Culham, Yovanovich, J. Electron. Packag. 125 (2003) 178). Asked for: at least 95 % of the true errors
within the doubt, and a doubt not wider than ten true errors in the median. Our own gates, no source.
"""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermsim.case.load import parse_case
from thermsim.errors import ThermsimError
from thermsim.mesh.predict import predict
from thermsim.progress import Progress
from thermsim.proof.closed_form.flux_channel import Channel, ChannelLayer
from thermsim.proof.run.random_stacks import Stack, exact_of

Array = NDArray[np.float64]

SEED = 20_263
COVERED, WIDTHS = 0.95, 10.0
SHARES = (0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.98)


@dataclass(frozen=True, eq=False)
class Honesty:
    """True errors and doubts [K] of all zone temperatures, means and highest apart.

    held : of the stacks, how many reached the accuracy asked for; seconds : it took
    refused : numbers of the stacks that got no answer, with the reason: no doubt to judge, but to be told
    """

    stacks: int
    held: int
    seed: int
    means: tuple[Array, Array]
    peaks: tuple[Array, Array]
    refused: tuple[str, ...]
    seconds: float

    @property
    def both(self) -> tuple[Array, Array]:
        """Errors and doubts [K] of means and highest temperatures together."""
        return np.concatenate([self.means[0], self.peaks[0]]), np.concatenate([self.means[1], self.peaks[1]])

    @property
    def holds(self) -> bool:
        """Whether the doubts cover as often as they say, and are not needlessly wide."""
        error, doubt = self.both
        return bool(covered(error, doubt) >= COVERED and widths(error, doubt)[SHARES.index(0.5)] <= WIDTHS)


def covered(error: Array, doubt: Array) -> float:
    """Share of the true errors that lie within their doubt."""
    return float(np.mean(error <= doubt))


def widths(error: Array, doubt: Array) -> Array:
    """Quantiles (of SHARES) of the doubt over the true error."""
    return np.asarray(np.quantile(doubt / np.maximum(error, 1e-12), SHARES))


def judge(
    stacks: int,
    seed: int = SEED,
    progress: Progress | None = None,
    memory_GB: float | None = None,
) -> Honesty:
    """Predict random stacks and hold their doubts against their true errors; `memory_GB` as in `predict`."""
    start, rng = time.perf_counter(), np.random.default_rng(seed)
    found: dict[str, list[tuple[float, float]]] = {"mean": [], "highest": []}
    held, refused = 0, []
    for number in range(stacks):
        if progress is not None:
            progress(f"random stack {number + 1} of {stacks}")
        stack = draw(rng)
        try:
            prediction = predict(stack.case, memory_GB=memory_GB)
        except ThermsimError as error:
            refused.append(f"stack {number}: {error.what}")
            continue
        held += prediction.status == "accuracy held"
        for question, exact in stack.exact.items():
            doubt = prediction.doubts[question]
            found[question[-1]].append((abs(doubt.value - exact), doubt.half_width))
    means, peaks = (np.array(found[kind]).T for kind in ("mean", "highest"))
    seconds = time.perf_counter() - start
    return Honesty(stacks, held, seed, (means[0], means[1]), (peaks[0], peaks[1]), tuple(refused), seconds)


def draw(rng: np.random.Generator) -> Stack:
    """One random stack."""
    a, b = (float(side) for side in rng.uniform(10, 45, 2))
    count = int(rng.integers(1, 4))
    layers: list[dict[str, Any]] = []
    channel: list[ChannelLayer] = []
    for number in range(count):
        k, thickness = float(10 ** rng.uniform(0.7, 2.7)), float(10 ** rng.uniform(-0.3, 0.6))
        in_plane = k * float(rng.choice([1.0, 1.0, 10 ** rng.uniform(-0.5, 1.0)]))
        resistance = float(10 ** rng.uniform(0, 1.7)) if number < count - 1 else 0.0
        material = {"in_plane_W_mK": in_plane, "through_W_mK": k}
        layers.append({"part": f"layer {number}", "material": material, "size_mm": [a, b], "thickness_mm": thickness})
        if resistance:
            layers.append({"joint": f"joint {number}", "resistance_mm2K_W": resistance})
        channel.append(ChannelLayer(1e-3 * thickness, in_plane, k, 1e-6 * resistance))
    film = float(10 ** rng.uniform(3, 4.5))
    zones = _zones(rng, a, b)
    whole = {
        "title": "a random stack",
        "layers": layers[::-1],
        "heat": [{"in": "layer 0", "at": "top", "zones": zones}],
        "cooling": [{"face": "bottom", "film_W_m2K": film, "fluid_C": 0.0}],
    }
    case = parse_case(json.dumps(whole, indent=1), "random.yaml")
    closed = Channel(1e-3 * a, 1e-3 * b, tuple(channel), film)
    return Stack(case, exact_of(closed, zones), closed, zones)


def _zones(rng: np.random.Generator, a: float, b: float) -> list[dict[str, Any]]:
    """Rectangles in different columns of the plate, so that they never overlap."""
    count = int(rng.integers(1, 6))
    edges = np.linspace(0.05 * a, 0.95 * a, count + 1)
    zones = []
    for number in range(count):
        room = float(edges[number + 1] - edges[number])
        size_x, size_y = float(rng.uniform(0.3, 1.0) * room), float(rng.uniform(0.15, 0.8) * b)
        corner = [float(edges[number] + rng.uniform(0, room - size_x)), float(rng.uniform(0, b - size_y))]
        watts = float(rng.uniform(2, 40))
        zones.append({"zone": f"z{number}", "corner_mm": corner, "size_mm": [size_x, size_y], "power_W": watts})
    return zones
