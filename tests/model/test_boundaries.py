"""Every kind of boundary against calculations by hand, all ways to an answer, and a kind that only this file knows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.optimize import brentq
from stacks import Mapping, case_of, even_grid, film, joint, part, solve_on

from thermsim.case.geometry.places import AXIS_OF_FACE
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import BOUNDARY_KEYS, Case, Cooling
from thermsim.errors import CaseError, ThermsimError
from thermsim.mesh.predict import predict
from thermsim.model.build import Model, build_model
from thermsim.model.coefficients.groups import topology
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.model.physics.boundary import KINDS
from thermsim.model.physics.face_link import Boundary, Link, Surface
from thermsim.nearby.gradients import gradients
from thermsim.nearby.superposition import superposition
from thermsim.plausibility.measure import measure
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.readout.ladder import ladder
from thermsim.readout.observable import Observable, find
from thermsim.report.data.result import result
from thermsim.report.drawing.text_stack import drawing
from thermsim.report.text.blocks import prediction_blocks
from thermsim.solver.steady import steady_state

SIGMA = 5.670374419e-8  # [W/m2K4], CODATA 2018
GOOD = 1e5


def plate(cooling: list[Mapping], power_W: float, k: float = GOOD) -> Case:
    zones = [{"zone": "all", "power_W": power_W}]
    return case_of([part("plate", [20.0, 10.0], 2.0, k)], [{"in": "plate", "zones": zones}], cooling)


def radiating(emissivity: float = 0.8, room_C: float = 25.0, face: str = "top", **more: object) -> Mapping:
    return {"face": face, "emissivity": emissivity, "room_C": room_C, **more}


def test_every_row_of_keys_has_a_class() -> None:
    assert list(KINDS) == list(BOUNDARY_KEYS)


@pytest.mark.parametrize("power_W", [0.05, 1.0, 20.0])
def test_radiation_alone(power_W: float) -> None:
    """T^4 = T_room^4 + P / (e sigma A), in kelvin: Incropera et al., Fundamentals of Heat and Mass Transfer, 1.2.3."""
    case = plate([radiating()], power_W)
    field = solve_on(case, even_grid(case, [5, 5, 1]))
    exact = (298.15**4 + power_W / (0.8 * SIGMA * 200e-6)) ** 0.25 - 273.15 + power_W / 200e-6 * 2e-3 / GOOD
    assert field.zones[0].mean_C == pytest.approx(exact, abs=1e-5)
    assert field.flows[0].heat_W == pytest.approx(power_W, rel=1e-7)


def test_radiation_beside_a_film() -> None:
    """A film below and radiation above and from the sides share the heat: the root of one equation by scipy."""
    cooling = [radiating(0.9, 20.0), film("bottom", 15.0, 30.0), radiating(0.5, 40.0, "left", environment="wall")]
    case = plate(cooling, 2.0)
    field = solve_on(case, even_grid(case, [5, 5, 1]))

    def sent(emissivity: float, area: float, face_C: float, room_C: float) -> float:
        return float(emissivity * SIGMA * area * ((face_C + 273.15) ** 4 - (room_C + 273.15) ** 4))

    def left(face_C: float) -> float:
        by_film = 15.0 * 200e-6 * (face_C - 30.0)
        return sent(0.9, 200e-6, face_C, 20.0) + by_film + sent(0.5, 20e-6, face_C, 40.0) - 2.0

    exact = float(brentq(left, 0.0, 900.0, xtol=1e-12))
    assert field.zones[0].mean_C == pytest.approx(exact, abs=1e-4)
    heats = [sent(0.9, 200e-6, exact, 20.0), 15.0 * 200e-6 * (exact - 30.0), sent(0.5, 20e-6, exact, 40.0)]
    assert [flow.heat_W for flow in field.flows] == pytest.approx(heats, rel=1e-5)


def test_a_face_with_film_and_radiation() -> None:
    """A surface at 200 C of emissivity 0.8 in air and a room at 25 C, 15 W/m2K: 2625 W/m2 by the film and 1915 by
    radiation. Incropera et al., Fundamentals of Heat and Mass Transfer, example 1.2 (a steam pipe), from memory.
    """
    by_film, by_radiation = 15.0 * 175.0, 0.8 * SIGMA * (473.15**4 - 298.15**4)
    assert by_radiation == pytest.approx(1915, abs=1.0)
    entry = {"face": "top", "film_W_m2K": 15.0, "fluid_C": 25.0, "emissivity": 0.8, "room_C": 25.0}
    case = plate([entry], 200e-6 * (by_film + by_radiation))
    field = solve_on(case, even_grid(case, [5, 5, 1]))
    assert field.zones[0].mean_C == pytest.approx(200.0, abs=1e-3)
    assert field.flows[0].fluid_C == 25.0
    alone = with_option(case_of(case_layers(), (), [entry], options=PAINT), "bare")
    assert alone.cooling[0].kind == "film"


PAINT = [{"option": "bare", "changes": {"cooling.top": {"emissivity": "remove", "room_C": "remove"}}}]


def case_layers() -> list[Mapping]:
    return [part("plate", [20.0, 10.0], 2.0, GOOD)]


def test_an_option_may_add_radiation_to_a_film_and_exchange_both() -> None:
    options = [
        {"option": "painted", "changes": {"cooling.top": {"emissivity": 0.9, "room_C": 25}}},
        {"option": "held", "changes": {"cooling.top": {"temperature_C": 25}}},
    ]
    case = case_of(case_layers(), (), [film("top", 15.0, 25.0)], options=options)
    painted, fixed = (with_option(case, one["option"]).cooling[0] for one in options)
    assert (painted.kind, fixed.kind) == ("film and radiation", "fixed temperature")
    assert painted.film_W_m2K is not None and fixed.film_W_m2K is None


def test_radiation_with_leakage_has_a_limit_and_a_steady_state_below() -> None:
    """P0 (1 + c (T - T0)) = e sigma A (T^4 - T_room^4): radiation always catches a linear leakage in the end."""
    zones = [{"zone": "all", "power_W": 1.0}]
    heat = [{"in": "plate", "leakage": {"per_K": 0.02, "at_C": 60.0}, "zones": zones}]
    case = case_of([part("plate", [20.0, 10.0], 2.0, GOOD)], heat, [radiating()])
    found = solve_on(case, even_grid(case, [5, 5, 1])).zones[0]

    def left(face_C: float) -> float:
        made = 1.0 + 0.02 * (face_C - 60.0)
        return float(0.8 * SIGMA * 200e-6 * ((face_C + 273.15) ** 4 - 298.15**4) - made)

    assert found.mean_C == pytest.approx(float(brentq(left, 100.0, 2000.0)), abs=5e-3)


def stacked(cooling: list[Mapping]) -> Case:
    layers = [part("die", [8.0, 6.0], 0.7, 120.0), joint("glue", 15.0), part("lid", [20.0, 18.0], 1.5, 200.0)]
    zones = [{"zone": "hot", "corner_mm": [1.0, 1.0], "size_mm": [4.0, 3.0], "power_W": 3.0}]
    return case_of(layers, [{"in": "die", "zones": zones}], cooling)


NONLINEAR = stacked([radiating(0.9, 25.0), film("exposed", 12.0, 22.0), radiating(0.6, 15.0, "left", environment="w")])
GRADED = stacked(
    [
        film("top", 50.0, 25.0),
        {"face": "left", "low_C": 20.0, "high_C": 45.0, "towards": "+y"},
        {"face": "exposed", "of": "lid", "looking": "-z", "low_C": 30.0, "high_C": 35.0, "towards": "-x"},
    ]
)


@pytest.mark.parametrize(
    ("case", "path"),
    [
        (case, one.path)
        for case in (NONLINEAR, GRADED)
        for one in inputs(case)
        if (one.bounds.high > 1.0 or one.value < 1) and (one.acts_on != "plan" or one.steps[0] == "cooling")
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_sensitivities_are_differences_of_full_solves(case: Case, path: str) -> None:
    plan = plan_grid(case, 400)
    found = gradients(case, plan, 1)
    if path in found.left_out:
        pytest.skip("no grid of the same cells serves")
    known = {one.path: one for one in inputs(case)}
    step = 1e-3 * (abs(known[path].value) or 1.0)

    def full(at: float) -> dict[Observable, float]:
        changed = with_inputs(case, {path: known[path].value + at * step}, known)
        model = build_model(changed, alike(plan, case, changed).grid(1))
        return answers(changed, Field.of(model, steady_state(model, accuracy_K=1e-9)))

    above, below = full(1.0), full(-1.0)
    for question, row in found.values.items():
        slope = (above[question] - below[question]) / (2 * step)
        assert row[path] == pytest.approx(slope, rel=2e-5, abs=2e-6 / step * 1e-3), question


def test_a_small_model_refuses_what_it_cannot_follow() -> None:
    for case, name in ((NONLINEAR, "top"), (GRADED, "left")):
        with pytest.raises(ThermsimError, match=name):
            topology(case, build_model(case, plan_grid(case, 400).grid(1)))


def test_superposition_is_the_tangent_of_radiation() -> None:
    """K per W at the films of the solved state: the slope of full solves, but for k(T), which is constant here."""
    grid = plan_grid(NONLINEAR, 400).grid(1)
    rows = superposition(NONLINEAR, solve_on(NONLINEAR, grid))
    slope = gradients(NONLINEAR, plan_grid(NONLINEAR, 400), 1)["zone", "hot", "mean"]["hot.power_W"]
    at = rows.questions.index(find(rows.questions, ("zone", "hot", "mean")))
    assert rows.resistance[at, 0] == pytest.approx(slope, rel=1e-6)


def test_radiation_settles_over_grids_and_is_told() -> None:
    found = predict(NONLINEAR, accuracy_K=0.05)
    assert found.status == "accuracy held" and found.bounds is None
    assert "radiates, emissivity 0.9, to 25 C" in drawing(NONLINEAR, 120)
    told = {face.label: (face.kind, face.fluid_C) for face in measure(NONLINEAR).faces}
    assert told["top"] == ("radiation", 25.0)


# ---- a temperature that falls along a line ----------------------------------------------------------------------


def test_a_graded_rim_makes_an_even_slope() -> None:
    """Ends and underside of a bar held at a + b x: T = a + b x everywhere, and k b A flows through the ends."""
    cooling = [
        {"face": "bottom", "low_C": 20.0, "high_C": 60.0, "towards": "-x"},
        {"face": "left", "temperature_C": 60.0},
        {"face": "right", "temperature_C": 20.0},
    ]
    case = case_of([part("bar", [40.0, 10.0], 3.0, 50.0)], (), cooling)
    field = solve_on(case, even_grid(case, [2, 5, 1]))
    exact = 40.0 - field.model.grid.x.centres * 1e3
    assert np.abs(field.temperature - exact[:, None, None]).max() < 1e-9
    through = 50.0 * 1000.0 * 30e-6
    assert [flow.heat_W for flow in field.flows] == pytest.approx([0.0, -through, through], abs=1e-7)


@pytest.mark.parametrize("towards", ["+x", "-x", "+y", "-y"])
def test_a_grade_begins_and_ends_with_its_patch(towards: str) -> None:
    patch: Mapping = {"face": "top", "corner_mm": [3.0, 2.0], "size_mm": [12.0, 6.0]}
    case = plate([{**patch, "low_C": 10.0, "high_C": 90.0, "towards": towards}], 0.0)
    model = build_model(case, even_grid(case, [1, 1, 1]))
    known = np.asarray(model.boundary_at(2, model.grid.shape[2], model.first_guess()).known_C)
    axis = "xy".index(towards[1])
    along = np.moveaxis(known, axis, 0)
    along = along[np.isfinite(along).any(axis=1)]
    ends = np.nanmean(along, axis=1)[[0, -1]] if towards[0] == "+" else np.nanmean(along, axis=1)[[-1, 0]]
    half = 40.0 / len(along)
    assert ends == pytest.approx([10.0 + half, 90.0 - half])


def test_bad_boundaries_are_told() -> None:
    for given, told in (
        ({"low_C": 50, "high_C": 20, "towards": "+x"}, "`low_C` is above `high_C`"),
        ({"low_C": 10, "high_C": 20}, "`towards` is missing: `low_C` with `high_C` is given"),
        ({"emissivity": 0.5}, "`room_C` is missing: `emissivity` is given"),
        ({"emissivity": 1.5, "room_C": 20}, "1"),
        ({"film_W_m2K": 5, "fluid_C": 20, "temperature_C": 20}, "a cooled face has"),
        ({"film_W_m2K": 5, "emissivity": 0.5, "room_C": 20}, "`fluid_C` is missing"),
        ({"film_W_m2K": 5, "fluid_C": 20, "looking": "+x"}, "`looking` limits `exposed`"),
    ):
        with pytest.raises(CaseError, match=told):
            plate([{"face": "top", **given}], 1.0)


# ---- held faces that touch --------------------------------------------------------------------------------------


def held(face: str, temperature_C: float, **more: object) -> Mapping:
    return {"face": face, "temperature_C": temperature_C, **more}


def block(cooling: list[Mapping], **more: object) -> Case:
    zones = [{"zone": "z", "corner_mm": [4.0, 4.0], "size_mm": [4.0, 4.0], "power_W": 5.0}]
    return case_of([part("block", [12.0, 12.0], 4.0, 50.0)], [{"in": "block", "zones": zones}], cooling, **more)


LEFT_HALF: Mapping = {"corner_mm": [0.0, 0.0], "size_mm": [6.0, 12.0]}
RIGHT_HALF: Mapping = {"corner_mm": [6.0, 0.0], "size_mm": [6.0, 12.0]}
TOUCH: dict[str, tuple[list[Mapping], set[int]]] = {
    "two patches": ([held("top", 20, **LEFT_HALF), held("top", 50, **RIGHT_HALF, environment="b")], {0, 1}),
    "at an edge": ([held("top", 20), held("left", 50), film("right", 500.0, 10.0)], {0, 1}),
    "alike": ([held("top", 20), held("left", 20)], set()),
    "apart": ([held("top", 20, **LEFT_HALF), held("top", 50, corner_mm=[7, 0], size_mm=[5, 12])], set()),
    "a film between": ([held("top", 20), film("left", 9e4, 50.0)], set()),
    "a graded rim": (
        [
            held("top", 20, corner_mm=[0, 0], size_mm=[5, 12]),
            {"face": "top", "low_C": 20, "high_C": 50, "towards": "+x", "corner_mm": [5, 0], "size_mm": [2, 12],
             "environment": "rim"},
            held("top", 50, corner_mm=[7, 0], size_mm=[5, 12], environment="b"),
        ],
        set(),
    ),
    "a rim that does not meet them": (
        [
            held("top", 20, corner_mm=[0, 0], size_mm=[5, 12]),
            {"face": "top", "low_C": 21, "high_C": 50, "towards": "+x", "corner_mm": [5, 0], "size_mm": [2, 12],
             "environment": "rim"},
            held("top", 50, corner_mm=[7, 0], size_mm=[5, 12], environment="b"),
        ],
        {0, 1},
    ),
}  # fmt: skip


@pytest.mark.parametrize("cooling", list(TOUCH))
def test_heat_between_held_faces_that_touch_has_no_number(cooling: str) -> None:
    entries, endless = TOUCH[cooling]
    found = predict(block(entries), accuracy_K=0.2)
    told = {number for number, flow in enumerate(result(found)["flows"]) if flow["heat_W"] is None}
    assert told == endless
    warned = [remark for remark in found.remarks if "no finite value" in remark]
    assert bool(warned) == bool(endless)
    assert found.status == "accuracy held"
    if endless:
        assert any("no bound" in row for block in prediction_blocks(found) for row in block.rows)
        assert found.ladder is None or not endless.intersection(found.field.sink)


@pytest.mark.parametrize("resistance", [0.0, 20.0])
def test_faces_on_either_side_of_a_joint_do_not_touch(resistance: float) -> None:
    """A die's flank at 20 C ends at the underside of a lid at 50 C: they share a line only where no film parts them."""
    layers = [part("die", [6.0, 6.0], 1.0, 120.0), joint("film", resistance), part("lid", [12.0, 12.0], 2.0, 390.0)]
    cooling = [held("exposed", 20, of="die"), held("exposed", 50, of="lid", environment="b")]
    case = case_of(layers, (), cooling)
    found = Field.touching.func(solve_on(case, even_grid(case, [1, 1, 0.5])))  # type: ignore[attr-defined]
    assert found == (((0, 1),) if resistance == 0.0 else ())


