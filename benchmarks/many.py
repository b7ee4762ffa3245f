"""How many nearby cases a second: full solves, power maps by superposition, a small model; and how right each is.

    python benchmarks/many.py --case cases/crooked-film.yaml --cells 100000 --samples 2048 --checks 100

All run in this process on one thread of linear algebra; the small model answers in `--processes` copies of it as well.
Inputs with a tolerance vary evenly over three times that tolerance to either side; full solves of the same samples on
the same grid are the truth. Timed is the whole way from values of inputs to answers.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy loads

import numpy as np

from thermsim.case.inputs.values import with_inputs
from thermsim.case.load import read_case
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.nearby.small_model_training import reduce
from thermsim.nearby.superposition import superposition
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.solver.steady import steady_state

SEED = 3_407
MAPS = 200_000


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--case", type=Path, default=Path(__file__).parent.parent / "cases" / "crooked-film.yaml")
    given.add_argument("--cells", type=int, default=100_000)
    given.add_argument("--samples", type=int, default=2048)
    given.add_argument("--checks", type=int, default=100)
    given.add_argument("--processes", type=int, default=2)
    given.add_argument("--out", type=Path, help="save the figures as JSON")
    args = given.parse_args()
    case = read_case(args.case)
    plan = plan_grid(case, args.cells)
    print(f"{plan.cells(1)} cells")

    model = build_model(case, plan.grid(1))
    steady = steady_state(model)
    field = Field.of(model, steady)
    start = time.perf_counter()
    maps = superposition(case, field)
    built = time.perf_counter() - start
    rng = np.random.default_rng(SEED)
    powers = maps.base_W * rng.uniform(0.5, 1.5, (MAPS, len(maps.zones)))
    start = time.perf_counter()
    maps.temperatures(powers)
    maps_a_second = MAPS / (time.perf_counter() - start)
    print(f"superposition: built in {built:.2f} s, {maps_a_second:,.0f} power maps a second")

    start = time.perf_counter()
    small = reduce(case, plan=plan)
    built = time.perf_counter() - start
    print(f"small model: {small.small.size} vectors, built in {built:.1f} s")
    table = small.low + (small.high - small.low) * rng.random((args.samples, len(small.low)))
    start = time.perf_counter()
    found = small.answers(table)
    alone = args.samples / (time.perf_counter() - start)
    together = args.samples * args.processes / in_copies(args.processes, lambda: small.answers(table))
    print(
        f"small model: {alone:,.0f} cases a second, in {args.processes} processes {together:,.0f}; "
        f"{len(small.varied)} inputs"
    )

    paths = [one.path for one in small.varied]
    truth = []
    start = time.perf_counter()
    for row in table[: args.checks].tolist():
        changed = with_inputs(case, dict(zip(paths, row, strict=True)))
        model = build_model(changed, alike(plan, case, changed).grid(1))
        steady = steady_state(model)
        solved = answers(changed, Field.of(model, steady))
        truth.append([solved[question] for question in small.questions])
    full = args.checks / (time.perf_counter() - start)
    print(f"full solves: {full:.1f} cases a second")
    misses, doubts = np.abs(found.values[: args.checks] - np.array(truth)), found.doubts[: args.checks]
    print(f"{'':34}{'median miss':>12}{'largest':>10}{'median doubt':>14}{'covered':>11}   [K]")
    for column, question in enumerate(small.questions):
        miss, doubt = misses[:, column], doubts[:, column]
        covered = f"{int(np.sum(miss <= doubt))}/{len(miss)}"
        print(f"{question!s:34}{np.median(miss):12.5f}{miss.max():10.5f}{np.median(doubt):14.5f}{covered:>11}")
    widths = np.median(doubts / np.maximum(misses, 1e-12), axis=0)
    print(f"doubt over miss, median of each answer: {widths.min():.1f} to {widths.max():.1f}")
    if args.out:
        figures = {
            "cells": plan.cells(1), "inputs": len(small.varied), "vectors": small.small.size,
            "maps_a_second": maps_a_second, "built_s": built, "cases_a_second": alone,
            "cases_a_second_in_processes": together, "processes": args.processes, "full_solves_a_second": full,
            "checked": args.checks, "largest_miss_K": float(misses.max()),
            "covered": float(np.mean(misses <= doubts)), "median_doubt_over_miss": [widths.min(), widths.max()],
        }  # fmt: skip
        args.out.write_text(json.dumps(figures, indent=1), encoding="utf-8")


def in_copies(processes: int, work: Callable[[], object]) -> float:
    """Seconds in which copies of this process do the same work, each once, after all have begun."""
    context = multiprocessing.get_context("fork")
    barrier = context.Barrier(processes + 1)

    def run() -> None:
        barrier.wait()
        work()
        barrier.wait()

    copies = [context.Process(target=run) for _ in range(processes)]
    for copy in copies:
        copy.start()
    barrier.wait()
    start = time.perf_counter()
    barrier.wait()
    seconds = time.perf_counter() - start
    for copy in copies:
        copy.join()
    return seconds


if __name__ == "__main__":
    main()
