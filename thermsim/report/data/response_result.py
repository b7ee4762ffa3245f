"""Step responses as plain documents: JSON and lines of CSV, with the meaning of every key."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

import numpy as np

from thermsim.report.data.versions import thermsim_version
from thermsim.response.step_response import StepResponse
from thermsim.response.structure import Structure

RESPONSE_KEYS: dict[str, str] = {
    "title": "title of the case",
    "option": "option that the case was changed by; null for the case as written",
    "thermsim": "version that made the result",
    "status": "`accuracy held` or `accuracy not held`: whether the case at its own powers is known to `accuracy_K` at "
    "all times",
    "accuracy_K": "that was asked for [K]",
    "remarks": "what must be said beside the numbers",
    "inputs": "zones that make heat; a watt in each",
    "outputs": "what answers: the same zones (means) first, then probes, then the coolant of a loop",
    "times_s": "times after the watt came on [s]",
    "zth_K_W": "at each time, for each of `outputs`, for each of `inputs`: rise for a watt [K/W]",
    "mesh_doubt_K_W": "the same way: half width by the grids",
    "time_doubt_K_W": "for each of `outputs`, for each of `inputs`: half width of the small model, at all times",
    "resistance_K_W": "the steady resistance matrix: what `zth_K_W` ends at",
    "resistance_doubt_K_W": "its half width by the grids",
    "structures": "the way of the heat from each zone to the coolant",
    "structures[].zone": "the zone",
    "structures[].foster": "its own response as a chain: resistances and time constants, shortest first",
    "structures[].cauer": "the same as a ladder, from the zone on: resistances, and the capacitances before them",
    "structures[].stored": "for each time constant, what share of what it stores lies in each part and film",
    "structures[].stretches": "parts, joints and films on the way: from which cumulative resistance to which, what the "
    "ladder stores between, what the part has in all (null: nothing of its own), and whether it shows as a bend",
    "structures[].beside": "parts and films that store beside this way [J/K]",
    "network": "what `read_network` reads, to be replayed",
    "longest_s": "longest time constant [s]",
    "held_K": "how far properties that are held still may hold the case's own load off on the way [K]",
    "moved_by_loop_K": "for each number of the coolant loop with a tolerance: at each time, for each of `outputs`, by "
    "how much that moves the case at its own powers [K]",
    "grids": "the grids climbed, coarsest first",
}


def document(found: StepResponse) -> dict[str, Any]:
    """The whole result for programs."""
    return {
        "title": found.case.title,
        "option": found.case.option,
        "thermsim": thermsim_version(),
        "status": found.status,
        "accuracy_K": found.accuracy_K,
        "remarks": list(found.remarks),
        "inputs": list(found.network.inputs),
        "outputs": list(found.network.outputs),
        "times_s": found.times_s.tolist(),
        "zth_K_W": found.zth.tolist(),
        "mesh_doubt_K_W": found.mesh_doubt.tolist(),
        "time_doubt_K_W": found.time_doubt.tolist(),
        "resistance_K_W": found.resistance.tolist(),
        "resistance_doubt_K_W": found.resistance_doubt.tolist(),
        "structures": [_structure(found.structure(zone)) for zone in found.network.inputs],
        "network": found.network.document(),
        "longest_s": found.longest_s,
        "held_K": found.held_K,
        "moved_by_loop_K": {name: moved.tolist() for name, moved in found.moved_by_loop().items()},
        "grids": [asdict(step) for step in found.steps],
    }


def _structure(found: Structure) -> dict[str, Any]:
    foster, cauer = found.foster, found.cauer
    return {
        "zone": found.zone,
        "foster": {
            "resistance_K_W": foster.resistance_K_W.tolist(),
            "time_constant_s": foster.time_constant_s.tolist(),
        },
        "cauer": {"resistance_K_W": cauer.resistance_K_W.tolist(), "capacity_J_K": cauer.capacity_J_K.tolist()},
        "stored": [dict(zip(found.places, shares, strict=True)) for shares in found.stored.tolist()],
        "stretches": [{**asdict(one), "is_bend": one.is_bend} for one in found.stretches],
        "beside": dict(found.beside),
    }


def csv_lines(found: StepResponse) -> Iterator[list[str]]:
    """A line a time: the time, then each Zth with its half width of both doubts; full digits. The last line is the end,
    at an infinite time."""
    pairs = [(output, zone) for output in found.network.outputs for zone in found.network.inputs]
    heads = ["time_s"]
    for output, zone in pairs:
        heads += [f"{output} by {zone} [K/W]", f"{output} by {zone} +- [K/W]"]
    yield heads
    times = [*found.times_s.tolist(), float("inf")]
    values = np.concatenate([found.zth, found.resistance[None]])
    widths = np.concatenate([found.half_width, (found.resistance_doubt + found.time_doubt)[None]])
    for time, value, width in zip(times, values, widths, strict=True):
        numbers = np.stack([value.ravel(), width.ravel()], axis=1).ravel()
        yield [repr(time), *map(repr, numbers.tolist())]