@pytest.mark.slow
def test_an_accuracy_of_flows_is_held() -> None:
    """The same case with and without: more grids are made, until every flow is known to 5 mW."""
    cooling = [held("top", 20, **LEFT_HALF), film("bottom", 3000.0, 35.0)]
    loose, tight = predict(block(cooling), accuracy_K=2.0), predict(block(cooling, accuracy_W=0.005), accuracy_K=2.0)
    widths = [max(flow["mesh_doubt_W"] for flow in result(one)["flows"]) for one in (loose, tight)]
    assert widths[0] > 0.005 >= widths[1] and tight.status == "accuracy held"
    never = predict(block(cooling, accuracy_W=1e-9), accuracy_K=2.0, memory_GB=0.06)
    assert never.status == "accuracy not held" and any("accuracy of 1e-09 W" in one for one in never.remarks)


# ---- faces to voids by the way they look ------------------------------------------------------------------------


def test_exposed_faces_of_one_part_may_have_two_fluids() -> None:
    """A post on a base: heat through its flanks and its ledge by hand, since good copper is at one temperature."""
    cooling = [
        film("exposed", 100.0, 20.0, environment="draught", of="post", looking="+x"),
        film("exposed", 40.0, 30.0, environment="rest", of="post"),
        film("exposed", 10.0, 25.0, environment="ledge"),
    ]
    layers = [part("base", [20.0, 20.0], 1.0, GOOD), part("post", [6.0, 4.0], 5.0, GOOD)]
    case = case_of(layers, [{"in": "base", "zones": [{"zone": "z", "power_W": 0.5}]}], cooling)
    field = solve_on(case, even_grid(case, [2, 2, 1]))
    assert [flow.area_m2 for flow in field.flows] == pytest.approx([20e-6, 80e-6, 376e-6])
    films = np.array([100.0 * 20e-6, 40.0 * 80e-6, 10.0 * 376e-6])
    fluids = np.array([20.0, 30.0, 25.0])
    metal = (0.5 + films @ fluids) / films.sum()
    assert [flow.heat_W for flow in field.flows] == pytest.approx(films * (metal - fluids), rel=1e-4)
    twice = [*cooling[:1], film("exposed", 9.0, 20.0, environment="again", of="post", looking="+x")]
    with pytest.raises(CaseError, match="taken as a whole"):
        case_of(layers, (), twice)


