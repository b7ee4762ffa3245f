"""Warm-ups: solves, processor and wall seconds of the demo; general-purpose integrators on the same matrices.

    python benchmarks/time.py [--peers] [--models] [--out FILE]

Small models alone are made on grids of given sizes, from 0.1 ms to 1000 s: of the package as a whole, and of the watt
of each of the twelve zones.

The small model of rational Krylov and its peers are asked for the mean of one zone on a coarse grid of the demo, from
1 ms to 1000 s; the error is that against a model of many more shifts. Quote processor seconds on a machine that others
use.
"""

from __future__ import annotations

import thermsim  # isort: skip  # first: it sets BLAS to one thread

import argparse
import json
import time
from pathlib import Path
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import splu
from solver import machine

from thermsim.case.vocabulary.schema import Case
from thermsim.loads.load import Load
from thermsim.mesh.predict import OUTER_K, plan_for, solve_on
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.plan import FIRST_GRID_CELLS, MEMORY_GB, plan_grid
from thermsim.response.block import block_model
from thermsim.response.columns import Columns, places_of
from thermsim.transient.curves import Reader
from thermsim.transient.grid import time_plan
from thermsim.transient.krylov import chosen_model, model_at
from thermsim.warming.held_still import model_of, model_of_load, reader_of
from thermsim.warming.warmup import warmup

DEMO = Path(__file__).parents[1] / "cases" / "crooked-film.yaml"
FROM_S, UNTIL_S = 1e-3, 1e3
EARLY_S = 1e-4  # first time of the models that are made alone
MODEL_CELLS = (100_000, 1_000_000)
CHOSEN_TO_K = 0.006  # of the shifts that the second grid tells
MANY, MANY_OF_ZONES = 30, 20  # shifts of what errors are told against
TIMES = np.geomspace(FROM_S, UNTIL_S, 121)
ZONE = ("zone", "C5", "mean")
REFERENCE_K = 0.002  # doubt of the model that errors are told against
EULER_STEPS = (60, 240)  # steps of implicit Euler, evenly in the logarithm of time
HOUR_SHIFTS = 16  # of the small model that a log is followed with
LOOP = "coolant_loop: {heat_capacity_J_K: 4000, radiator_W_K: 20, flow_l_min: 4, room_C: 23}"
FIRST_CELLS = 2500  # of the grid that peers run on: they factor its matrix directly


def of_demo() -> dict[str, Any]:
    """The whole warm-up at the accuracy of the case."""
    case = thermsim.read_case(DEMO)
    wall, cpu = time.perf_counter(), time.process_time()
    found = warmup(case)
    return {
        "wall_s": time.perf_counter() - wall,
        "cpu_s": time.process_time() - cpu,
        "worst_doubt_K": found.worst[1],
        "time_doubt_K": max(one.time_doubt for asked, one in found.curves.items() if not asked.is_heat),
        "grids": [
            {"cells": step.cells, "solves": step.solves, "iterations": step.iterations, "wall_s": step.seconds}
            for step in found.steps
        ],
    }


def models_alone() -> list[dict[str, Any]]:
    """Small models on grids of about so many cells at the few shifts that a coarse grid tells, as `warmup` makes them.

    Errors are against models of many more shifts on the same grid.
    """
    case = thermsim.read_case(DEMO)
    plan = time_plan(case, plan_for(case, plan_grid(case), FIRST_GRID_CELLS, case.accuracy_K, MEMORY_GB)[0], EARLY_S)
    times = np.geomspace(EARLY_S, UNTIL_S, 121)
    coarse = _reader(case, plan, 2)
    few = coarse.few_shifts(model_of_load(coarse, times, REFERENCE_K), times, CHOSEN_TO_K)
    lines = [_of_zones(case, coarse, times, few)]
    for cells in MODEL_CELLS:
        multiplier = min(range(1, 9), key=lambda one: abs(np.log(plan.cells(one) / cells)))
        start = time.process_time()
        reader = _reader(case, plan, multiplier)
        begun = time.process_time()
        small = model_at(reader.system, few)
        made = time.process_time()
        curves = reader.curves(small, times)
        read = time.process_time()
        exact = reader.curves(model_at(reader.system, _spread(MANY)), times)
        off = max(float(np.nanmax(np.abs(curves[one] - exact[one]))) for one in curves if not one.is_heat)
        line = {"inputs": "the package", "cells": int(np.prod(reader.system.shape)), "solves": len(few)}
        line |= {"iterations": small.iterations, "error_K": off, "model_cpu_s": made - begun, "cpu_s": read - start}
        print(line, flush=True)
        lines.append(line)
    return lines


