"""Answers of a case over time under a load that changes: shares of all its power, or watts of its zones.

With u what is on,

    C z' + A(u) z = F(u),

where A and F are straight lines in u unless the load is a share of power that leaks (watts that are told hold what
leaks): there they bend a little, as heated faces grow warmer by what they leak, so that they are taken at some of the
shares, and between these on straight lines. A constant u leaves modes of their own, which are stepped exactly, see
`loads.stepping`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from thermsim.loads.load import Load
from thermsim.loads.stepping import stepped
from thermsim.model.build import Model, ZoneCells
from thermsim.model.physics.heat import FaceSource, VolumeSource
from thermsim.model.powers import scaled_power
from thermsim.model.storage import StoringFilm
from thermsim.readout.answers import cells_of, weights_of
from thermsim.readout.observable import Answers
from thermsim.readout.weights import Spot
from thermsim.transient.curves import Reader
from thermsim.transient.krylov import Input, SmallModel
from thermsim.transient.loop import with_loop
from thermsim.transient.rise import HeldFaceSource, HeldVolumeSource
from thermsim.transient.system import System, system_of

Array = NDArray[np.float64]

NOTHING = 1e-12  # of the power of a case, in place of none: what is read beside a heated face is read there always
MOST_LEVELS = 5  # shares of a load that leaks, of which a small model has solutions, see above


@dataclass(frozen=True, eq=False)
class ZoneInput:
    """A watt that is made in a zone, as a system has it.

    heat : (cells,) [W]
    at_once : by face of the model, rises of both sides of it beside cells at rest, (nx, ny) [K]
    flows : heat that leaves at once by entry of `cooling` [W]; to_coolant : of these, what the loop takes
    made : what of it is made in each zone of the model, by part, side and name
    """

    heat: Array
    at_once: dict[int, tuple[Array, Array]]
    flows: dict[int, float]
    to_coolant: float
    made: dict[tuple[str, str, str], float]

    @classmethod
    def of(cls, zone: ZoneCells, model: Model, like: System, films: Sequence[tuple[StoringFilm, Array]]) -> ZoneInput:
        """model : of rises; like : its system"""
        unit = with_a_watt(model, zone)
        system = system_of(unit, like.guess, like.of_model(like.capacity), films)
        at_once = {}
        if zone.face is not None:
            at_once[zone.face] = system.nodes(2, zone.face, np.zeros(system.shape), heated=True)
        flows = {number: system.outflow(number)[1] for number in range(len(model.coolings))}
        taken = sum(flows[number] for number in model.on_loop)
        made = {(one.part, str(one.at), one.zone): _made_in(one, unit) for one in model.zones}
        return cls(system.stencil.heat.ravel(), at_once, flows, taken, made)


def _made_in(zone: ZoneCells, model: Model) -> float:
    """Watts that the sources of a model make in a zone."""
    if zone.face is None:
        own = [one.watts for one in model.volume_sources if one.part == zone.part]
    else:
        own = [one.watts for one in model.face_sources if (one.face, one.side) == (zone.face, zone.side)]
    return float(sum(watts[zone.x, zone.y].sum() for watts in own))


def loaded_model(model: Model, load: Load, values: Array) -> Model:
    """A model of all power of the case with what a load tells instead. values : (inputs,)"""
    if load.zones:
        known = {zone.label: zone for zone in model.zones}
        return with_zones(model, [known[name] for name in load.zones], values.tolist())
    whole = 1.0 if load.is_share else float(sum(source.watts.sum() for source in model.sources))
    return scaled_power(model, max(float(values[0]) / whole, NOTHING))


def with_a_watt(model: Model, zone: ZoneCells) -> Model:
    """The model of rises with a watt in one zone, and nothing else that is made."""
    return with_zones(_scaled(model, 0.0), [zone], [1.0])


def with_zones(model: Model, zones: Sequence[ZoneCells], watts: Sequence[float]) -> Model:
    """A model whose zones make so many watts, each evenly, and nothing else does."""
    own = [NOTHING * source.watts for source in model.sources]
    for zone, power in zip(zones, watts, strict=True):
        own[zone.source][zone.x, zone.y] += power * model.shares(zone)
    count = len(model.face_sources)
    faces = zip(model.face_sources, own[:count], strict=True)
    volumes = zip(model.volume_sources, own[count:], strict=True)
    return replace(
        model,
        face_sources=tuple(replace(one, watts=made) for one, made in faces),
        volume_sources=tuple(replace(one, watts=made) for one, made in volumes),
    )


@dataclass(frozen=True, eq=False)
class LoadedReader(Reader):
    """What is read off small models of one system under a load.

    load : over time; whole_W : what all power of the case is [W]
    zones : the inputs of a load that is told zone by zone, else none
    levels : where some of the power leaks, readers of the same stack with some of the shares on; shares : these, rising
    """

    load: Load = field(kw_only=True)
    whole_W: float = field(kw_only=True)
    zones: tuple[ZoneInput, ...] = ()
    levels: tuple[Reader, ...] = ()
    shares: tuple[float, ...] = ()
    _driven: WeakKeyDictionary[SmallModel, _Driven] = field(default_factory=WeakKeyDictionary, init=False)

    @classmethod
    def under(
        cls, load: Load, plain: Reader, loaded: Model, films: Sequence[tuple[StoringFilm, Array]]
    ) -> LoadedReader:
        """plain : the reader of the typed load; loaded : the model that this comes on; films : of its system"""
        own = plain.case, plain.model, plain.rise, plain.system, plain.resting, plain.warmed, plain.coolant
        whole = float(sum(source.watts.sum() for source in loaded.sources))
        if load.zones:
            known = {zone.label: zone for zone in loaded.zones}
            zones = tuple(ZoneInput.of(known[name], plain.rise.model, plain.system, films) for name in load.zones)
            return cls(*own, load=load, whole_W=whole, zones=zones)
        if all(source.leakage is None for source in loaded.sources):
            return cls(*own, load=load, whole_W=whole)

        def with_share(share: float) -> Reader:
            model, like = _scaled(plain.rise.model, share), plain.system
            system = system_of(model, like.guess, like.of_model(like.capacity), films)
            coolant = plain.coolant
            if coolant is not None:
                coolant = replace(coolant, at_once=share * coolant.at_once)
            return Reader(*own[:2], replace(plain.rise, model=model), system, *own[4:6], coolant)

        shares = _some_of(np.unique(load.values))
        levels = tuple(plain if share == 1.0 else with_share(share) for share in shares)
        return cls(*own, load=load, whole_W=whole, levels=levels, shares=tuple(shares))

    @property
    def most_of_typed(self) -> tuple[float, str]:
        """The largest of what is on, as a multiple of what the case types for it, and the zone that it is of."""
        most = self.load.values.max(axis=0)
        if not self.zones:
            return float(most[0] / self._unit), ""
        known = {zone.label: _made_in(zone, self.model) for zone in self.model.zones}
        ratios = [
            (float(watts) / known[name] if known[name] > 0.0 else float("inf") if watts > 0.0 else 0.0, name)
            for name, watts in zip(self.load.zones, most, strict=True)
        ]
        return max(ratios)

    @property
    def inputs(self) -> list[Input]:
        """What a small model must have solutions of, besides those of the system's own heat; none without zones or
        leakage."""
        own = self.system.stencil.heat
        zones = [Input(self.system, zone.heat.reshape(self.system.shape)) for zone in self.zones]
        return zones or [Input(level.system, own) for level in self.levels]

    @property
    def heats(self) -> list[Array]:
        """Of each input what it brings the cells [W]."""
        return [zone.heat for zone in self.zones] or [self.system.stencil.heat.ravel()]

    def certain(self, small: SmallModel, times: Array) -> Answers[float]:
        """None: the bound is one of a load that comes on at once."""
        return Answers()

    # ---- in time ----------------------------------------------------------------------------------------------

    def given(self, times: Array) -> Array:
        return self.load.before(times) / self._unit

    @property
    def _unit(self) -> float:
        """Of what a load tells: shares of the system's heat and watts of zones are what the inputs take."""
        return 1.0 if self.zones or self.load.is_share else self.whole_W

    def states(self, small: SmallModel, times: Array, without: int = 0) -> Array:
        known = self._of(small)
        key = without, times.tobytes()
        if key not in known.states:
            known.states[key] = self._stepped(small, known, times, max(len(small.heat) - without, 1))
        return known.states[key]

    def _stepped(self, small: SmallModel, known: _Driven, times: Array, size: int) -> Array:
        """(n, m) exactly, of the first so many vectors."""
        at = np.unique(np.concatenate([self.load.times_s[self.load.times_s < times[-1]], times]))
        given = self.load.after(at) / self._unit
        states = np.zeros((len(at), len(small.heat)))
        for first, last in _spans(given[:, 0] if self.levels else np.ones(len(at))):
            mix = self._mix(given[first : first + 1])[0]
            rates, modes = np.linalg.eigh(np.tensordot(mix, known.stiffness, 1)[:size, :size])
            here = slice(first, min(last + 1, len(at)))
            driven = self._driven_by(known, given[here], mix)[:, :size] @ modes
            start = states[first, :size] @ modes
            found = stepped(at[here], driven, np.maximum(rates, 0.0), self.load.between, start)
            states[here, :size] = found @ modes.T
        return np.asarray(states[np.searchsorted(at, times)])

    def _mix(self, given: Array) -> Array:
        """(n, levels) how much of each level stands for what is on; all of one where nothing leaks."""
        if not self.levels:
            return np.ones((len(given), 1))
        every = np.eye(len(self.levels))
        return np.column_stack([np.interp(given[:, 0], self.shares, one) for one in every])

    def _driven_by(self, known: _Driven, given: Array, mix: Array) -> Array:
        """(n, m) what drives a small model; mix : of the levels, the same for all or (n, levels)."""
        if not self.levels:
            return np.asarray(given @ known.heat.T)
        return np.broadcast_to(mix @ known.heat.T, (len(given), len(known.heat)))

    def changes(self, small: SmallModel, times: Array) -> Array:
        known, given, states = self._of(small), self.given(times), self.states(small, times)
        mix = self._mix(given)
        falls = np.einsum("nk,kij,nj->ni", mix, known.stiffness, states, optimize=True)
        return np.asarray(self._driven_by(known, given, mix) - falls)

    def _of(self, small: SmallModel) -> _Driven:
        if small not in self._driven:
            self._driven[small] = self._projected(small)
        return self._driven[small]

    def _projected(self, small: SmallModel) -> _Driven:
        """What the load is to a small model, at each of its levels."""
        vectors = small.vectors if small.coolant is None else small.vectors[1:]
        if not self.levels:
            heat, stiffness = vectors @ np.array(self.heats).T, [small.stiffness]
            at_once = [zone.to_coolant for zone in self.zones]
        else:
            heat = vectors @ np.array([level.system.stencil.heat.ravel() for level in self.levels]).T
            stiffness = [_stiffness(level.system, vectors) for level in self.levels]
            at_once = [level.coolant.at_once for level in self.levels if level.coolant is not None]
        if self.coolant is None or small.coolant is None:  # shifts are chosen without the loop
            return _Driven(heat, np.array(stiffness))
        at_once = at_once or [self.coolant.at_once]
        by_coolant = vectors @ self.coolant.gives
        found = [with_loop(self.coolant, by_coolant, own, taken)[1] for own, taken in zip(heat.T, at_once, strict=True)]
        if self.levels:
            stiffness = [with_loop(self.coolant, by_coolant, heat[:, 0], 0.0, one)[0] for one in stiffness]
        return _Driven(np.array(found).T, np.array(stiffness))

    # ---- what is read off -------------------------------------------------------------------------------------

    def made_W(self, times: Array) -> Array:
        if self.levels:
            return self._mixed(self.given(times), [level.made_W(times) for level in self.levels])
        if not self.zones:
            return super().made_W(times)
        each = [float(zone.heat.sum()) for zone in self.zones]
        if self.coolant is not None:
            brings = float(self.coolant.gives.sum())
            each = [own + brings * self._lifts(zone) for own, zone in zip(each, self.zones, strict=True)]
        return np.asarray(self.given(times) @ np.array(each))

    def _lifts(self, zone: ZoneInput) -> float:
        """What a watt in a zone warms the coolant of the loop by at once [K]."""
        return 0.0 if self.coolant is None else self.coolant.loop.pass_K_W * zone.to_coolant / self.coolant.damped

    def _mixed(self, given: Array, of_levels: Sequence[Array]) -> Array:
        """What is so at each level (n, ...), as what is on has it."""
        mix = self._mix(given)
        return np.asarray(sum(
            part.reshape(-1, *[1] * (own.ndim - 1)) * own for part, own in zip(mix.T, of_levels, strict=True)
        ))  # fmt: skip

    def let_out_W(self, small: SmallModel, states: Array, given: Array) -> Array:
        if not self.levels:
            return super().let_out_W(small, states, given)
        return self._mixed(given, [level.let_out_W(small, states, _all(given)) for level in self.levels])

    def linear_at(self, small: SmallModel, states: Array, given: Array) -> Array:
        if self.zones:
            return np.asarray(states @ self.linear_of(small).T + given @ self._direct_of_zones())
        if not self.levels:
            return super().linear_at(small, states, given)
        return self._mixed(given, [level.linear_at(small, states, _all(given)) for level in self.levels])

    def _direct_of_zones(self) -> Array:
        """(inputs, answers) what a watt of each adds at once."""
        found = np.zeros((len(self.zones), len(self.columns)))
        for column, one in enumerate(self.columns):
            weights = weights_of(one, self.case, self.model)
            for row, zone in enumerate(self.zones):
                if weights is not None:
                    for (axis, face, side), (places, own) in weights.faces.items():
                        if axis == 2 and face in zone.at_once:
                            found[row, column] += float(zone.at_once[face][side][tuple(places)] @ own)
                elif one.kind == "flow":
                    found[row, column] = zone.flows[int(one.name)]
                elif one.takes == "power":
                    cells = cells_of(one, self.model)
                    found[row, column] = zone.made[cells.part, cells.at, cells.zone]
                found[row, column] += self._lifts(zone) * self.by_coolant.get(one, 0.0)
        return found

    def nodes_at(self, small: SmallModel, states: Array, given: Array, face: int, side: str) -> Array:
        if not self.levels:
            return super().nodes_at(small, states, given, face, side)
        found = [level.nodes_at(small, states, _all(given), face, side) for level in self.levels]
        return self._mixed(given, found)

    def at_once_at(self, given: Array, face: int, side: str) -> Array:
        if not self.zones:
            return super().at_once_at(given, face, side)
        upper = int(side == "upper")
        rises = np.zeros((len(self.zones), *self.model.grid.shape[:2]))
        for row, zone in enumerate(self.zones):
            if face in zone.at_once:
                rises[row] = zone.at_once[face][upper]
            if self.coolant is not None:
                rises[row] += self._lifts(zone) * self._of_coolant(2, face)[upper]
        return np.tensordot(given, rises, 1)

    def at_spot(self, small: SmallModel, states: Array, given: Array, spot: Spot) -> Array:
        if not self.levels:
            return super().at_spot(small, states, given, spot)
        return self._mixed(given, [level.at_spot(small, states, _all(given), spot) for level in self.levels])

    def direct_at(self, given: Array, spot: Spot, direct: float) -> Array:
        if not self.zones:
            return super().direct_at(given, spot, direct)
        found = np.zeros(len(self.zones))
        for row, zone in enumerate(self.zones):
            if len(spot) == 5 and spot[0] == 2 and spot[1] in zone.at_once:
                found[row] = zone.at_once[spot[1]][spot[2]][spot[3], spot[4]]
            if self.coolant is not None:
                found[row] += self._lifts(zone) * self.spot_with_coolant(spot)
        return np.asarray(given @ found)


