"""What grids made for the zones gain over even ones: doubt and error of a case against solver time.

    python benchmarks/grids.py --out grids.json --picture grids.png

Reference: temperatures of an even family that no study uses (another first grid), extrapolated with the observed order
from its 4, 5 and 6-fold grids. Times are of grids, their planning included, not of the start of
the process; each study is run once uncounted and then `--runs` times, the least time counts.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from thermsim.case.load import read_case
from thermsim.case.schema import Case
from thermsim.model.plan import plan_grid
from thermsim.study.answers import Question, answers, temperatures
from thermsim.study.convergence import observed_order
from thermsim.study.predict import FEWEST_GRIDS, Prediction, _solve_on, judge, predict

DEMO = Path(__file__).parent.parent / "cases" / "crooked-film.yaml"
REFERENCE_CELLS, REFERENCE = 12_000, (4, 5, 6)
EVEN_K, AIMED_K = 0.06, (0.8, 0.4, 0.2, 0.1, 0.05)


@dataclass(frozen=True)
class Study:
    """One study, ended after `grids` grids: doubts and errors [K] of its finest grid, cells of all, solver time [s]."""

    family: str
    grids: int
    finest_cells: int
    all_cells: int
    seconds: float
    zone_doubt_K: float
    any_doubt_K: float
    zone_error_K: float
    any_error_K: float
    covered: float
    order: float


def reference(case: Case) -> dict[Question, float]:
    """Extrapolated temperatures [C]."""
    plan = plan_grid(case, REFERENCE_CELLS)
    field, found = None, []
    for multiplier in REFERENCE:
        field, _ = _solve_on(case, plan.grid(multiplier), field)
        found.append(answers(case, field))
    asked = temperatures(found[-1])
    table = np.array([[one[question] for question in asked] for one in found])
    judged = [_extrapolated(column) for column in table.T]
    return dict(zip(asked, judged, strict=True))


def _extrapolated(values: NDArray[np.float64]) -> float:
    """Second order, the scheme's own, where the last three do not show their order clearly."""
    first, second = values[:1] - values[1:2], values[1:2] - values[2:]
    order = float(observed_order(first, second, 5 / 4, 6 / 5)[0])
    order = order if 1.6 <= order <= 2.2 else 2.0
    return float(values[2] - second[0] / ((6 / 5) ** order - 1.0))


def study(family: str, made: Prediction, grids: int, truth: dict[Question, float]) -> Study:
    steps = list(made.steps[:grids])
    judged = judge(steps)
    asked = temperatures(judged)
    error = {question: abs(judged[question].value - truth[question]) for question in asked}
    means = [question for question in asked if question[-1] == "mean"]
    orders = [judged[question].order or float("nan") for question in means]
    return Study(
        family,
        grids,
        steps[-1].cells,
        sum(step.cells for step in steps),
        sum(step.seconds for step in steps),
        max(judged[question].half_width for question in means),
        max(judged[question].half_width for question in asked),
        max(error[question] for question in means),
        max(error.values()),
        float(np.mean([error[question] <= judged[question].half_width for question in asked])),
        float(np.nanmedian(orders)),
    )


def measured(case: Case, runs: int) -> list[Study]:
    truth = reference(case)
    found = []
    even = [predict(case, accuracy_K=EVEN_K, plan=plan_grid(case)) for _ in range(runs + 1)][1:]
    for grids in range(FEWEST_GRIDS, len(even[0].steps) + 1):
        found.append(min((study("even", made, grids, truth) for made in even), key=lambda one: one.seconds))
    for accuracy in AIMED_K:
        made = [predict(case, accuracy_K=accuracy) for _ in range(runs + 1)][1:]
        family = f"aimed at {accuracy} K"
        found.append(min((study(family, one, len(one.steps), truth) for one in made), key=lambda one: one.seconds))
    return found


def draw(studies: list[Study], path: Path) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.0, 4.2), layout="constrained")
    ax = figure.add_subplot()
    for family, mark in (("even", "s"), ("aimed", "o")):
        of = [one for one in studies if one.family.startswith(family)]
        seconds = [one.seconds for one in of]
        ax.loglog(seconds, [one.zone_doubt_K for one in of], marker=mark, color="0.1", label=f"{family}: doubt")
        ax.loglog(seconds, [one.zone_error_K for one in of], marker=mark, color="0.6", label=f"{family}: error")
    ax.set_xlabel("solver time [s]")
    ax.set_ylabel("worst zone mean [K]")
    ax.legend()
    figure.savefig(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--case", type=Path, default=DEMO)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--out", type=Path, help="save the figures as JSON")
    parser.add_argument("--picture", type=Path, help="save doubt and error over time")
    chosen = parser.parse_args()
    studies = measured(read_case(chosen.case), chosen.runs)
    print("family             grids  finest     all  time s | zone means: doubt  error  order | all: doubt  error held")
    for one in studies:
        print(
            f"{one.family:18} {one.grids:5} {one.finest_cells:8} {one.all_cells:8} {one.seconds:6.2f} |"
            f"           {one.zone_doubt_K:7.3f} {one.zone_error_K:6.3f} {one.order:6.2f} |"
            f"    {one.any_doubt_K:7.3f} {one.any_error_K:6.3f} {one.covered:4.2f}"
        )
    if chosen.out:
        chosen.out.write_text(json.dumps([asdict(one) for one in studies], indent=1), encoding="utf-8")
    if chosen.picture:
        draw(studies, chosen.picture)


if __name__ == "__main__":
    main()
