"""Power maps by superposition: temperatures are a base plus the thermal resistances of all zones times their heats.

With conductivities and films that hold still, temperatures are linear in the heat of the zones,

    T_i = T_i^base + sum_j R_ij (P_j - P_j^base),        R_ij = dT_i / dP_j at fixed k  [K/W],

where T_i are mean temperatures of zones, or probes. For zones, R is the thermal resistance matrix of JEDEC JESD51-31
(from memory; there of chips, here of zones). It is symmetric: with f_j the watt of zone j spread over its cells,
R_ij = f_i' A^-1 f_j plus what the heated face itself adds within one zone, and A is symmetric (reciprocity).

P_j is heat *made*. Where power grows with temperature (leakage), the heat made in a zone follows from its temperature,
and who varies the power of a case must add that growth; R itself knows of no leakage. Answers are exact for every map
where conductivities are constant and nothing leaks (leakage is made where a zone is warm, not evenly as a watt is).
Where k depends on temperature, R holds the conductivities of the solved base: answers are exact at the base (leakage
and k(T) included), and off it wrong by about the relative change of k times the temperature drop within that part. R is
then no derivative: that one has no reciprocity.

Highest temperatures are no part of this: where the hottest place is, changes with the power map.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from thermsim.case.geometry.zones import powers_of
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.mesh.convergence import GRIDS_OF_LIMIT, Doubt
from thermsim.mesh.memory import allowed_GB
from thermsim.mesh.predict import FEWEST_GRIDS, predict
from thermsim.mesh.prediction import Prediction
from thermsim.mesh.settling import OnGrid, judged
from thermsim.mesh.unseen_streaks import streaks_of
from thermsim.model.assemble import assemble, made_heat
from thermsim.model.build import Guess, Model, ZoneCells, build_model
from thermsim.model.grid.axes import GridPlan
from thermsim.model.grid.plan import FIRST_GRID_CELLS, needed_GB, plan_grid
from thermsim.model.physics.boundary import unheated
from thermsim.model.physics.heat import FaceSource, VolumeSource
from thermsim.progress import Progress
from thermsim.readout.answers import answers, observables, weights_of
from thermsim.readout.field import Field
from thermsim.readout.observable import Observable, of_zone
from thermsim.solver.linear import prepare, solve_many
from thermsim.solver.steady import steady_state
from thermsim.units import GIGABYTE

Array = NDArray[np.float64]

Heats = tuple[tuple[FaceSource, ...], tuple[VolumeSource, ...]]

MATRIX_MULTIPLIERS = (1, 2, 3, 4)  # multipliers of the family on which the matrix is computed, for its mesh doubt
MOST_ZONES = 100  # zones of a matrix: each costs a solve on every grid
BYTES_PER_ZONE = 24  # [byte] for each zone and cell: heat, temperature, and what is read off it


@dataclass(frozen=True, eq=False)
class Superposition:
    """Temperatures of one case for any heats of its zones.

    zones : their temperatures, in the order of the case
    questions : what each row answers: the mean of each zone first, then probes, then readings that take one of these
    resistance : (questions, zones) [K/W]
    base_W : (zones,) heat made in each zone at the base, of a power map, and of what no zone covers, nothing [W]
    base_C : (questions,) temperatures of the base [C]
    unseen : by film map, (zones,) [K/W] what it adds at most within cells, see `mesh.unseen_streaks`
    """

    zones: tuple[Observable, ...]
    questions: tuple[Observable, ...]
    resistance: Array
    base_W: Array
    base_C: Array
    unseen: Mapping[str, Array]

    @property
    def matrix(self) -> Array:
        """(zones, zones) [K/W]: the rise of the mean of zone i per watt in zone j; symmetric."""
        return self.resistance[: len(self.zones)]

    def temperatures(self, powers_W: ArrayLike) -> Array:
        """(maps, questions) temperatures [C] for the heat made in each zone, (maps, zones) [W].

        Raises
        ------
        ThermsimError : another number of zones, or a heat that is no number
        """
        powers = np.atleast_2d(np.asarray(powers_W, dtype=np.float64))
        if powers.ndim != 2 or powers.shape[1] != len(self.zones):
            raise ThermsimError(
                f"a power map has shape {powers.shape}, and there are {len(self.zones)} zones",
                f"give one heat [W] for each of {', '.join(zone.label or zone.name for zone in self.zones)}",
            )
        if not np.all(np.isfinite(powers)):
            raise ThermsimError("a power map holds a value that is no number")
        return np.asarray(self.base_C + (powers - self.base_W) @ self.resistance.T)


def superposition(case: Case, field: Field) -> Superposition:
    """The resistances of all zones of a solved case, from one more solve for each zone, on the grid of its field.

    Raises what `thermsim.solver.linear.solve` raises.
    """
    model = field.model
    zones = model.zones
    heats = [_watt(field, zone) for zone in zones]
    bare = _unheated(field)
    state = prepare(assemble(bare, field.guess), bare.may_have_islands)
    held = [replace(bare, face_sources=faces, volume_sources=volumes) for faces, volumes in heats]
    heats_of = [made_heat(one, _guess_for(one, field)) for one in held]
    warmer = bare if model.loop is None else bare.at_coolant(1.0)
    if warmer is not bare:  # what a kelvin of the coolant does, which every watt lifts
        held, heats_of = [*held, warmer], [*heats_of, assemble(warmer, _guess_for(warmer, field)).heat]
    solutions = solve_many(state, heats_of)
    weights = {one: weights_of(one, case, model) for one in observables(case)}
    linear = {one: own for one, own in weights.items() if own is not None}
    rises = []
    for one, solution in zip(held, solutions, strict=True):
        checked = solution.checked()
        rises.append(Field(one, _guess_for(one, field), checked.temperature, checked.error_K))
    if warmer is not bare:
        rises = _with_loop(rises[:-1], rises[-1])
    rows = [[rise.read(own) for own in linear.values()] for rise in rises]
    base = answers(case, field, linear)
    return Superposition(
        tuple(of_zone(zone, "mean") for zone in zones),
        tuple(base),
        np.array(rows).reshape(len(zones), len(base)).T,
        np.array(_base_heats(case, field, heats)),
        np.array(list(base.values())),
        {one.film: np.array([one.unseen_of(rise.temperature) for rise in rises]) for one in streaks_of(case, model)},
    )


@dataclass(frozen=True)
class Resistances:
    """The superposition of the finest grid with the mesh doubt of each resistance [K/W], row by row."""

    finest: Superposition
    doubts: tuple[tuple[Doubt, ...], ...]

    @property
    def resistance(self) -> Array:
        """(questions, zones) [K/W], at their limits where they settle"""
        return np.array([[doubt.value for doubt in row] for row in self.doubts])

    @property
    def half_width(self) -> Array:
        """(questions, zones) [K/W]"""
        return np.array([[doubt.half_width for doubt in row] for row in self.doubts])


def resistances(
    case: Case, plan: GridPlan | None = None, multipliers: Sequence[int] = MATRIX_MULTIPLIERS
) -> Resistances:
    """Resistances on three or more grids of one family (planned for the case unless given), each with its doubt.

    Raises
    ------
    ThermsimError : fewer than three grids, or grids too alike
    NoWayOutError, RunawayError, NotConvergedError, HeatBalanceError : see `thermsim.errors`
    """
    family = plan or plan_grid(case, FIRST_GRID_CELLS)
    return settled([on_grid(case, family, multiplier) for multiplier in multipliers])


def with_resistances(
    case: Case,
    *,
    accuracy_K: float | None = None,
    memory_GB: float | None = None,
    progress: Progress | None = None,
) -> tuple[Prediction, Resistances | None]:
    """A prediction as `predict` makes it, and the resistances of its zones on the first four of the same grids.

    Without resistances where there are no zones or more than MOST_ZONES, and where fewer than three grids have room for
    the temperatures of all zones in `memory_GB`.

    progress : called with a line of words after each grid and before each matrix

    Raises what `predict` and `superposition` raise.
    """
    allowed = allowed_GB(memory_GB)
    found: list[tuple[Superposition, OnGrid]] = []

    def take(multiplier: int, field: Field) -> None:
        zones, cells = len(field.model.zones), field.model.grid.cells
        needed = needed_GB(cells) + zones * cells * BYTES_PER_ZONE / GIGABYTE
        if not 0 < zones <= MOST_ZONES or len(found) == GRIDS_OF_LIMIT or needed > allowed:
            return
        if progress is not None:
            progress(f"thermal resistances of {zones} zones on {cells:,} cells")
        found.append(_seen(case, field, multiplier))

    prediction = predict(case, accuracy_K=accuracy_K, memory_GB=memory_GB, progress=progress, each=take)
    return prediction, settled(found) if len(found) >= FEWEST_GRIDS else None


def on_grid(case: Case, plan: GridPlan, multiplier: int) -> tuple[Superposition, OnGrid]:
    """The superposition of a case on one grid, and what the doubts of resistances hang on there besides [K/W]."""
    model = build_model(case, plan.grid(multiplier))
    return _seen(case, Field.of(model, steady_state(model)), multiplier)


def _seen(case: Case, field: Field, multiplier: int) -> tuple[Superposition, OnGrid]:
    found = superposition(case, field)
    unseen = {film: np.tile(row, len(found.questions)) for film, row in found.unseen.items()}
    error = field.error_K / max(field.heat_made_W, 1.0)
    return found, replace(OnGrid.of(case, field, multiplier), error=error, unseen=unseen)


def settled(on_grids: Sequence[tuple[Superposition, OnGrid]]) -> Resistances:
    """Resistances at their limits, from what `on_grid` found on three or more grids, the finest last."""
    table = [one.resistance.ravel() for one, _ in on_grids]
    flat = judged(table, [seen for _, seen in on_grids])
    finest = on_grids[-1][0]
    count = len(finest.zones)
    rows = tuple(tuple(flat[row * count : (row + 1) * count]) for row in range(len(finest.questions)))
    return Resistances(finest, rows)


# ---- one watt in one zone ---------------------------------------------------------------------------------------


def _watt(field: Field, zone: ZoneCells) -> Heats:
    """A watt spread over the solid area (or volume) of a zone, as the only heat of a model."""
    shares, (count_x, count_y, _) = field.model.shares(zone), field.model.grid.shape
    watts = np.zeros((count_x, count_y, *shares.shape[2:]))
    watts[zone.x, zone.y] = shares
    if zone.face is None:
        return (), (VolumeSource(zone.part, zone.levels, watts, None),)
    return (FaceSource(zone.part, zone.face, zone.side, watts, None),), ()


def _unheated(field: Field) -> Model:
    """The model without heat, every coolant at 0 C."""
    model = field.model
    coolings = tuple(one.at_coolant(0.0) if one.is_on_loop else unheated(one) for one in model.coolings)
    return replace(model, face_sources=(), volume_sources=(), coolings=coolings)


def _with_loop(rises: Sequence[Field], by_kelvin: Field) -> list[Field]:
    """Rises at an unmoved coolant, with the coolant of the loop as warm as each of them makes it.

    by_kelvin : what a kelvin of the coolant does
    """
    model = by_kelvin.model
    assert model.loop is not None  # it has one
    per_watt = model.loop.per_watt_K

    def to_loop_W(field: Field) -> float:
        return sum(field.flows[number].heat_W for number in model.on_loop)

    feedback = 1.0 - per_watt * to_loop_W(by_kelvin)
    found = []
    for one in rises:
        lifted = per_watt * to_loop_W(one) / feedback
        temperature = one.temperature + lifted * by_kelvin.temperature
        found.append(Field(one.model.at_coolant(lifted), one.guess, temperature, one.error_K))
    return found


def _guess_for(model: Model, field: Field) -> Guess:
    """The conductivities and films of the solved field, for a model with other heat."""
    guess = field.guess
    return Guess(guess.temperature, (0.0,) * len(model.face_sources), guess.conductivity, guess.surface)


def _base_heats(case: Case, field: Field, heats: Sequence[Heats]) -> list[float]:
    """Heat made in each zone by its own power [W], with leakage at the temperatures of the base."""
    found = []
    powers = [power for heat in case.heat for power in powers_of(case, heat).zones]
    for power, zone, (face_watt, volume_watt) in zip(powers, field.model.zones, heats, strict=True):
        law = field.model.sources[zone.source].leakage
        for face in face_watt:
            found.append(power * float(replace(face, leakage=law).made(field.heated_face[zone.source]).sum()))
        for volume in volume_watt:
            found.append(power * float(replace(volume, leakage=law).made(field.temperature).sum()))
    return found