@dataclass(frozen=True, eq=False)
class _Driven:
    """heat : (m, inputs) of a small model, or (m, levels); stiffness : (levels, m, m), one where nothing leaks

    states : those that were asked for already
    """

    heat: Array
    stiffness: Array
    states: dict[tuple[int, bytes], Array] = field(default_factory=dict)


def _all(given: Array) -> Array:
    """All of what a level has on."""
    return np.ones((len(given), 1))


def _stiffness(system: System, vectors: Array) -> Array:
    """(m, m) of a system between vectors (m, cells)."""
    images = np.array([system.stencil.conducted(one.reshape(system.shape)).ravel() for one in vectors])
    found = vectors @ images.T
    return np.asarray(0.5 * (found + found.T))


def _scaled(model: Model, share: float) -> Model:
    """The model of rises with a share of what is made, and of what that grows by."""
    return replace(
        model,
        face_sources=tuple(
            HeldFaceSource(one.part, one.face, one.side, share * one.watts, None, share * _slope(one))
            for one in model.face_sources
        ),
        volume_sources=tuple(
            HeldVolumeSource(one.part, one.levels, share * one.watts, None, share * _slope(one))
            for one in model.volume_sources
        ),
    )


def _slope(source: FaceSource | VolumeSource) -> Array:
    assert isinstance(source, (HeldFaceSource, HeldVolumeSource))  # of a model of rises
    return source.slope


def _some_of(shares: Array) -> list[float]:
    """Of rising shares at most MOST_LEVELS, the least and the largest among them."""
    places = np.unique(np.linspace(0, len(shares) - 1, MOST_LEVELS).round().astype(int))
    return [float(share) for share in shares[places]]


def _spans(values: Array) -> list[tuple[int, int]]:
    """First and last index, exclusive, of each stretch of equal values."""
    breaks = np.flatnonzero(np.diff(values) != 0.0) + 1
    return list(pairwise([0, *breaks.tolist(), len(values)]))
