"""Readings of states on a quick grid, corrected by mesh studies of one or two of them, with all their doubts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from thermsim.limits.states import State
from thermsim.mesh.input_doubt import InputDoubt
from thermsim.mesh.prediction import Prediction
from thermsim.readout.observable import of_reading

NO_RISE_K = 1e-9
APART = 0.25  # share of the rise by which two studied states differ at least if a line through them tells of a third


@dataclass(frozen=True)
class Told:
    """One reading [C]. mesh_K : half width of its mesh doubt; below_K, above_K : how far it may lie lower and higher by
    tolerances and mesh doubt together, inf where there is no end."""

    value_C: float
    mesh_K: float
    below_K: float
    above_K: float


@dataclass(frozen=True)
class Studied:
    """A state with what a mesh study and the tolerances of the inputs say of its readings, by name."""

    state: State
    readings: dict[str, Told]
    inputs: InputDoubt

    @classmethod
    def of(cls, state: State, found: Prediction) -> Studied:
        """found : a prediction of the same case, with the doubt of its inputs"""
        assert found.inputs is not None
        readings = {}
        for name in state.readings:
            question = of_reading(name)
            value, mesh = found.answers[question], found.doubts[question].half_width
            band = found.inputs.bands.get(question)
            below, above = (mesh, mesh) if band is None else (value - band.both_low, band.both_high - value)
            readings[name] = Told(value, mesh, below, above)
        return cls(state, readings, found.inputs)

    def along(self, state: State, name: str, offset_K: float, idle: State | None) -> Told:
        """A reading of another state, by this study alone.

        What the grid is off by is in part that of the heat which is driven, and goes with the rise over the idle state,
        and in part that of the rest, and stays: the middle is told, and the doubt holds both. Mesh doubts grow with the
        rise over the idle state, others with that over the coolant; they do not shrink with it, as the tolerances of
        sensors and coolant do not.
        """
        value, here = state.readings[name], self.readings[name]
        cold_C = self.state.coolant_C + offset_K
        driven = self.ratio(state, name, cold_C if idle is None else idle.readings[name])
        off = self.off_K(name)
        mesh_K = here.mesh_K * max(driven, 1.0) + 0.5 * abs(off * (driven - 1.0))
        return self.widened(name, value + 0.5 * off * (1.0 + driven), mesh_K, self.ratio(state, name, cold_C))

    def off_K(self, name: str) -> float:
        """What the quick grid lacks of a reading of this state."""
        return self.readings[name].value_C - self.state.readings[name]

    def widened(self, name: str, value_C: float, mesh_K: float, ratio: float) -> Told:
        """A reading whose doubts by tolerances are those of this state, times a ratio if that is more than one."""
        here, wider = self.readings[name], max(ratio, 1.0)
        more = max(mesh_K - here.mesh_K * wider, 0.0)
        return Told(value_C, mesh_K, here.below_K * wider + more, here.above_K * wider + more)

    def ratio(self, state: State, name: str, zero_C: float) -> float:
        """By how much the rise of a reading over `zero_C` grows between the case's own state and another one."""
        own = self.state.readings[name] - zero_C
        return (state.readings[name] - zero_C) / own if abs(own) > NO_RISE_K else 1.0


def told(studies: Sequence[Studied], state: State, name: str, offset_K: float, idle: State | None = None) -> Told:
    """A reading of a state.

    studies : of none, one or two states; idle : the state without any of the heat that is driven, None where it has
    none: then the coolant stands for it

    Temperatures are linear in the power, and so is what a grid lacks of them, but for laws over temperature: with two
    states it goes in a straight line, between them and beyond. By as much as one of them alone would tell something
    else, in proportion to the rise over the idle state, the doubts are wider. Between the states they go in straight
    lines too: they grow ever faster towards the hotter one (as the root of a sum of squares, and with leakage), so that
    the line is above them. Beyond, a line through two states near each other says nothing: the nearer one tells alone.
    """
    if not studies:
        return Told(state.readings[name], 0.0, 0.0, 0.0)
    low, high = (pick(studies, key=lambda one: one.state.readings[name]) for pick in (min, max))
    zero_C = low.state.coolant_C + offset_K if idle is None else idle.readings[name]
    way = high.state.readings[name] - low.state.readings[name]
    share = (state.readings[name] - low.state.readings[name]) / way if way > NO_RISE_K else 0.0
    nearer = low if share <= 0.5 else high
    if not 0.0 < share < 1.0 and way <= APART * abs(high.state.readings[name] - zero_C):
        return nearer.along(state, name, offset_K, idle)

    def between(first: float, second: float) -> float:
        return first * (1.0 - share) + second * share

    one, other = low.readings[name], high.readings[name]
    off = between(low.off_K(name), high.off_K(name))
    alone = [study.off_K(name) * study.ratio(state, name, zero_C) for study in (low, high)]
    more = min(abs(off - each) for each in alone)
    value = state.readings[name] + off
    if 0.0 < share < 1.0:
        return Told(
            value,
            between(one.mesh_K, other.mesh_K) + more,
            between(one.below_K, other.below_K) + more,
            between(one.above_K, other.above_K) + more,
        )
    mesh_K = one.mesh_K * abs(1.0 - share) + other.mesh_K * abs(share) + more
    return nearer.widened(name, value, mesh_K, nearer.ratio(state, name, low.state.coolant_C + offset_K))
