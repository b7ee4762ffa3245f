"""Whatever way an answer is found, its doubt holds what a prediction of the same case knows that no grid shows.

Two cases: streaks of a film map far finer than the cells, whose constriction no grid has, and a board of four squares,
two of which conduct fifty times as well as the two between them, where errors fall ever more slowly. Without
leakage and with one constant fluid, temperatures less that of the fluid go with the power: so does their doubt, which
the other ways may tell wider and not narrower.
"""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest
from stacks import case_of, film, part

import thermsim
from thermsim.case.inputs.values import with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.family import family
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import plan_for, predict
from thermsim.mesh.prediction import Prediction
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.many import many
from thermsim.nearby.sensitivities import sensitivities
from thermsim.nearby.superposition import resistances
from thermsim.response.step_response import step_response
from thermsim.sweeps.sweep import Vary, sweep
from thermsim.transient.grid import time_plan
from thermsim.warming.warmup import IN_PLAN, warmup

ACCURACY_K = 50.0  # grids stop at the third
POWER, PATH = 1.0, "all.power_W"
AS_WIDE = 0.99  # what is left of the solver's own error, which is not linear, is less than the rest
STORES = {"density_kg_m3": 4000, "heat_capacity_J_kgK": 500}
LEAKS = {"leakage": {"per_K": 1e-4, "at_C": 30}}


def written(kind: str, folder: Path, **heat: Any) -> Case:
    """A slice of streaks of 0.1 mm, 20 and 1000 um thick; or a board of 4 squares under a lid of 2."""
    zone = {"zone": "all", "power_W": POWER}
    more: dict[str, Any] = {
        "readings": [{"reading": "R", "zone": "all"}],
        "limits": {"reading_C": 90},
        "options": [{"option": "half", "changes": {f"zones.{PATH}": 0.5 * POWER}}],
    }
    if kind == "streaks":
        (folder / "film.csv").write_text(",".join(["20,1000"] * 100))
        streaks = {"joint": "tim", "film_um": {"file": "film.csv"}, "conductivity_W_mK": 5, **STORES}
        layers = [part("die", 20, 0.6, {"conductivity_W_mK": 120} | STORES), streaks]
        layers.append(part("lid", 20, 2, {"conductivity_W_mK": 380} | STORES))
        more |= {"dimensions": 2, "depth_mm": 1}
    else:
        bad = {"conductivity_W_mK": 8} | STORES
        squares = [{"material": bad, "corner_mm": corner, "size_mm": [5, 5]} for corner in ([5, 0], [0, 5])]
        layers = [part("die", [10, 10], 1.0, {"conductivity_W_mK": 400} | STORES, inserts=squares)]
        zone |= {"corner_mm": [0, 0], "size_mm": [5, 5]}
    cooled = [film("top", 20_000, 20)] if kind == "streaks" else [film("right", 20_000, 20), film("top", 50, 20)]
    return case_of(layers, [{"in": "die", "at": "bottom", "zones": [zone], **heat}], cooled, folder, **more)