# ---- the ladder follows the heat --------------------------------------------------------------------------------

TOPS: dict[str, list[Mapping]] = {
    "one-sided patch": [
        film("top", 9000.0, 40.0, environment="hot side", corner_mm=[0.0, 0.0], size_mm=[10.0, 18.0]),
        film("top", 9000.0, 20.0, environment="cold side"),
    ],
    "exposed flanks": [film("exposed", 4000.0, 20.0), film("top", 20.0, 35.0)],
    "one face": [film("top", 5000.0, 20.0), film("bottom", 100.0, 40.0)],
    "below": [film("top", 10.0, 20.0), film("bottom", 9000.0, 40.0)],
    "radiation": [radiating(0.9, 25.0), film("bottom", 1.0, 20.0)],
}


@pytest.mark.parametrize("cooling", list(TOPS))
def test_rungs_add_up_to_the_rise_that_is_told(cooling: str) -> None:
    found = predict(stacked(TOPS[cooling]), accuracy_K=0.2)
    told = found.ladder
    assert told is not None
    field = found.field
    assert sum(rung.drop_K for rung in told.rungs) == pytest.approx(told.start_C - field.coolant_C, abs=1e-6)
    assert told.coolant_C == field.coolant_C
    assert told.share > 0.4
    if cooling == "one-sided patch":
        assert told.environment == "cold side"
    if cooling == "exposed flanks":
        assert told.face == "exposed" and told.share > 0.9
    own = ladder(field)
    assert own is not None and own.rungs[-1].drop_K > 0.0


