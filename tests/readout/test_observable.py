"""What is read off stands once: a new kind of observable is answered by every way as soon as its weights are said."""

from __future__ import annotations

import numpy as np
import pytest
from stacks import case_of, film, part, solve_on

from thermsim.case.inputs.values import inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import UnknownNameError
from thermsim.mesh.predict import predict
from thermsim.model.build import Model
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.gradients import gradients
from thermsim.nearby.many import many
from thermsim.nearby.small_model_training import reduce
from thermsim.nearby.superposition import superposition
from thermsim.readout.answers import KINDS, Kind, Solved, answers, observables, weights_of
from thermsim.readout.observable import Answers, Observable, find, of_probe, of_zone
from thermsim.readout.weights import Weights
from thermsim.sweeps.points import questions_of

AREA_m2, WATTS, K_W_mK, FILM_W_m2K = 1e-4, 30.0, 20.0, 6000.0
SLAB = ("part", "slab", "mean")


def slab() -> Case:
    """Heated from below, cooled from above; a probe inside, a quarter of its thickness from the heat."""
    return case_of(
        [part("slab", [10.0, 10.0], 4.0, K_W_mK)],
        [{"in": "slab", "at": "bottom", "zones": [{"zone": "all", "power_W": WATTS}]}],
        [film("top", FILM_W_m2K, 20.0)],
        probes=[{"probe": "inside", "in": "slab", "at_mm": [3.0, 4.0, 1.0]}],
    )


def over_part(one: Observable, case: Case, model: Model, near: Solved | None) -> Weights:
    """The mean of all cells of a part."""
    grid, own = model.grid, next(number for number, region in enumerate(model.regions) if region.name == one.name)
    cells = np.array(np.nonzero(model.region == own))
    volume = grid.x.widths[cells[0]] * grid.y.widths[cells[1]] * grid.z.widths[cells[2]]
    return Weights(cells, volume / volume.sum(), {})


@pytest.fixture(autouse=True)
def means_of_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """A new kind of observable: its names in a case, and its weights."""
    kind = Kind(lambda case: [Observable("part", one.part, "mean") for one in case.parts], over_part)
    monkeypatch.setitem(KINDS, "part", kind)


def mean_C(watts: float = WATTS, film_W_m2K: float = FILM_W_m2K, thickness_m: float = 4e-3) -> float:
    """One-dimensional conduction (closed form): the mean is that of the middle."""
    return 20.0 + watts / AREA_m2 * (1.0 / film_W_m2K + 0.5 * thickness_m / K_W_mK)


def test_a_new_kind_is_answered_by_every_way() -> None:
    case = slab()
    found = predict(case, accuracy_K=0.5, first_cells=300)
    assert found.answers[SLAB] == pytest.approx(mean_C(), abs=1e-6)
    assert found.doubts["part slab, mean"].half_width < 1e-3
    plan = plan_grid(case, 300)
    of_film = gradients(case, plan, 1, [SLAB], ["top.film_W_m2K"])[SLAB]["top.film_W_m2K"]
    assert of_film == pytest.approx(-WATTS / (FILM_W_m2K**2 * AREA_m2), rel=1e-6)
    resistance = superposition(case, solve_on(case, plan.grid(1)))
    row = resistance.questions.index(find(resistance.questions, SLAB))
    assert resistance.resistance[row, 0] == pytest.approx((mean_C() - 20.0) / WATTS, rel=1e-9)
    near = many(case, [{"all.power_W": 12.0}, {"top.film_W_m2K": 9000.0}], asked=[SLAB], accuracy_K=0.5, workers=1)
    assert near.of(SLAB) == pytest.approx([mean_C(12.0), mean_C(film_W_m2K=9000.0)], abs=1e-3)
    assert questions_of(case, ["part slab"]) == (Observable("part", "slab", "mean"),)


def test_a_small_model_projects_weights() -> None:
    """Means and probes of stretched parts against the closed form; a probe moves along with its part."""
    case = slab()
    paths = ["slab.thickness_mm", "top.film_W_m2K"]
    known = {one.path: one for one in inputs(case)}
    plan = plan_grid(case, 300)
    limits = np.array([3.0, 4000.0]), np.array([5.0, 8000.0])
    model = reduce(case, varied=[known[path] for path in paths], plan=plan, limits=limits, solved=12, held_out=4)
    for values in ([3.2, 7000.0], [4.7, 4500.0]):
        told = Answers(zip(model.questions, model.answers(values).values[0], strict=True))
        thickness, film_W_m2K = 1e-3 * values[0], values[1]
        inside = 20.0 + WATTS / AREA_m2 * (1.0 / film_W_m2K + 0.75 * thickness / K_W_mK)
        assert told["probe", "inside"] == pytest.approx(inside, abs=1e-3)
        assert told[SLAB] == pytest.approx(mean_C(WATTS, film_W_m2K, thickness), abs=1e-3)


def test_weights_are_what_the_field_answers() -> None:
    """Means and probes are the sum of temperatures times their weights, and weights of a mean add up to one."""
    case = slab()
    field = solve_on(case, plan_grid(case, 300).grid(1))
    whole = answers(case, field)
    assert list(whole) == list(observables(case))
    for one in (of_probe("inside"), find(whole, "zone all, mean")):
        weights = weights_of(one, case, field.model)
        assert weights is not None
        assert field.read(weights) == whole[one]
        total = weights.of_cells.sum() + sum(own.sum() for _, own in weights.faces.values())
        assert total == pytest.approx(sum(weights.spots().values()), rel=1e-12) == pytest.approx(1.0, rel=1e-12)


def test_answers_are_found_by_name() -> None:
    zone = of_zone(next(iter(solve_on(slab(), plan_grid(slab(), 300).grid(1)).zones)), "mean")
    told = Answers({zone: 1.0, of_probe("inside"): 2.0})
    assert told["zone", "all", "mean"] == told["zone all"] == told["zone all, mean"] == told[zone] == 1.0
    assert ("probe", "inside") in told and ("probe", "outside") not in told
    assert told.get(("probe", "outside")) is None
    with pytest.raises(UnknownNameError, match="did you mean `probe inside`"):
        told["probe", "insied"]
