"""What a case reads over its coolant and its load: full solves on one coarse grid, and the surface through them.

The *load* is what all typed powers are multiplied by. Leakage follows the temperatures, so that a kelvin of coolant is
more than a kelvin of reading, and two states of one load do not take the same power. The heat made is a column beside
the readings, which is what tells a load from a package power.

Six solves give the surface of second degree in coolant and load of all readings at once: no more than an adjoint solve
for each of six readings, and what is curved (leakage that grows, k(T), radiation) is in it as far as the solves reach.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.numbers import Input
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.model.build import Model, build_model
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.model.powers import scaled_power
from thermsim.model.storage import cell_capacities
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.readout.observable import of_reading
from thermsim.solver.steady import Steady, steady_state

Array = NDArray[np.float64]

ACCURACY_K = 1e-4  # of the outer iteration: far below what a sensor shows
COARSE = 1  # multiplier of the grid: slopes are good to a hundredth on it, and correct by a few kelvin
FLUID_KEYS = ("fluid_C", "inlet_C", "temperature_C", "low_C", "high_C")
LOAD_STEP = 0.08  # share by which the load is changed: as far as a run may be put right
LEAST_COOLANT_STEP_K = 6.0
BEYOND_K = 2.0  # as far beyond its last solve as a surface of second degree still serves


@dataclass(frozen=True, eq=False)
class Response:
    """Readings of one option over coolant and load.

    option : None for the base; readings : names, in the order of the case; those in a void or of a part that is gone
        are absent
    coolant_C, load : in the middle; coolant_step_K, load_step : how far the solves reach
    surface : (6, readings + 2) coefficients of 1, c, l, c c, l l, c l, with c and l in steps from the middle; the last
        two columns are the heat made [W] and the heat that goes to the coolant [W]
    stack_s : mean time that heat stays in the stack, what it stores over what it makes [s]; None where a material
        does not tell what it stores
    cells : of the grid
    """

    option: str | None
    readings: tuple[str, ...]
    coolant_C: float
    load: float
    coolant_step_K: float
    load_step: float
    surface: Array
    stack_s: float | None
    cells: int

    def at(self, coolant_C: Array | float, load: Array | float) -> Array:
        """(..., readings + 2) at temperatures of the coolant [C] and loads (...)."""
        c, x = np.broadcast_arrays(*self._steps(coolant_C, load))
        return np.asarray(np.stack([np.ones_like(c), c, x, c * c, x * x, c * x], axis=-1) @ self.surface)

    def reaches(self, coolant_C: float, coolant_step_K: float, load: float) -> bool:
        """Whether it serves coolants so far about another middle, all but a kelvin or two, and loads about another."""
        beyond_K = abs(coolant_C - self.coolant_C) + coolant_step_K - self.coolant_step_K
        return beyond_K < BEYOND_K and abs(load - self.load) < 0.25 * self.load_step

    def by_coolant(self, coolant_C: float, load: float) -> Array:
        """(readings + 2,) what a kelvin of the coolant does [1/K]."""
        c, x = self._steps(coolant_C, load)
        one = float(c), float(x)
        return np.asarray(np.array([0.0, 1.0, 0.0, 2.0 * one[0], 0.0, one[1]]) @ self.surface) / self.coolant_step_K

    def by_load(self, coolant_C: float, load: float) -> Array:
        """(readings + 2,) what the load does, as if it rose by itself (load 1 to 2)."""
        c, x = self._steps(coolant_C, load)
        one = float(c), float(x)
        return np.asarray(np.array([0.0, 0.0, 1.0, 0.0, 2.0 * one[1], one[0]]) @ self.surface) / self.load_step

    def _steps(self, coolant_C: Array | float, load: Array | float) -> tuple[Array, Array]:
        return (
            (np.asarray(coolant_C, float) - self.coolant_C) / self.coolant_step_K,
            (np.asarray(load, float) - self.load) / self.load_step,
        )


@dataclass(frozen=True, eq=False)
class Bed:
    """A case whose options are solved at any coolant and load, all on grids alike.

    entry : of `cooling`, whose fluid is the coolant; on_loop : whether that is the coolant of the loop
    known : responses that were solved, for whoever judges many benches of one case
    """

    case: Case
    plan: GridPlan
    entry: int
    on_loop: bool
    known: dict[str | None, Response] = field(default_factory=dict)

    @classmethod
    def of(cls, case: Case) -> Bed:
        """Which fluid the coolant is: of the loop where there is one, else of the entry that takes most of the heat.

        Raises ThermsimError: none has a temperature, or the case reads nothing; else as `steady_state`.
        """
        if not case.readings:
            raise ThermsimError("the case has no `readings`", "list what the sensors sit on, under their names")
        plan = plan_grid(case)
        on_loop = [number for number, one in enumerate(case.cooling) if one.on_loop]
        if on_loop:
            return cls(case, plan, on_loop[0], True)
        has = sorted({int(one.steps[1]) for one in _fluids(case)})
        if not has:
            raise ThermsimError("no face of the case gives its heat to a fluid", "a bench needs a coolant: `fluid_C`")
        if len(has) > 1:
            model = build_model(case, plan.grid(COARSE))
            flows = Field.of(model, steady_state(model, accuracy_K=ACCURACY_K)).flows
            has.sort(key=lambda number: -flows[number].heat_W)
        return cls(case, plan, has[0], False)

    @property
    def coolant(self) -> str:
        """What the coolant is called."""
        return "the coolant of the loop" if self.on_loop else self.case.cooling[self.entry].label

    def coolant_C(self) -> float:
        """As the case has it; of a loop, as it is solved."""
        if self.on_loop:
            found = self._field(self.case, None, 1.0, None)[1].coolant_C
            assert found is not None
            return found
        return _fluids(self.case, self.entry)[0].value

    def is_cooled_by_other(self, option: str) -> bool:
        """Whether an option changes the coolant itself: its temperature, or the loop that makes it."""
        return self._coolant_numbers(with_option(self.case, option)) != self._coolant_numbers(self.case)

    def _coolant_numbers(self, case: Case) -> list[float]:
        if self.on_loop:
            return [one.value for one in inputs(case) if one.steps[0] == "coolant_loop"]
        return [one.value for number in self._entries(case) for one in _fluids(case, number)]

    def response(self, option: str | None, coolant_C: float, coolant_step_K: float, load: float) -> Response:
        """An option over coolant and load, about a middle; one that is known and reaches as far serves again.

        Raises as `with_option` and `steady_state` do.
        """
        known = self.known.get(option)
        if known is None or not known.reaches(coolant_C, coolant_step_K, load):
            known = self.known[option] = self._response(option, coolant_C, coolant_step_K, load)
        return known

    def _response(self, option: str | None, coolant_C: float, coolant_step_K: float, load: float) -> Response:
        case = self.case if option is None else with_option(self.case, option)
        step_K = max(coolant_step_K, LEAST_COOLANT_STEP_K)
        step = LOAD_STEP * load
        places = ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1))
        rows, begin = [], None
        stack_s, cells = None, 0
        names: tuple[str, ...] = ()
        for c, x in places:
            solved, steady = self._field(case, coolant_C + c * step_K, load + x * step, begin)
            found = answers(case, solved, [of_reading(one.reading) for one in case.readings])
            if begin is None:
                begin, cells = steady, int(solved.model.region.size)
                names = tuple(one.name for one, value in found.items() if np.isfinite(value))
                stack_s = _stays_s(solved, coolant_C)
            to_coolant = sum(solved.flows[number].heat_W for number in self._entries(case))
            rows.append([*(found["reading", name] for name in names), solved.heat_made_W, to_coolant])
        at, warm, cold, more, less, both = np.array(rows)
        surface = np.array([
            at, 0.5 * (warm - cold), 0.5 * (more - less), 0.5 * (warm + cold) - at, 0.5 * (more + less) - at,
            both - warm - more + at,
        ])  # fmt: skip
        return Response(option, names, coolant_C, load, step_K, step, surface, stack_s, cells)

    def _entries(self, case: Case) -> tuple[int, ...]:
        if self.on_loop:
            return tuple(number for number, one in enumerate(case.cooling) if one.on_loop)
        name = self.case.cooling[self.entry].label
        return tuple(number for number, one in enumerate(case.cooling) if one.label == name)

    def _field(self, case: Case, coolant_C: float | None, load: float, begin: Steady | None) -> tuple[Field, Steady]:
        model = self._model(case, coolant_C, load)
        guess, state = (None, None) if begin is None else (begin.guess, begin.state)
        steady = steady_state(model, guess, state, ACCURACY_K)
        return Field.of(model, steady), steady

    def _model(self, case: Case, coolant_C: float | None, load: float) -> Model:
        """coolant_C : None leaves the loop to settle by itself"""
        if coolant_C is not None and not self.on_loop:
            for number in self._entries(case):
                own = _fluids(case, number)
                case = with_inputs(case, {one.path: one.value + coolant_C - own[0].value for one in own})
        model = scaled_power(build_model(case, alike(self.plan, self.case, case).grid(COARSE)), load)
        return model if coolant_C is None or not self.on_loop else replace(model.at_coolant(coolant_C), loop=None)


def _fluids(case: Case, entry: int | None = None) -> list[Input]:
    """Temperatures of what the faces of a case give their heat to, of one entry or of all."""
    return [
        one
        for one in inputs(case)
        if one.steps[0] == "cooling" and one.key in FLUID_KEYS and entry in (None, one.steps[1])
    ]


def _stays_s(solved: Field, coolant_C: float) -> float | None:
    """What the stack stores above its coolant, over what it makes."""
    if any(region.material.heat_capacity is None or region.material.density_kg_m3 is None
           for region in solved.model.regions if region.material.name != "void"):  # fmt: skip
        return None
    stored = cell_capacities(solved.model, solved.filled) * (solved.filled - coolant_C)
    return max(0.0, float(stored.sum())) / solved.heat_made_W