# ---- a kind that only this file knows ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Rising(Boundary):
    """Air that rises along a face: q = c |T - T_air|^(5/4), the laminar law of natural convection."""

    kind = "rising air"
    is_linear = False
    c: float
    air: float

    @classmethod
    def read(cls, case: Case, entry: Cooling) -> Rising:
        raise NotImplementedError

    def link(self, at: Surface) -> Link:
        rise = np.maximum(np.abs(np.asarray(at.face_C) - self.air), 1e-6)
        film_W_m2K = 1.25 * self.c * rise**0.25
        return Link(film_W_m2K, at.face_C - (at.face_C - self.air) / 1.25, 0.0)

    @property
    def words(self) -> str:
        return f"air at {self.air:g} C rises"

    @property
    def known_C(self) -> tuple[float, ...]:
        return (self.air,)


def risen(model: Model, c: float) -> Model:
    return replace(model, coolings=(Rising("top", "top", c, 25.0), *model.coolings[1:]))


def test_a_new_kind_is_one_class() -> None:
    """1 W through 200 mm2: 25 + (P / (c A))^(4/5); the heat balance, the ladder, and K per W are right with it."""
    case = plate([film("top", 1.0, 25.0)], 1.0)
    model = risen(build_model(case, even_grid(case, [5, 5, 1])), 20.0)
    field = Field.of(model, steady_state(model))
    exact = (1.0 / (20.0 * 200e-6)) ** 0.8
    assert field.zones[0].mean_C - 25.0 == pytest.approx(exact + 1.0 / 200e-6 * 2e-3 / GOOD, rel=1e-8)
    assert field.flows[0].heat_W == pytest.approx(1.0, rel=1e-8) and not model.is_linear
    slope = superposition(case, field).resistance
    assert slope[0, 0] == pytest.approx(0.8 * exact, rel=1e-5)
    told = ladder(field)
    assert told is not None and sum(rung.drop_K for rung in told.rungs) == pytest.approx(exact, rel=1e-5)
    assert AXIS_OF_FACE[told.face] == (2, -1)
