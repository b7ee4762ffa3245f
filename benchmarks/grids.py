"""What grids made for the zones gain over uniform and over plainly graded ones: doubt and error against solver time.

    python benchmarks/grids.py --out grids.json --picture grids.png

uniform : cells alike between the outlines of parts and zones, so many times as many in each direction at each step
graded : cells that grow with the distance from where heat turns, the same steps
aimed : what `predict` does: made for the zones and for an accuracy

Reference: temperatures of a graded family that no study uses (another first grid), extrapolated with the observed order
from its 4, 6 and 8-fold grids (6 million cells). Times are of grids, their planning included, not of the start of
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
from thermsim.case.vocabulary.schema import Case
from thermsim.mesh.convergence import observed_order
from thermsim.mesh.predict import FEWEST_GRIDS, judge, predict, solve_on
from thermsim.mesh.prediction import Prediction
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.answers import answers
from thermsim.readout.observable import Observable, temperatures

DEMO = Path(__file__).parent.parent / "cases" / "crooked-film.yaml"
REFERENCE_CELLS, REFERENCE = 12_000, (4, 6, 8)
LEAST_ORDER = 4 / 3  # at re-entrant edges
EVEN_K, AIMED_K = 0.05, (0.8, 0.4, 0.2, 0.1, 0.05, 0.02, 0.01)


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


def reference(case: Case) -> dict[Observable, float]:
    """Extrapolated temperatures [C]."""
    plan = plan_grid(case, REFERENCE_CELLS)
    field, found = None, []
    for multiplier in REFERENCE:
        field, _ = solve_on(case, plan.grid(multiplier), field)
        found.append(answers(case, field))
    asked = temperatures(found[-1])
    table = np.array([[one[question] for question in asked] for one in found])
    judged = [_extrapolated(column) for column in table.T]
    return dict(zip(asked, judged, strict=True))


def _extrapolated(values: NDArray[np.float64]) -> float:
    """With the order that the three show, held between that of edges and the scheme's own."""
    first, second = values[:1] - values[1:2], values[1:2] - values[2:]
    order = float(observed_order(first, second, REFERENCE[1] / REFERENCE[0], REFERENCE[2] / REFERENCE[1])[0])
    order = min(max(order, LEAST_ORDER), 2.0) if np.isfinite(order) else 2.0
    return float(values[2] - second[0] / ((REFERENCE[2] / REFERENCE[1]) ** order - 1.0))


def study(family: str, made: Prediction, grids: int, truth: dict[Observable, float]) -> Study:
    steps = list(made.steps[:grids])
    judged = judge(steps)
    asked = temperatures(judged)
    error = {question: abs(judged[question].value - truth[question]) for question in asked}
    means = [question for question in asked if question.takes == "mean"]
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
    for family, plan in (("uniform", plan_grid(case, growth=0.0)), ("graded", plan_grid(case))):
        even = [predict(case, accuracy_K=EVEN_K, plan=plan) for _ in range(runs + 1)][1:]
        for grids in range(FEWEST_GRIDS, len(even[0].steps) + 1):
            found.append(min((study(family, made, grids, truth) for made in even), key=lambda one: one.seconds))
    for accuracy in AIMED_K:
        made = [predict(case, accuracy_K=accuracy) for _ in range(runs + 1)][1:]
        family = f"aimed at {accuracy} K"
        found.append(min((study(family, one, len(one.steps), truth) for one in made), key=lambda one: one.seconds))
    return found


def draw(studies: list[Study], path: Path) -> None:
    """Two staircases a family: the least doubt of a zone mean, and of any answer, that so much time has bought."""
    from matplotlib.figure import Figure
    from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

    figure = Figure(figsize=(9.0, 4.0), layout="constrained")
    for ax, which, title in zip(
        figure.subplots(1, 2, sharey=True), ("zone", "any"), ("worst zone mean", "worst answer of all"), strict=True
    ):
        for family, line, shade in (("uniform", ":", "0.55"), ("graded", "--", "0.35"), ("aimed", "-", "0.0")):
            of = sorted((one for one in studies if one.family.startswith(family)), key=lambda one: one.seconds)
            seconds = [one.seconds for one in of]
            doubt = np.minimum.accumulate([getattr(one, f"{which}_doubt_K") for one in of])
            error = [getattr(one, f"{which}_error_K") for one in of]
            ax.step(seconds, doubt, where="post", linestyle=line, color=shade, label=f"{family}: doubt")
            ax.plot(seconds, error, linestyle="none", marker="x", color=shade, label=f"{family}: error")
        ax.set(xscale="log", yscale="log", xlabel="time of all grids [s]", title=title)
        ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 3.0)))
        ax.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
        ax.xaxis.set_minor_formatter(NullFormatter())
    figure.axes[0].set_ylabel("[K]")
    figure.legend(*figure.axes[0].get_legend_handles_labels(), loc="outside right center", fontsize="small")
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