@pytest.fixture(scope="module", params=["streaks", "pinched edges"])
def case(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Case:
    return written(request.param, tmp_path_factory.mktemp("told"))


@pytest.fixture(scope="module")
def predicted(case: Case) -> Prediction:
    return predict(case, accuracy_K=ACCURACY_K)


def width(found: Prediction) -> float:
    return found.doubts["reading", "R"].half_width


def test_these_cases_have_doubts_that_no_grid_shows(predicted: Prediction) -> None:
    seen = predicted.steps[-1].seen
    assert seen.slowest is not None or float(seen.unseen_sum) > 0.02


def test_resistances(case: Case, predicted: Prediction) -> None:
    found = resistances(case, predicted.plan, [step.multiplier for step in predicted.steps])
    row = next(n for n, one in enumerate(found.finest.questions) if one.kind == "reading")
    assert found.half_width[row, 0] * POWER >= AS_WIDE * width(predicted)


def test_sensitivities(case: Case, predicted: Prediction) -> None:
    found = sensitivities(case, [("reading", "R")], [PATH], accuracy_K=ACCURACY_K)
    assert found[("reading", "R")][PATH].half_width * POWER >= AS_WIDE * width(predicted)


def test_samples_near_it(case: Case) -> None:
    found = many(case, [{PATH: 2.0 * POWER}], asked=[("reading", "R")], accuracy_K=ACCURACY_K, workers=1)
    assert found.doubts[0, 0] >= AS_WIDE * 2.0 * width(found.base)


def test_samples_of_a_case_that_leaks(case: Case) -> None:
    """Where superposition is not exact, samples are solved on all grids."""
    found = many(
        written("streaks" if case.dimensions == 2 else "pinched edges", case.folder, **LEAKS), [{PATH: 2.0 * POWER}],
        asked=[("reading", "R")], accuracy_K=2.0 * ACCURACY_K, workers=1,
    )  # fmt: skip
    assert found.ways == ("all grids",)
    assert found.doubts[0, 0] >= AS_WIDE * 2.0 * width(found.base)


def test_gains(case: Case, predicted: Prediction) -> None:
    found = family(["base", "half"], [case, with_option(case, "half")], accuracy_K=ACCURACY_K)
    assert found.gain(1, ("reading", "R")).half_width >= AS_WIDE * 0.5 * width(predicted)


def test_points_of_a_sweep(case: Case) -> None:
    found = sweep(case, [Vary(PATH, POWER, 2.0 * POWER, 2)], asked=[("reading", "R")], accuracy_K=ACCURACY_K)
    for point in found.points:
        made = predict(with_power(case, point.values[0]), accuracy_K=ACCURACY_K)
        assert point.doubts["reading", "R"].half_width >= AS_WIDE * width(made)


def with_power(case: Case, watts: float) -> Case:
    return with_inputs(case, {PATH: watts})


def test_warm_ups(case: Case) -> None:
    found = warmup(case, accuracy_K=ACCURACY_K)
    cells = warmup.__kwdefaults__["first_cells"]
    steady, _ = plan_for(case, plan_grid(case, cells), int(IN_PLAN * cells), ACCURACY_K, allowed_GB(None))
    made = predict(case, plan=time_plan(case, steady, 1e-3), grids=len(found.steps))
    curve = found.curves["reading", "R"]
    assert curve.loaded.half_width >= AS_WIDE * width(made)
    assert curve.mesh_doubt[-1] >= AS_WIDE * width(made)
    assert curve.mesh_doubt[0] < 0.1 * curve.mesh_doubt[-1]


def test_step_responses(case: Case) -> None:
    found = step_response(case, accuracy_K=ACCURACY_K, grids=3)
    plan = time_plan(case, predict(case, accuracy_K=ACCURACY_K).plan, 1e-3)
    made = predict(case, plan=plan, grids=3)
    assert found.mesh_doubt[-1, 0, 0] * POWER >= AS_WIDE * width(made)
    assert found.mesh_doubt[0, 0, 0] < 0.1 * found.mesh_doubt[-1, 0, 0]


def test_a_warm_up_tells_of_a_map_finer_than_its_cells(tmp_path: Path) -> None:
    found = warmup(written("streaks", tmp_path), accuracy_K=0.05, grids=3)
    assert any("the film map of tim changes within a cell" in remark for remark in found.remarks)


def test_no_other_place_makes_a_doubt() -> None:
    """All doubts of families of grids are made by `mesh.settling`, of grids that know what is not seen on them."""
    package = Path(thermsim.__file__).parent
    makers = {
        file.relative_to(package).as_posix()
        for file in package.rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and node.module == "thermsim.mesh.convergence"
        if {"doubt", "doubts"} & {name.name for name in node.names}
    }
    assert makers == {"mesh/settling.py"}
