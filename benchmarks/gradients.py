"""What all derivatives of a dozen temperatures cost, in solves of the same grid, all measured in one run.

    python benchmarks/gradients.py --runs 5 --out gradients.json

The demo on the second grid of its even family, once uncounted, then `--runs` times; the least time of each counts.
Differences (one solve for each step of each input) are what the same derivatives cost without adjoints.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable
from pathlib import Path

from thermsim.case.inputs.values import inputs
from thermsim.case.load import read_case
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.gradients import _solved, field_of, gradients
from thermsim.readout.answers import Solved, answers, local
from thermsim.readout.observable import Observable
from thermsim.solver.adjoint import adjoint
from thermsim.solver.linearised import linearise
from thermsim.solver.steady import steady_state

DEMO = Path(__file__).parent.parent / "cases" / "crooked-film.yaml"


def least_seconds(work: Callable[[], object], runs: int) -> float:
    """Least wall-clock time of some runs after one that is not counted [s]."""
    work()
    found = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--multiplier", type=int, default=2)
    parser.add_argument("--out", type=Path, help="save the figures as JSON")
    chosen = parser.parse_args()
    case = read_case(DEMO)
    plan = plan_grid(case)
    grid = plan.grid(chosen.multiplier)
    model = build_model(case, grid)
    field = _solved(case, grid, None)
    asked = [question for question in answers(case, field) if question.takes == "highest"][:12]
    at = linearise(model, field.temperature, field.guess)
    goal = local(asked[0], Solved(case, field_of(at))).goal
    single = least_seconds(lambda: steady_state(model), chosen.runs)
    figures: dict[str, float] = {"cells": grid.cells, "inputs": len(inputs(case)), "answers": len(asked)}
    figures["one solve, s"] = single
    figures["one adjoint, s"] = least_seconds(lambda: adjoint(at, goal), chosen.runs)
    paths: list[tuple[str, list[Observable], list[str] | None]] = [
        ("no inputs: adjoints alone, s", asked, []),
        ("one answer, all inputs, s", asked[:1], None),
        ("all answers, all inputs, s", asked, None),
    ]
    for name, questions, varied in paths:
        figures[name] = least_seconds(
            lambda questions=questions, varied=varied: gradients(  # type: ignore[misc]
                case, plan, chosen.multiplier, questions, varied, field
            ),
            chosen.runs,
        )
    figures["all of it, in solves"] = figures["all answers, all inputs, s"] / single
    figures["central differences, in solves"] = 2.0 * figures["inputs"]
    for name, value in figures.items():
        print(f"{name:32} {value:10.4g}")
    if chosen.out is not None:
        chosen.out.write_text(json.dumps(figures, indent=2), encoding="utf-8")


if __name__ == "__main__":
    main()
