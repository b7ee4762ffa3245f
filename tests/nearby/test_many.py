"""Many cases at once, whatever the way, against a closed form and against a mesh study of each case."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from stacks import case_of, film, part
from test_superposition import stack

import thermsim
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.mesh.predict import predict
from thermsim.nearby import many as module
from thermsim.nearby.many import Many, many
from thermsim.readout.observable import find, of_reading

CASES = Path(__file__).parents[2] / "cases"
SEED = 8_111
MEAN = ("zone", "all of it", "mean")
PATHS = ["slab.thickness_mm", "slab.material.conductivity_W_mK", "all of it.power_W", "top.film_W_m2K", "top.fluid_C"]


def slab(**more: Any) -> Case:
    zone = {"zone": "all of it", "corner_mm": [0, 0], "size_mm": [20, 20], "power_W": 40}
    layers = [part("slab", [20, 20], 5, 200.0)]
    return case_of(layers, [{"in": "slab", "zones": [zone], **more}], [film("top", 5000, 30.0)], accuracy_K=0.01)


def slab_C(sample: dict[str, float]) -> float:
    """T = fluid + P (t/k + 1/h) / A, e.g. Incropera et al., Fundamentals of Heat and Mass Transfer, section 3.1."""
    power, thickness = sample.get("all of it.power_W", 40.0), sample.get("slab.thickness_mm", 5.0)
    conductivity, of_film = sample.get("slab.material.conductivity_W_mK", 200.0), sample.get("top.film_W_m2K", 5000.0)
    return sample.get("top.fluid_C", 30.0) + power / 4e-4 * (1e-3 * thickness / conductivity + 1.0 / of_film)


def drawn(case: Case, paths: list[str], count: int, spread: float = 0.3) -> list[dict[str, float]]:
    rng, known = np.random.default_rng(SEED), {one.path: one for one in inputs(case)}
    return [{path: known[path].value * rng.uniform(1 - spread, 1 + spread) for path in paths} for _ in range(count)]


def misses(
    found: Many, case: Case, samples: list[dict[str, float]], numbers: list[int], accuracy_K: float
) -> NDArray[np.float64]:
    """What each answer lies off a mesh study of its own, over both doubts together."""
    rows = []
    for number in numbers:
        alone = predict(with_inputs(case, samples[number]), accuracy_K=accuracy_K)
        told = [alone.doubts[question] for question in found.questions]
        off = np.abs(found.values[number] - [one.value for one in told])
        rows.append(off / (found.doubts[number] + [one.half_width for one in told]))
    return np.array(rows)


@pytest.mark.usefixtures("coarse_grids")  # a slab is the same on any grid
@pytest.mark.parametrize(("count", "way"), [(3, "all grids"), (40, "full solve"), (360, "small model")])
def test_a_slab_in_closed_form(count: int, way: str) -> None:
    case = slab()
    samples = drawn(case, PATHS, count)
    found = many(case, samples, workers=1)
    assert found.held and way in found.ways
    at = found.questions.index(find(found.questions, MEAN))
    for sample, value, doubt in zip(samples, found.values[:, at], found.doubts[:, at], strict=True):
        assert abs(value - slab_C(sample)) <= doubt
    assert found.doubts[:, at].max() <= case.accuracy_K


def test_powers_of_a_linear_case_are_superposed() -> None:
    """Of powers from nothing to threefold; each agrees with a mesh study of its own."""
    case = stack()
    samples = drawn(case, ["A.power_W", "B.power_W"], 60, 0.9)
    questions = [("zone", "A", "mean"), ("probe", "deep"), ("reading", "mean")]
    found = many(case, samples, asked=questions, accuracy_K=0.2)
    assert set(found.ways) == {"superposition"}
    assert misses(found, case, samples, [5, 33], 0.1).max() <= 1.0


def test_deviations_of_a_chip_agree_with_mesh_studies() -> None:
    """k(T), leakage, all tolerances of the demo; the doubts of both are independent, so their sum covers."""
    case = read_case(CASES / "crooked-film.yaml")
    varied = [one for one in inputs(case) if one.plus_minus > 0.0]
    rng = np.random.default_rng(SEED)
    samples = [
        {one.path: min(one.value + one.plus_minus * rng.uniform(-2, 2), one.bounds.high) for one in varied}
        for _ in range(12)
    ]
    found = many(case, samples, accuracy_K=0.4)
    assert found.held and {"all grids", "full solve"} <= set(found.ways)
    numbers = [found.ways.index("all grids"), found.ways.index("full solve")]
    assert misses(found, case, samples, numbers, 0.2).max() <= 1.0


def test_samples_that_no_short_cut_answers_get_a_mesh_study(monkeypatch: pytest.MonkeyPatch) -> None:
    case = slab()
    monkeypatch.setattr(module._Study, "_enough", lambda self, left_K, share=1.0: False)
    samples = drawn(case, ["top.film_W_m2K"], 3)
    found = many(case, samples)
    assert found.ways == ("mesh study",) * 3
    at = found.questions.index(find(found.questions, MEAN))
    for sample, value, doubt in zip(samples, found.values[:, at], found.doubts[:, at], strict=True):
        assert abs(value - slab_C(sample)) <= doubt <= case.accuracy_K


@pytest.mark.usefixtures("coarse_grids")  # a slab is the same on any grid
def test_a_sample_in_runaway_has_no_answer_but_a_reason() -> None:
    """Leakage of 0.3 P 2^((T - 60)/10) outruns 2 W/K: at 4000 W it takes off from the first kelvin (by hand)."""
    case = slab(leakage={"share": 0.3, "doubling_K": 10, "at_C": 60})
    found = many(case, [{"all of it.power_W": 30.0}, {"all of it.power_W": 4000.0}])
    assert np.isfinite(found.values[0]).all() and np.isnan(found.values[1]).all()
    assert found.ways[1] == "no steady state" and "runaway" in found.why_not[1]


def test_offsets_of_sensors_shift_what_they_show_and_no_temperature() -> None:
    case = stack()
    found = many(case, [{}, {"readings.mean.offset_K": "3500 mK"}], accuracy_K=0.5)
    assert found.ways == ("base", "base")
    shift = found.values[1] - found.values[0]
    assert shift[found.questions.index(of_reading("mean"))] == pytest.approx(2.0, abs=1e-12)
    assert np.count_nonzero(shift) == 1


@pytest.mark.usefixtures("coarse_grids")  # a slab is the same on any grid
def test_answers_do_not_depend_on_the_number_of_processes() -> None:
    case = slab()
    samples = drawn(case, ["top.film_W_m2K", "slab.thickness_mm"], 40)
    one, two = (many(case, samples, workers=workers) for workers in (1, 2))
    assert np.array_equal(one.values, two.values) and one.ways == two.ways


@pytest.mark.parametrize(
    ("samples", "more", "error", "told"),
    [
        ([], {}, ThermsimError, "no samples"),
        ([{"top.fluid": 3.0}], {}, UnknownNameError, "top.fluid"),
        ([{"slab.thickness_mm": -1.0}], {}, ThermsimError, "above 0"),
        ([{"top.fluid_C": float("nan")}], {}, ThermsimError, "cannot be nan"),
        ([{}], {"asked": [("zone", "core", "mean")]}, UnknownNameError, "core"),
    ],
)
def test_what_cannot_be_asked(samples: Any, more: Any, error: type[ThermsimError], told: str) -> None:
    with pytest.raises(error, match=told):
        thermsim.many(slab(), samples, **more)


def test_accuracy_is_not_held_where_there_is_no_answer() -> None:
    """Neither by none of the samples, nor by one whose doubt is none; samples without a steady state spoil nothing."""
    nan = float("nan")

    def held(values: list[float], doubts: list[float]) -> bool:
        columns = (np.array([one]).T for one in (values, doubts))
        return Many((("hottest",),), *columns, ("base",), None, 0.1, {}, "").held  # type: ignore[arg-type]

    assert held([60.0, 61.0], [0.05, 0.1])
    assert held([60.0, nan], [0.05, nan])
    assert not held([nan, nan], [nan, nan])
    assert not held([60.0, 61.0], [0.05, 0.2])
    assert not held([60.0, 61.0], [0.05, nan])
