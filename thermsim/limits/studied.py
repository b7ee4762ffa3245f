"""Readings of states on a quick grid, corrected by mesh studies of one or two of them, with all their doubts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from thermsim.limits.states import State
from thermsim.mesh.input_doubt import InputDoubt
from thermsim.mesh.prediction import Prediction
from thermsim.readout.observable import of_reading

NO_RISE_K = 1e-9


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

    def rise_K(self, state: State, name: str, offset_K: float) -> float:
        """Of a reading of a state over the coolant of this one."""
        return state.readings[name] - self.state.coolant_C - offset_K

    def along(self, state: State, name: str, offset_K: float) -> Told:
        """A reading of another state: what the grid is off by goes in proportion to the rise over the coolant.

        By as much as that changes, the doubts are wider. They grow with the rise, and do not shrink with it: the
        tolerances of sensors and coolant do not.
        """
        value, here = state.readings[name], self.readings[name]
        own = self.rise_K(self.state, name, offset_K)
        ratio = self.rise_K(state, name, offset_K) / own if abs(own) > NO_RISE_K else 1.0
        off = here.value_C - self.state.readings[name]
        wider, more = max(ratio, 1.0), abs(off * (ratio - 1.0))
        return Told(
            value + off * ratio, here.mesh_K * wider + more, here.below_K * wider + more, here.above_K * wider + more
        )


def told(studies: Sequence[Studied], state: State, name: str, offset_K: float) -> Told:
    """A reading of a state. studies : of none, one or two states

    Between two studied states all goes in a straight line over the rise. Doubts grow ever faster towards the hotter one
    (as the root of a sum of squares, and with leakage), so that the line is above them.
    """
    if not studies:
        return Told(state.readings[name], 0.0, 0.0, 0.0)
    low, high = (pick(studies, key=lambda one: one.state.readings[name]) for pick in (min, max))
    at_low, at_high = low.along(state, name, offset_K), high.along(state, name, offset_K)
    way = high.state.readings[name] - low.state.readings[name]
    share = (state.readings[name] - low.state.readings[name]) / way if way > NO_RISE_K else 0.0
    if share <= 0.0:
        return at_low
    if share >= 1.0:
        return at_high
    one, other = low.readings[name], high.readings[name]

    def between(first: float, second: float) -> float:
        return first * (1.0 - share) + second * share

    off = between(one.value_C - low.state.readings[name], other.value_C - high.state.readings[name])
    value = state.readings[name] + off
    more = min(abs(value - at_low.value_C), abs(value - at_high.value_C))
    return Told(
        value,
        between(one.mesh_K, other.mesh_K) + more,
        between(one.below_K, other.below_K) + more,
        between(one.above_K, other.above_K) + more,
    )
