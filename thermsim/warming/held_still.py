"""A steady state as a small model in time, with properties held still, and how far that may hold answers off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.loads.load import Load
from thermsim.materials.catalogue import Law, Material
from thermsim.model.build import Model
from thermsim.model.storage import cell_capacities
from thermsim.readout.answers import answers, observables
from thermsim.readout.field import Field
from thermsim.readout.observable import Answers, Observable
from thermsim.solver.guesses import guess_from
from thermsim.transient.curves import Reader
from thermsim.transient.grid import films_of
from thermsim.transient.krylov import Input, SmallModel, chosen_model, model_at
from thermsim.transient.loop import bordered, enough_shifts
from thermsim.transient.rise import Bends, rise_of
from thermsim.transient.system import system_of
from thermsim.transient.under_load import LoadedReader

Array = NDArray[np.float64]

HALF_DECADE = 0.5 + 1e-9  # of time to either side, in which the largest of what cold conductivities change counts
RECHOSEN = 2.0  # times the doubt asked of a model: from that on the shifts of a coarser grid do not serve
TIMES_HELD = (
    1.5  # margin on what cold conductivities change, our own practice: 1.0 just held on the stacks of the tests
)


def model_of_load(reader: Reader, times: Array, wanted_K: float, known: tuple[float, ...] = ()) -> SmallModel:
    """A small model whose doubt is below `wanted_K`: at the shifts of a coarser grid if they serve, else at its own."""

    def doubt_of(shifts: Sequence[float]) -> float:
        return reader.largest_doubt_K(model_of(reader, shifts), times)

    if known:
        model = model_of(reader, known)
        if reader.largest_doubt_K(model, times) <= RECHOSEN * wanted_K:
            return model
    first, last = float(times[0]), float(times[-1])
    small = chosen_model(reader.system, first, last, wanted_K, lambda one: reader.largest_doubt_K(one, times))
    if reader.coolant is None and not _inputs_of(reader):
        return small
    slow = 1.0 / last  # a loop may be slow where the stack needed no such shift, and single inputs need other ones
    return model_of(reader, enough_shifts(list(dict.fromkeys([*small.shifts, slow])), doubt_of, wanted_K))


def reader_of(
    case: Case,
    field: Field,
    from_s: float,
    multiplier: int,
    *,
    cold: bool = False,
    leakage: Bends = "secant",
    boundaries: Bends = "secant",
    load: Load | None = None,
) -> Reader:
    """A steady state as a system in time, with what is read off it.

    cold : with the conductivities of the unheated stack, and the heat capacities of the loaded one: what warms up more
        slowly than a stack whose properties follow its temperatures
    leakage, boundaries : what takes the place of those that bend over temperature, see `transient.rise`
    load : over time; all power of the case from 0 on unless given
    """
    model, loaded, guess = field.model, field.filled, field.guess
    rise = rise_of(model, field.temperature, guess, leakage, boundaries)
    unheated = np.nan_to_num(rise.unheated, nan=model.coldest_C)
    conducting = guess
    if cold:
        conducting = replace(guess, conductivity=guess_from(model, rise.unheated, guess).conductivity)
        rise = rise_of(model, field.temperature, conducting, leakage, boundaries)
    capacity = cell_capacities(model, loaded if cold else 0.5 * (unheated + loaded))
    films = films_of(case, model, from_s, multiplier)
    system = system_of(rise.model, conducting, capacity, films)
    warmer = None if model.loop is None else system_of(rise.model.at_coolant(1.0), conducting, capacity, films)
    reader = Reader.of(case, field, rise, system, warmer)
    return reader if load is None else LoadedReader.under(load, reader, model, films)


def model_of(reader: Reader, shifts: Sequence[float]) -> SmallModel:
    """The small model at given shifts, with the loop of its coolant where there is one, and all inputs of its load."""
    inputs = _inputs_of(reader)
    if reader.coolant is None:
        return model_at(reader.system, shifts, inputs)
    return bordered(reader.system, reader.coolant, shifts, inputs)


def _inputs_of(reader: Reader) -> list[Input]:
    return reader.inputs if isinstance(reader, LoadedReader) else []


def held_doubts(
    reader: Reader,
    small: SmallModel,
    field: Field,
    times: Array,
    from_s: float,
    multiplier: int,
    load: Load | None = None,
) -> Array:
    """(answers, times) how far properties that are held may hold each answer off.

    Leakage and radiation: what tangents at the loaded state bring instead of secants. Heat made on a curve that bends
    one way lies between both at all temperatures in between, and with it the temperatures (comparison principle).
    Conductivities and capacities: warm ones are exact at the end, cold ones at the beginning, so of the difference
    counts the share of the rise that is still to come, TIMES_HELD times, the largest of half a decade around.
    """
    asked, model = observables(reader.case), field.model
    warm, end = reader.curves(small, times), answers(reader.case, field)
    at_once = _at_once(reader, small, times)

    def apart(other: Reader) -> dict[Observable, Array]:
        """Of what there is at once, and of what comes after: one may hide the other."""
        model = model_of(other, small.shifts)
        curves, before = other.curves(model, times), _at_once(other, model, times)
        begins = {one: at_once[one] - before[one] for one in asked}
        return {one: np.abs(begins[one]) + np.abs(warm[one] - curves[one] - begins[one]) for one in asked}

    found = {one: np.zeros(len(times)) for one in asked}
    if _leakage_bends(model):
        by_leakage = apart(reader_of(reader.case, field, from_s, multiplier, leakage="tangent", load=load))
        found = {one: found[one] + by_leakage[one] for one in asked}
    if model.curved_planes:
        by_radiation = apart(reader_of(reader.case, field, from_s, multiplier, boundaries="tangent", load=load))
        found = {one: found[one] + by_radiation[one] for one in asked}
    if _properties_change(model):
        by_cold = apart(reader_of(reader.case, field, from_s, multiplier, cold=True, load=load))
        for one in asked:
            begin = at_once[one]  # a power is all but whole from the first moment on
            whole = end[one] - begin
            done = np.clip(np.where(whole != 0.0, (warm[one] - begin) / np.where(whole != 0.0, whole, 1.0), 1.0), 0, 1)
            found[one] = found[one] + TIMES_HELD * _largest_near(times, by_cold[one] * (1.0 - done))
    return np.asarray(np.nan_to_num(np.array([found[one] for one in asked])))


def _at_once(reader: Reader, small: SmallModel, times: Array) -> Answers[Array]:
    """(n,) or (1,) of each answer while all cells are still at rest, with what a load has on at some times."""
    given = reader.given(times) if isinstance(reader, LoadedReader) else np.ones((1, 1))
    return reader.of_states(small, np.zeros((len(given), len(small.heat))), given)


def bends(model: Model) -> bool:
    """Whether anything of a model is held still that in truth follows its temperature."""
    return _leakage_bends(model) or bool(model.curved_planes) or _properties_change(model)


def _leakage_bends(model: Model) -> bool:
    return any(source.leakage is not None and not source.leakage.is_linear for source in model.sources)


def _properties_change(model: Model) -> bool:
    return any(not law.is_constant for region in model.regions for law in _laws(region.material))


def _largest_near(times: Array, widths: Array) -> Array:
    """(n,) of widths (n,), at each time the largest of those around it: curves that cross tell of nothing there."""
    near = np.abs(np.log10(times[:, None] / times[None, :])) <= HALF_DECADE
    return np.asarray(np.where(near, np.nan_to_num(widths)[None, :], 0.0).max(axis=1))


def _laws(material: Material) -> tuple[Law, ...]:
    assert material.heat_capacity is not None  # it was checked
    return (*material.laws, material.heat_capacity)
