"""What a comparison takes: a base and five options, all tolerances sampled, by workers and by the way of the samples.

    python benchmarks/compare.py --samples 1024 --workers 1 2 --full 64 --out compare.json
    python benchmarks/compare.py --wide --workers 2 --full 0

The demo's three options and two more; `--wide`: the three with the tolerances of `wide_tolerances.py`. Each run is a
whole `compare`: grids until the accuracy of the case (0.1 K) holds for all, checks of the short cut on two grids,
slopes, samples, verdicts. One run each after a small one that is not counted and loads compiled code; wall-clock time
and processor time of all processes. `--full` samples are then answered by full solves too, in one process, for the rate
of that way and for how far gains of both ways are apart.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from pathlib import Path
from typing import Any
from unittest import mock

from wide_tolerances import wide

import thermsim  # noqa: F401  # before numpy: one thread of BLAS
from thermsim.case.load import parse_case
from thermsim.comparison.choice import chosen
from thermsim.comparison.compare import SEED, compare
from thermsim.comparison.family import family
from thermsim.comparison.tolerances import Way, sampled
from thermsim.run.run_tasks import run

DEMO = Path(__file__).parent.parent / "cases" / "crooked-film.yaml"
MORE = """
  - option: better paste
    changes: {paste.resistance_mm2K_W: {value: 4.0, plus_minus: 1.0, basis: assumed}}
  - option: thicker lid
    changes: {lid.thickness_mm: {value: 3.2, plus_minus: 0.02, basis: measured}}
"""


def processor_seconds() -> float:
    """Of this process and of those that it started and that have ended."""
    return sum(os.times()[:4])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--samples", type=int, default=1024)
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--full", type=int, default=64, help="samples answered by full solves too, 0 for none")
    parser.add_argument("--wide", action="store_true", help="the demo with wide tolerances")
    parser.add_argument("--out", type=Path, help="save the figures as JSON")
    given = parser.parse_args()
    text = DEMO.read_text(encoding="utf-8")
    if given.wide:
        text = wide(text)
    else:
        before, options, after = text.partition("\noptions:")
        choices, accuracy, end = after.partition("\naccuracy_K:")
        text = before + options + choices.rstrip() + MORE + accuracy + end
    case = parse_case(text, str(DEMO))
    figures: dict[str, Any] = {"samples": given.samples, "cases": 1 + len(case.options)}
    names, cases = chosen(case, None, None)
    whole = family(names, cases, accuracy_K=2.0)
    sampled(whole, 16, SEED, lambda make, tasks: run(make, tasks, workers=1), "small models")
    for workers in given.workers:
        start, spent = time.perf_counter(), processor_seconds()
        stages: dict[str, float] = {}

        def timed(make: Any, tasks: list[Any], stages: dict[str, float] = stages, **settings: Any) -> Any:
            begun = time.perf_counter()
            found = run(make, tasks, **settings)
            stages[type(make).__name__] = time.perf_counter() - begun
            return found

        with mock.patch("thermsim.comparison.compare.run", timed):
            found = compare(case, samples=given.samples, workers=workers)
        seconds = time.perf_counter() - start
        figures[f"{workers} workers"] = {
            "seconds": seconds, "processor seconds": processor_seconds() - spent, "of them in": stages,
            "samples a second": given.samples / stages["CaseWork"], "way": found.way,
        }  # fmt: skip
    if given.full:
        figures["both ways"] = both_ways(case, given.full)
    print(json.dumps(figures, indent=2))
    if given.out is not None:
        given.out.write_text(json.dumps(figures, indent=2) + "\n", encoding="utf-8")


def both_ways(case: Any, count: int) -> dict[str, float]:
    """The same samples both ways, in this process."""
    import numpy as np

    names, cases = chosen(case, None, None)
    whole = family(names, cases)
    taken, seconds = [], {}
    ways: tuple[Way, ...] = ("small models", "full solves")
    for way in ways:

        def machinery(make: Any, tasks: list[Any], way: str = way) -> Any:
            begun = time.perf_counter()
            found = run(make, tasks, workers=1)
            seconds[way, type(make).__name__] = time.perf_counter() - begun
            return found

        taken.append(sampled(whole, count, SEED, machinery, way))
    gains = [one.deviation[:, :1] - one.deviation for one in taken]
    apart = np.nanmax(np.abs(gains[0] - gains[1])[:, :, whole.readings])
    return {
        "full samples a second": count / seconds["full solves", "SampleWork"],
        "gains of readings apart, K": float(apart),
        "doubt of them told, K": float(taken[0].model_K[:, whole.readings].max()),
    }


if __name__ == "__main__":
    main()