def _reader(case: Case, plan: GridPlan, multiplier: int) -> Reader:
    field, _ = solve_on(case, plan.grid(multiplier), None, OUTER_K)
    return reader_of(case, field, EARLY_S, multiplier)


def _spread(count: int) -> tuple[float, ...]:
    """The steady state, and shifts evenly in the logarithm."""
    return (0.0, *np.geomspace(0.3 / UNTIL_S, 3.0 / EARLY_S, count - 1).tolist())


def _of_zones(case: Case, reader: Reader, times: np.ndarray, few: tuple[float, ...]) -> dict[str, Any]:
    """The watt of each zone as an input of its own, at the same shifts: rises at the power of the case."""
    columns, places = Columns.of(case, reader), places_of(case, reader)[1]
    heats = columns.heats[: len(columns.zones)]
    watts = np.array([float(reader.resting.made_in(zone, reader.rise.model)[0].sum()) for zone in columns.zones])
    start = time.process_time()
    made = block_model(reader.system, heats, columns.seen, few, places)
    cpu = time.process_time() - start
    many = block_model(reader.system, heats, columns.seen, _spread(MANY_OF_ZONES), places)
    off = float(np.abs((made.modes.step(times) - many.modes.step(times))[:, :-1] @ watts).max())
    line = {"inputs": f"{len(watts)} zones", "cells": int(np.prod(reader.system.shape)), "solves": made.solves}
    line |= {"iterations": made.iterations, "error_K": off, "model_cpu_s": cpu}
    print(line, flush=True)
    return line


