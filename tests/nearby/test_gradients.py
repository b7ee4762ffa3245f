"""Gradients of answers, against closed forms and against differences of full solves."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from stacks import case_of, film, joint, part

from thermsim.case.inputs.values import Input, inputs, with_inputs
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.nearby.gradients import Gradients, field_of, gradients
from thermsim.nearby.sensitivities import sensitivities
from thermsim.readout.answers import Solved, answers, local
from thermsim.readout.field import Field
from thermsim.readout.observable import Observable
from thermsim.solver.adjoint import adjoint
from thermsim.solver.linearised import Goal, linearise
from thermsim.solver.steady import steady_state

CELLS = 350
SEED = 7319


def slab(heat_at: str = "bottom", **more: object) -> Case:
    """One-dimensional: 30 W through 10 x 10 mm, 2 mm thick, 150 W/mK, into a film of 5000 W/m2K at 20 C."""
    zones = [{"zone": "all", "power_W": 30.0}]
    layers = [part("bar", [10.0, 10.0], 2.0, 150.0)]
    return case_of(layers, [{"in": "bar", "at": heat_at, "zones": zones}], [film("top", 5000.0, 20.0)], **more)


def test_a_slab_of_constant_conductivity() -> None:
    """T = T_f + q (1/h + t/k) on the heated face: Incropera et al., Fundamentals of Heat and Mass Transfer, 3.1."""
    case = slab()
    area, power, t, k, h = 1e-4, 30.0, 2e-3, 150.0, 5000.0
    q = power / area
    found = gradients(case)
    closed = {
        "bar.thickness_mm": 1e-3 * q / k,
        "bar.material.conductivity_W_mK": -q * t / k**2,
        "top.film_W_m2K": -q / h**2,
        "top.fluid_C": 1.0,
        "all.power_W": (1.0 / h + t / k) / area,
    }
    for question in (("zone", "all", "mean"), ("zone", "all", "highest"), ("hottest",)):
        for path, value in closed.items():
            assert found[question][path] == pytest.approx(value, rel=1e-9), (question, path)
    heat = found["flow", "0"]
    assert heat["all.power_W"] == pytest.approx(1.0, rel=1e-9)
    assert [heat[path] for path in closed if path != "all.power_W"] == pytest.approx([0.0] * 4, abs=1e-8)
    units = [found.unit(("hottest",), path) for path in closed]
    assert units == ["K per mm", "K per (W/mK)", "K per (W/m2K)", "K per K", "K per W"]
    assert found.unit(("flow", "0"), "all.power_W") == "W per W"


def test_a_slab_whose_size_is_held_by_nothing_else() -> None:
    """The same formula with area = a b: dT/da = -(T - T_f)/a, power unchanged."""
    found = gradients(slab())
    rise = found.answers["hottest",] - 20.0
    for axis in (0, 1):
        assert found["hottest",][f"bar.size_mm.{axis}"] == pytest.approx(-rise / 10.0, rel=1e-9)


def test_a_slab_heated_throughout() -> None:
    """Mean of T = T_f + Q/(h A) + Q t/(3 k A) over a slab insulated below: Incropera et al., 3.5. Cells leave the t/k
    term wrong by their width squared, so only what the film does is compared to the last digits.
    """
    found = gradients(slab("volume"), plan_grid(slab("volume"), 300), 4)["zone", "all", "mean"]
    assert found["top.film_W_m2K"] == pytest.approx(-3e5 / 5000.0**2, rel=1e-9)
    assert found["bar.thickness_mm"] == pytest.approx(1e-3 * 3e5 / (3.0 * 150.0), rel=1e-2)


def test_a_slab_with_leakage() -> None:
    """P = P0 (1 + c (T - T0)) made in the heated face, R its resistance: T - T_f = R P, so with g = 1 / (1 - R P0 c)
    dT/dP0 = g R (1 + c (T - T0)), dT/dc = g R P0 (T - T0), dT/dT0 = -g R P0 c.
    """
    zones = [{"zone": "all", "power_W": 30.0}]
    leakage = {"per_K": 0.004, "at_C": 60.0}
    case = case_of(
        [part("bar", [10.0, 10.0], 2.0, 150.0)],
        [{"in": "bar", "leakage": leakage, "zones": zones}],
        [film("top", 5000.0, 20.0)],
    )
    found = gradients(case)
    resistance, at = (1 / 5000 + 2e-3 / 150) / 1e-4, found.answers["hottest",]
    gain, over = 1.0 / (1.0 - resistance * 30.0 * 0.004), at - 60.0
    row = found["zone", "all", "mean"]
    assert row["all.power_W"] == pytest.approx(gain * resistance * (1.0 + 0.004 * over), rel=1e-8)
    assert row["heat.bar.leakage.per_K"] == pytest.approx(gain * resistance * 30.0 * over, rel=1e-8)
    assert row["heat.bar.leakage.at_C"] == pytest.approx(-gain * resistance * 30.0 * 0.004, rel=1e-8)


def test_a_slab_whose_conductivity_falls_with_temperature() -> None:
    """Kirchhoff: the integral of k dT over the slab is q t; with k = k0 (T0/T)^m between the face T_s = T_f + q/h and
    the heated one, dT/dt = q / k(T) there. Carslaw and Jaeger, Conduction of Heat in Solids, 1.6. Grids leave the
    error of a mean k in each cell.
    """
    law = {"value": 120.0, "at_C": 30.0, "exponent": 1.3}
    case = case_of(
        [part("bar", [10.0, 10.0], 4.0, {"conductivity_W_mK": law})],
        [{"in": "bar", "zones": [{"zone": "all", "power_W": 150.0}]}],
        [film("top", 2e4, 20.0)],
    )
    found = gradients(case, plan_grid(case, 300), 8)
    hot = found.answers["hottest",] + 273.15
    k = 120.0 * (303.15 / hot) ** 1.3
    assert found["hottest",]["bar.thickness_mm"] == pytest.approx(1e-3 * 1.5e6 / k, rel=1e-4)


# ---- against differences of full solves ---------------------------------------------------------------------------


def plain() -> Case:
    """Constant k: directions apart, a wedge, a flux, a patch, fixed temperature, a probe, an offset, other centres."""
    layers = [
        part("board", [20.0, 18.0], 1.4, [[22.0, 7.0], 0.6]),
        part("die", [9.0, 7.0], 0.7, 120.0),
        {
            "joint": "solder",
            "film_um": {"low": 40, "high": 160, "towards": "-y"},
            "conductivity_W_mK": 30,
            "boundary_mm2K_W": 0.0,
            "wetted_fraction": 0.9,
        },
        part("lid", [16.0, 15.0], 2.0, [350.0, 280.0]),
    ]
    zones = [
        {"zone": "big", "corner_mm": [0.0, 1.0], "size_mm": [4.0, 5.0], "power_W": 20.0},
        {"zone": "small", "corner_mm": [5.0, 2.0], "size_mm": [2.0, 3.1], "power_W": 9.0},
    ]
    cooling = [
        film("top", 8000.0, 25.0, wetted_mm=[14.0, 12.0]),
        {"face": "bottom", "temperature_C": 35.0, "corner_mm": [4.3, 1.0], "size_mm": [5.1, 3.0]},
        {"face": "left", "flux_W_mm2": 0.01},
        film("exposed", 30.0, 28.0),
        film("exposed", 60.0, 22.0, of="lid"),
    ]
    return case_of(
        layers,
        [{"in": "die", "zones": zones}],
        cooling,
        probes=[
            {"probe": "in die", "in": "die", "at_mm": [3.1, 2.77, 0.31]},
            {"probe": "on lid", "in": "lid", "at_mm": [6.3, 7.1, 0.0]},
        ],
        readings=[
            {"reading": "r", "zone": "small", "takes": "highest", "offset_K": 0.5},
            {"reading": "s", "probe": "in die"},
        ],
    )


def curved() -> Case:
    """k(T) as a law, as a table and from the catalogue, leakage that doubles, a dome, an insert, what stands around."""
    layers = [
        part("board", [16.0, 15.0], 1.2, 4.0),
        part(
            "die",
            [9.0, 7.5],
            0.7,
            {"conductivity_W_mK": {"value": 130.0, "at_C": 25.0, "exponent": 1.4}},
            around={"material": {"conductivity_W_mK": {"table": [[0.0, 0.5], [150.0, 0.9]]}}},
            inserts=[{"material": "void", "corner_mm": [7.5, 0.5], "size_mm": [0.8, 1.2]}],
        ),
        {"joint": "paste", "film_um": {"edge": 60, "centre": 20}, "conductivity_W_mK": 4.0, "boundary_mm2K_W": 1.0},
        part("lid", [14.0, 12.0], 1.5, "copper"),
    ]
    zones = [
        {"zone": "core", "corner_mm": [1.0, 2.2], "size_mm": [3.0, 3.0], "power_W": 15.0},
        {"zone": "idle", "corner_mm": [4.5, 1.0], "size_mm": [2.5, 4.0], "power_W": 0.0},
    ]
    return case_of(
        layers,
        [{"in": "die", "leakage": {"share": 0.2, "doubling_K": 30.0, "at_C": 80.0}, "zones": zones}],
        [film("top", 12000.0, 30.0), film("bottom", 15.0, 25.0)],
        probes=[{"probe": "inside", "in": "die", "at_mm": [2.3, 3.1, 0.5]}],
    )


def throughout() -> Case:
    """Heat in a volume of falling k, with linear leakage; heat in a top face beside a joint of known resistance."""
    layers = [
        part("base", [12.0, 11.0], 2.0, {"conductivity_W_mK": {"table": [[20.0, 40.0], [60.0, 30.0], [200.0, 20.0]]}}),
        joint("glue", 12.0),
        part("chip", [7.0, 6.0], 1.0, "silicon"),
        joint("pad", 5.0),
        part("cap", [10.0, 9.0], 1.0, 200.0),
    ]
    heat = [
        {
            "in": "base",
            "at": "volume",
            "leakage": {"per_K": 0.002, "at_C": 50.0},
            "zones": [{"zone": "bulk", "corner_mm": [1.7, 2.2], "size_mm": [6.0, 5.0], "power_W": 12.0}],
        },
        {
            "in": "chip",
            "at": "top",
            "leakage": {"per_K": 0.003, "at_C": 60.0},
            "zones": [{"zone": "face", "corner_mm": [1.0, 1.3], "size_mm": [4.0, 3.0], "power_W": 18.0}],
        },
    ]
    cooling = [film("bottom", 3000.0, 22.0), film("top", 900.0, 24.0), film("exposed", 20.0, 20.0)]
    return case_of(layers, heat, cooling)


def cut() -> Case:
    """A slice of joined bars."""
    layers = [
        part("die", 8.0, 0.7, "silicon"),
        joint("film", 6.0),
        part("lid", 20.0, 2.0, {"in_plane_W_mK": 300.0, "through_W_mK": 60.0}),
    ]
    zones = [{"zone": "hot", "corner_mm": 1.0, "size_mm": 3.0, "power_W": 900.0}]
    return case_of(
        layers,
        [{"in": "die", "zones": zones}],
        [film("top", 6000.0, 20.0), film("exposed", 25.0, 21.0)],
        dimensions=2,
        probes=[{"probe": "p", "in": "lid", "at_mm": [9.25, 0.77]}],
    )


def mapped() -> Case:
    """Power and film from tables, on a part that changes its size."""
    layers = [
        part("die", [8.0, 6.0], 0.7, 120.0),
        {"joint": "solder", "film_um": {"file": "film.csv"}, "conductivity_W_mK": 30, "boundary_mm2K_W": 2.0},
        part("lid", [15.0, 14.0], 2.0, 390.0),
    ]
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "film.csv").write_text("60,70,90,120\n50,60,70,100\n40,45,60,80\n", encoding="utf-8")
        (folder / "power.csv").write_text("1,3,2\n2,8,4\n", encoding="utf-8")
        heat = [{"in": "die", "map": {"file": "power.csv", "holds": "W"}}]
        return case_of(layers, heat, [film("top", 9000.0, 20.0)], folder)


def filled() -> Case:
    """Fills in the gaps of joints: over one that is given by its resistance, between two, under another."""
    around = {"material": {"conductivity_W_mK": 0.6}}
    layers = [
        part("board", [14.0, 13.0], 1.2, 9.0),
        joint("glue", 14.0),
        part("die", [8.0, 7.0], 0.7, 120.0, around=around),
        {"joint": "solder", "film_um": {"low": 90, "high": 260, "towards": "+x"}, "conductivity_W_mK": 30},
        part("lid", [11.0, 9.0], 1.5, 390.0, around=around),
        {"joint": "pad", "film_um": 400, "conductivity_W_mK": 4, "wetted_fraction": 0.9},
        part("plate", [15.0, 13.6], 1.0, 200.0),
    ]
    heat = [{"in": "die", "zones": [{"zone": "hot", "corner_mm": [1.0, 1.2], "size_mm": [4.0, 5.0], "power_W": 20.0}]}]
    return case_of(layers, heat, [film("top", 4000.0, 20.0), film("bottom", 300.0, 21.0)])


def kinked() -> Case:
    """Kinks of two tables within many cells, beside joint, fill, leakage, a heated volume, a film and a held face."""
    table = {"conductivity_W_mK": {"table": [[20.0, 160.0], [52.0, 90.0], [70.0, 130.0], [140.0, 40.0]]}}
    layers = [
        part("board", [14.0, 12.0], 1.2, 9.0),
        part("die", [8.0, 7.0], 0.7, table),
        joint("solder", 20.0),
        part("lid", [11.0, 9.0], 1.5, {"conductivity_W_mK": {"table": [[20.0, 30.0], [40.0, 60.0], [90.0, 20.0]]}},
             around={"material": {"conductivity_W_mK": 0.6}}),
    ]  # fmt: skip
    hot = {"zone": "hot", "corner_mm": [1.0, 1.2], "size_mm": [4.0, 3.0], "power_W": 20.0}
    bulk = {"zone": "bulk", "corner_mm": [4.0, 3.0], "size_mm": [3.0, 2.0], "power_W": 3.0}
    heat = [
        {"in": "die", "leakage": {"per_K": 0.003, "at_C": 70.0}, "zones": [hot]},
        {"in": "lid", "at": "volume", "zones": [bulk]},
    ]
    cooling = [
        film("top", 6000.0, 20.0),
        {"face": "bottom", "environment": "bench", "temperature_C": 30.0},
        film("exposed", 60.0, 22.0),
    ]
    return case_of(layers, heat, cooling, probes=[{"probe": "inside", "in": "die", "at_mm": [2.3, 3.1, 0.5]}])


STACKS = {"filled": filled, "mapped": mapped, "plain": plain, "curved": curved, "throughout": throughout, "cut": cut,
          "kinked": kinked}  # fmt: skip


def full(case: Case, plan: GridPlan, base: Case) -> dict[Observable, float]:
    """All answers of a full solve on the grid of the base, stretched."""
    model = build_model(case, alike(plan, base, case).grid(1))
    return answers(case, Field.of(model, steady_state(model, accuracy_K=1e-9)))


def difference(one: Input, case: Case, plan: GridPlan) -> dict[Observable, float]:
    """Slopes by central differences of fourth order, or of fifth from one side where the other is forbidden."""
    step = 2e-3 * (abs(one.value) or 1.0)

    def can_be(value: float) -> bool:
        try:
            with_inputs(case, {one.path: value})
        except ThermsimError:
            return False
        return True

    points = {-2: 1 / 12, -1: -8 / 12, 1: 8 / 12, 2: -1 / 12}
    if not can_be(one.value + 2 * step):
        points = {0: 137 / 60, -1: -5.0, -2: 5.0, -3: -10 / 3, -4: 5 / 4, -5: -1 / 5}
    elif not can_be(one.value - 2 * step):
        points = {0: -137 / 60, 1: 5.0, 2: -5.0, 3: 10 / 3, 4: -5 / 4, 5: 1 / 5}
    found = {at: full(with_inputs(case, {one.path: one.value + at * step}), plan, case) for at in points}
    return {
        question: sum(weight * found[at][question] for at, weight in points.items()) / step
        for question in next(iter(found.values()))
    }


@cache
def solved(name: str) -> tuple[Case, GridPlan, Gradients]:
    case = STACKS[name]()
    plan = plan_grid(case, CELLS)
    model = build_model(case, plan.grid(1))
    steady = steady_state(model, accuracy_K=1e-9)
    field = Field(model, steady.guess, steady.solution.temperature, steady.error_K)
    return case, plan, gradients(case, plan, 1, list(answers(case, field)), field=field)


def numbers_of_stacks() -> Iterator[Any]:
    """All of them; lengths in plan, which are many, of one stack in the fast tests."""
    for name, make in STACKS.items():
        for one in inputs(make()):
            is_slow = one.acts_on == "plan" and name != "plain"
            yield pytest.param(name, one.path, marks=[pytest.mark.slow] if is_slow else [])


@pytest.mark.parametrize(("name", "path"), numbers_of_stacks())
def test_differences_of_full_solves(name: str, path: str) -> None:
    """Every kind of input and of answer, to 1e-6 and what 1e-9 K in each solve leaves of a difference.

    Over temperature the mean of k across a cell has a slope that bends wherever a kink comes into the cell or leaves
    it, which differences take in to 1e-4 only.
    """
    case, plan, found = solved(name)
    one = found.known[path]
    if path in found.left_out and one.acts_on == "plan":
        return  # its outline lies on another, or a probe on a face leaves it: see the tests below
    assert path not in found.left_out
    scale, within = abs(one.value) or 1.0, 1e-4 if name == "kinked" else 1e-6
    for question, slope in difference(one, case, plan).items():
        assert found[question][path] == pytest.approx(slope, rel=within, abs=2e-6 / scale), question


@pytest.mark.parametrize("name", list(STACKS))
def test_weights_of_a_read_off_give_the_answer(name: str) -> None:
    """Temperatures times weights are the answer itself, read off by `field.py`, but for heats."""
    case, _, found = solved(name)
    at = linearise(found.field.model, found.field.temperature, found.field.guess)
    state = Solved(case, field_of(at))
    for question, answer in found.answers.items():
        if question.kind == "reading" or question.kind == "flow":
            continue
        one = local(question, state)
        assert one.value(at.model, case) == pytest.approx(answer, rel=1e-9), question
        if question.takes == "power":
            continue
        goal = one.goal
        total = float(at.temperature.reshape(-1)[goal.cells] @ goal.weights)
        for (axis, face), (under, over) in goal.nodes.items():
            sides = [np.nan_to_num(side) for side in state.field.nodes(axis, face)]
            total += float((under * sides[0] + over * sides[1]).sum())
        assert total == pytest.approx(answer, rel=1e-9), question


def test_adjoint_is_the_answer_to_a_watt_in_any_cell() -> None:
    """Reciprocity of constant k (Green's function symmetric): T at a for a watt at b is T at b for a watt at a."""
    _, _, found = solved("plain")
    at = linearise(found.field.model, found.field.temperature, found.field.guess)
    rng = np.random.default_rng(SEED)
    cells = rng.choice(np.flatnonzero(at.stencil.solid), 6, replace=False)
    watts = np.array([adjoint(at, Goal(cells[n : n + 1], np.ones(1))).reshape(-1)[cells] for n in range(len(cells))])
    np.testing.assert_allclose(watts, watts.T, rtol=1e-8)


def test_sum_of_all_flows_answers_to_power_alone() -> None:
    """First law: what leaves is what is made, so without leakage the sum of flows grows by 1 W per W and not else."""
    case, _, found = solved("plain")
    flows = [question for question in found.values if question.kind == "flow"]
    for one in inputs(case):
        if one.path in found[flows[0]]:
            total = sum(found[flow][one.path] for flow in flows)
            assert total == pytest.approx(float(one.path.endswith("power_W")), abs=1e-6 / (abs(one.value) or 1.0))


def test_an_input_that_parts_outlines_is_left_out_and_said_so() -> None:
    """Lid and plate of one size: no grid of the same cells has both edges once one of them changes."""
    layers = [part("die", [8, 8], 0.7, 120.0), part("lid", [20, 20], 2, 390.0), part("plate", [20, 20], 3, 390.0)]
    case = case_of(layers, [{"in": "die", "zones": [{"zone": "z", "power_W": 10.0}]}], [film("top", 1e4, 20.0)])
    found = gradients(case, plan_grid(case, CELLS), 1, [("hottest",)])
    assert {"lid.size_mm.0", "plate.size_mm.1"} <= set(found.left_out)
    assert "die.size_mm.0" in found["hottest",] and "lid.size_mm.0" not in found["hottest",]
    assert "outlines" in found.left_out["lid.size_mm.0"]


def hotspot(dimensions: int) -> Case:
    """A zone of a twentieth of the die, where one coarse grid is a fifth off; as a slice, its watts are of a metre."""
    scale = {3: 1.0, 2: 100.0}[dimensions]

    def lengths(x: float, y: float) -> Any:
        return [x, y] if dimensions == 3 else x

    zones = [
        {"zone": "h", "corner_mm": lengths(5, 4), "size_mm": lengths(0.6, 0.6), "power_W": 4.0 * scale},
        {"zone": "rest", "corner_mm": lengths(1, 1), "size_mm": lengths(3, 6), "power_W": 20.0 * scale},
    ]
    layers = [
        part("die", lengths(12, 8), 0.5, "silicon"),
        joint("tim", 6.0),
        part("lid", lengths(24, 20), 2.0, 390.0),
    ]
    return case_of(layers, [{"in": "die", "zones": zones}], [film("top", 12_000.0, 30.0)], dimensions=dimensions)


@pytest.mark.parametrize("dimensions", [2, pytest.param(3, marks=pytest.mark.slow)])
@pytest.mark.parametrize("path", ["h.power_W", "die.thickness_mm", "top.film_W_m2K", "tim.resistance_mm2K_W"])
def test_sensitivities_agree_with_predictions_to_either_side(path: str, dimensions: int) -> None:
    """Central differences of tight mesh studies."""
    case = hotspot(dimensions)
    mean = ("zone", "h", "mean")
    found = sensitivities(case, [mean], [path], accuracy_K=0.05)
    told = found[mean][path]
    value = next(one.value for one in inputs(case) if one.path == path)
    step = 0.05 * value
    near = [predict(with_inputs(case, {path: value + sign * step}), accuracy_K=0.02) for sign in (-1.0, 1.0)]
    by_hand = (near[1].answers[mean] - near[0].answers[mean]) / (2.0 * step)
    off = sum(one.doubts[mean].half_width for one in near) / (2.0 * step)
    assert abs(told.value - by_hand) <= told.half_width + 0.5 * off + 2e-3 * abs(by_hand)  # and the curve's bend
    assert told.half_width < 0.05 * abs(told.value)
    assert found.unit(mean, path).startswith("K per")


def test_what_cannot_be_asked_is_refused() -> None:
    case = slab(probes=[])
    with pytest.raises(UnknownNameError, match="nothing called"):
        gradients(case, asked=[("zone", "none", "mean")])
    with pytest.raises(UnknownNameError, match="no number"):
        gradients(case, paths=["bar.hickness_mm"])
    plan = plan_grid(case)
    field = gradients(case, plan, 1, [("hottest",)], []).field
    with pytest.raises(ThermsimError, match="not solved on this grid"):
        gradients(case, plan, 2, field=field)