def an_hour_of_a_log() -> dict[str, Any]:
    """An hour at 1 Hz on the demo with a coolant loop, beyond the small model: stepped, and read each second."""
    hung = DEMO.read_text(encoding="utf-8").replace(
        "film_W_m2K: 14000, fluid_C: 31.0", "film_W_m2K: 14000, fluid_C: loop"
    )
    case = thermsim.parse_case(f"{hung}\n{LOOP}\n", "loop.yaml", DEMO.parent)
    seconds = np.arange(3600.0)
    watts = np.where((seconds // 300) % 2 == 0, 200.0, 50.0)
    load = Load(seconds, watts[:, None], (), False, ends_s=3600.0)
    case = load.case_of(case)
    plan = time_plan(case, plan_grid(case), FROM_S)
    field, _ = solve_on(case, plan.grid(1), None, OUTER_K)
    reader = reader_of(case, field, FROM_S, 1, load=load)
    small = model_of(reader, _spread(HOUR_SHIFTS))
    times = seconds + 1.0
    start, wall = time.process_time(), time.perf_counter()
    rises = reader.linear_at(small, reader.states(small, times), reader.given(times))
    line = {"samples": len(times), "answers": rises.shape[1], "modes": len(small.heat)}
    return {**line, "cpu_s": time.process_time() - start, "wall_s": time.perf_counter() - wall}


def against_peers() -> list[dict[str, Any]]:
    """Each method with its error [K] and processor seconds, on one grid."""
    case = thermsim.read_case(DEMO)
    even = plan_grid(case, FIRST_CELLS)
    plan = time_plan(case, even, FROM_S)
    field, _ = solve_on(case, plan.grid(1), None, OUTER_K)
    reader = reader_of(case, field, FROM_S, 1)
    column = reader.columns[next(one for one in reader.columns if one.is_called(ZONE))][0]
    exact = _of_model(reader, column, REFERENCE_K)[0]
    lines = []
    for asked in (0.3, 0.03):
        start = time.process_time()
        curve, solves = _of_model(reader, column, asked)
        lines.append(_line(f"rational Krylov, asked {asked} K", curve, exact, start, solves))
    matrix, capacity, heat, kept = _sparse(reader)
    at = np.searchsorted(kept, column[0])
    for method, tolerance in (("BDF", 1e-3), ("Radau", 1e-3)):
        start = time.process_time()
        run = solve_ivp(
            lambda _, z: (heat - matrix @ z) / capacity, (0.0, UNTIL_S), np.zeros(len(heat)), method, TIMES,
            rtol=tolerance, atol=tolerance, jac=diags(-1.0 / capacity) @ matrix, first_step=1e-5,
        )  # fmt: skip
        lines.append(_line(f"solve_ivp {method}, {tolerance:g}", column[1] @ run.y[at], exact, start, int(run.nlu)))
    for steps in EULER_STEPS:
        start = time.process_time()
        curve = _euler(matrix, capacity, heat, at, column[1], steps)
        lines.append(_line(f"implicit Euler, {steps} steps", curve, exact, start, steps))
    return [{"cells": len(heat), **line} for line in lines]


def _of_model(reader: Reader, column: tuple[np.ndarray, np.ndarray], asked_K: float) -> tuple[np.ndarray, int]:
    small = chosen_model(reader.system, FROM_S, UNTIL_S, asked_K, lambda one: reader.largest_doubt_K(one, TIMES))
    small = model_at(reader.system, small.shifts)
    return small.states(TIMES) @ (small.vectors[:, column[0]] @ column[1]), len(small.shifts)


def _sparse(reader: Reader) -> tuple[Any, np.ndarray, np.ndarray, np.ndarray]:
    """A, C and g over the cells that store heat, and where these are."""
    stencil, shape = reader.system.stencil, reader.system.shape
    number = np.arange(np.prod(shape)).reshape(shape)
    rows, columns, values = [number.ravel()], [number.ravel()], [stencil.ground.ravel()]
    for axis, link in enumerate((stencil.conductance_x, stencil.conductance_y, stencil.conductance_z)):
        low, high = np.take(number, range(shape[axis] - 1), axis), np.take(number, range(1, shape[axis]), axis)
        for one, other in ((low, high), (high, low)):
            rows += [one.ravel(), one.ravel()]
            columns += [one.ravel(), other.ravel()]
            values += [link.ravel(), -link.ravel()]
    whole = coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))).tocsc()
    kept = np.flatnonzero(reader.system.capacity.ravel() > 0.0)
    matrix = whole[kept][:, kept]
    return matrix, reader.system.capacity.ravel()[kept], stencil.heat.ravel()[kept], kept


def _euler(matrix: Any, capacity: np.ndarray, heat: np.ndarray, at: np.ndarray, share: np.ndarray, steps: int) -> Any:
    """Steps that grow evenly, each with a factorisation of its own; read off linearly in the logarithm of time."""
    ends = np.concatenate([[0.0], np.geomspace(0.1 * FROM_S, UNTIL_S, steps)])
    state, told = np.zeros(len(heat)), []
    for width in np.diff(ends):
        state = splu((matrix + diags(capacity / width)).tocsc()).solve(heat + capacity / width * state)
        told.append(float(share @ state[at]))
    return np.interp(np.log(TIMES), np.log(ends[1:]), told)


def _line(method: str, curve: np.ndarray, exact: np.ndarray, start: float, count: int) -> dict[str, Any]:
    return {
        "method": method,
        "solves_or_factorisations": count,
        "error_K": float(np.abs(curve - exact).max()),
        "cpu_s": time.process_time() - start,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--peers", action="store_true", help="also against general-purpose integrators")
    parser.add_argument("--models", action="store_true", help="also small models alone, on 0.1 and 1 million cells")
    parser.add_argument("--out", type=Path, help="JSON file of results")
    asked = parser.parse_args()
    found = {
        "machine": machine(),
        "demo": of_demo(),
        "an hour of a log": an_hour_of_a_log(),
        "models": models_alone() if asked.models else [],
        "peers": against_peers() if asked.peers else [],
    }
    print(json.dumps(found, indent=1))
    if asked.out is not None:
        asked.out.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
