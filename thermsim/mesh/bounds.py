"""Bounds of the mean source temperature that hold for every stack: Rayleigh's monotonicity.

Conduction with films and joints is a network of conductances. For heat P_i fed in at temperatures T_i the form

    sum P_i T_i / sum P_i        (all coolants at 0 C)

falls, or stays, when any conductance grows. So, on the very cells of the solution and with its conductivities,

    isothermal planes   every plane of cells, and every heated face, at one temperature: conductances added, lower bound
    parallel columns    no heat crosses from one column of cells to the next: conductances cut, upper bound

enclose the power-weighted mean rise of the sources. Coolants at several temperatures lift a point by something
between the coldest and the warmest of them, which widens the bounds by that much. Powers are those of the solution,
leakage included. Where `cooling` prescribes a flux, or a film changes with temperature, there are
none.

Source: Elrod, Trans. ASME J. Heat Transfer 96 (1974) 65, and Strutt (Lord Rayleigh), The Theory of Sound, vol. 1
(monotonicity), both from memory; the 1-D floor and the adiabatic tubes are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import BoundsError
from thermsim.model.assemble import Stencil, assemble, face_plane
from thermsim.model.build import Model
from thermsim.model.physics.boundary import unheated
from thermsim.model.physics.heat import FaceSource, VolumeSource
from thermsim.model.powers import as_made
from thermsim.readout.field import Field
from thermsim.solver.guesses import nodes

Array = NDArray[np.float64]

# Share of the rise by which bounds are widened: what a residual of 1e-11 and sums over millions of cells may leave.
ROUND_OFF_SHARE = 1e-7


@dataclass(frozen=True)
class Bounds:
    """Power-weighted mean temperature of all sources [C], and what encloses it; `highest_C` may be inf.

    lowest_C : with isothermal planes; highest_C : with parallel columns, inf where a heated column has no way out
    """

    lowest_C: float
    mean_C: float
    highest_C: float

    def checked(self, error_K: float) -> Bounds:
        """Itself, if the mean lies between the bounds; error_K : algebraic error of the temperatures [K].

        Raises
        ------
        BoundsError
        """
        room = error_K + ROUND_OFF_SHARE * (abs(self.mean_C - self.lowest_C) + abs(self.mean_C) + 1.0)
        if not self.lowest_C - room <= self.mean_C <= self.highest_C + room:
            raise BoundsError(
                f"the mean temperature of the sources, {self.mean_C:.6g} C, lies outside the bounds "
                f"{self.lowest_C:.6g} to {self.highest_C:.6g} C that hold for any conduction",
                "this is a fault of the solver or of a coefficient range: keep the case file and report it",
            )
        return self


def source_bounds(field: Field) -> Bounds | None:
    """The bounds of a solved model; None without heat, or with a `cooling` that is given as a flux or not linear."""
    model = field.model
    if model.curved_planes or any(cooling.influx_W_m2 != 0.0 for cooling in model.coolings):
        return None
    made = as_made(model, field.temperature, field.heated_face)
    sources = list(made.sources)
    if sum(float(source.watts.sum()) for source in sources) <= 0.0:
        return None
    known = [value for cooling in model.coolings for value in cooling.known_C]
    frozen = replace(made, coolings=tuple(unheated(cooling) for cooling in model.coolings))
    stencil = assemble(frozen, field.guess)
    lower, lost = _planes(frozen, field, stencil)
    upper = _columns(frozen, field, stencil)
    mean = _weighted(model, sources, field, field.temperature)
    return Bounds(min(known) + lower, mean, max(known) + upper).checked(field.error_K + lost)


def _weighted(model: Model, sources: list[FaceSource | VolumeSource], field: Field, temperature: Array) -> float:
    """Mean of temperatures (nx, ny, nz) [C] over all sources, faces included, weighted with their heat."""
    heat = weighted = 0.0
    for source in sources:
        if isinstance(source, FaceSource):
            under, over = nodes(model, 2, source.face, temperature, field.guess)
            at = under if source.side == "lower" else over
        else:
            at = temperature[:, :, source.levels]
        here = source.watts > 0.0
        heat += float(source.watts[here].sum())
        weighted += float((source.watts[here] * at[here]).sum())
    return weighted / heat


# ---- no heat between columns ------------------------------------------------------------------------------------


def _columns(model: Model, field: Field, stencil: Stencil) -> float:
    """Mean rise [K] with every column of cells on its own; films on flanks are kept, which only lowers it.

    Each column is a ladder: Y_k = ground_k + c Y_(k-1)/(c + Y_(k-1)), J_k = heat_k + c J_(k-1)/(c + Y_(k-1)), and from
    above T_(k-1) = (J_(k-1) + c T_k)/(c + Y_(k-1)). Nothing is subtracted, so Y = 0 means no way out, exactly.
    """
    count = stencil.heat.shape[2]
    admittance, current = stencil.ground.copy(), stencil.heat.copy()
    for k in range(1, count):
        link, below = stencil.conductance_z[:, :, k - 1], admittance[:, :, k - 1]
        share = _over(link, link + below)
        admittance[:, :, k] += share * below
        current[:, :, k] += share * current[:, :, k - 1]
    ends = np.ones(stencil.heat.shape, dtype=bool)
    ends[:, :, :-1] = stencil.conductance_z == 0.0
    if np.any(ends & (admittance == 0.0) & (current > 0.0)):
        return float("inf")
    temperature = np.zeros(stencil.heat.shape)
    temperature[:, :, -1] = _over(current[:, :, -1], admittance[:, :, -1])
    for k in range(count - 1, 0, -1):
        link = stencil.conductance_z[:, :, k - 1]
        total = current[:, :, k - 1] + link * temperature[:, :, k]
        temperature[:, :, k - 1] = _over(total, link + admittance[:, :, k - 1])
    temperature[~stencil.solid] = np.nan
    return _weighted(model, [*model.face_sources, *model.volume_sources], field, temperature)


def _over(top: Array, bottom: Array) -> Array:
    return np.divide(top, bottom, out=np.zeros_like(top), where=bottom > 0.0)


# ---- every plane at one temperature -----------------------------------------------------------------------------


class _Network:
    """A few nodes, their links and their grounds [W/K], and the heat that enters [W]."""

    def __init__(self, nodes: int) -> None:
        self.matrix = np.zeros((nodes, nodes))
        self.heat = np.zeros(nodes)

    def link(self, one: int, other: int, conductance: float) -> None:
        self.matrix[[one, other], [one, other]] += conductance
        self.matrix[[one, other], [other, one]] -= conductance

    def ground(self, node: int, conductance: float) -> None:
        self.matrix[node, node] += conductance

    def solved(self) -> tuple[Array, float]:
        """Temperatures [K] of all nodes, 0 of those that nothing touches; and what round-off may have done to them."""
        used = np.flatnonzero(np.diag(self.matrix) > 0.0)
        rise = np.zeros(len(self.heat))
        matrix = self.matrix[np.ix_(used, used)]
        rise[used] = np.linalg.solve(matrix, self.heat[used])
        lost = float(np.finfo(float).eps * np.linalg.cond(matrix))
        return rise, lost * float(np.abs(rise).max(initial=0.0))


# A z face that holds a joint, heat or a film has one node for each way in which cells meet at it: those of a ledge
# and of an interface are not joined, which makes the better bound.
UNDER, OVER, TOUCHING, LOWER_ALONE, UPPER_ALONE = range(5)


def _planes(model: Model, field: Field, stencil: Stencil) -> tuple[float, float]:
    """Mean rise [K] with each plane of cells, and each kind of place in a plane of faces, at one temperature.

    With it what round-off may have done to it [K].
    """
    levels, plain = model.grid.shape[2], model.is_plain(2)
    special = [int(face) for face in np.flatnonzero(~plain)]
    first = {face: levels + 5 * number for number, face in enumerate(special)}
    network = _Network(levels + 5 * len(special))
    for inner in np.flatnonzero(plain).tolist():
        network.link(inner - 1, inner, float(stencil.conductance_z[:, :, inner - 1].sum()))
    for face, node in first.items():
        _add_face(network, model, field, face, node)
    for axis in (0, 1):
        _add_flanks(network, model, field, axis)
    for source in model.volume_sources:
        network.heat[source.levels] += source.watts.sum(axis=(0, 1))
    rise, lost = network.solved()
    heat = weighted = 0.0
    for one in model.face_sources:
        for kind, here in _places(model, one.face, one.side).items():
            watts = float(one.watts[here].sum())
            heat += watts
            weighted += watts * float(rise[first[one.face] + kind])
    for source in model.volume_sources:
        heat += float(source.watts.sum())
        weighted += float((source.watts * rise[source.levels]).sum())
    return weighted / heat, lost


def _places(model: Model, face: int, side: str = "lower") -> dict[int, NDArray[np.bool_]]:
    """Where a z face is of each kind, (nx, ny); of a joint's two nodes the one on the side that is asked for."""
    nothing = np.zeros(model.grid.shape[:2], dtype=bool)
    below = model.region[:, :, face - 1] >= 0 if face > 0 else nothing
    above = model.region[:, :, face] >= 0 if face < model.grid.shape[2] else nothing
    jointed = below & above & (np.broadcast_to(model.joint_resistance(face), below.shape) > 0.0)
    return {
        UNDER if side == "lower" else OVER: jointed,
        TOUCHING: below & above & ~jointed,
        LOWER_ALONE: below & ~above,
        UPPER_ALONE: above & ~below,
    }


def _add_face(network: _Network, model: Model, field: Field, face: int, first: int) -> None:
    """Links, films and heat of one special z face; `first` is its first node."""
    plane = face_plane(model, 2, face, field.guess)
    places = _places(model, face)
    shape = places[UNDER].shape
    resistance, heat_lower, heat_upper = (
        np.broadcast_to(values, shape) for values in (plane.joint, plane.heat_lower, plane.heat_upper)
    )
    jointed = places[UNDER]
    if jointed.any():
        network.link(first + UNDER, first + OVER, float((1.0 / resistance[jointed]).sum()))
        network.link(face - 1, first + UNDER, float(plane.lower[jointed].sum()))
        network.link(face, first + OVER, float(plane.upper[jointed].sum()))
        network.heat[first + UNDER] += float(heat_lower[jointed].sum())
        network.heat[first + OVER] += float(heat_upper[jointed].sum())
    for kind in (TOUCHING, LOWER_ALONE, UPPER_ALONE):
        here = places[kind]
        if not here.any():
            continue
        node = first + kind
        network.heat[node] += float((heat_lower + heat_upper)[here].sum())
        for cell, conductance, is_cell in (
            (face - 1, plane.lower, kind != UPPER_ALONE),
            (face, plane.upper, kind != LOWER_ALONE),
        ):
            total = float(conductance[here].sum())
            if is_cell:
                network.link(cell, node, total)
            else:
                network.ground(node, total)


def _add_flanks(network: _Network, model: Model, field: Field, axis: int) -> None:
    """Films on faces across x or y."""
    cells = model.grid.shape[axis]
    for face in np.flatnonzero(~model.is_plain(axis)):
        plane = face_plane(model, axis, int(face), field.guess)
        between = plane.links()[0]
        known = ~np.isnan(plane.known_lower) | ~np.isnan(plane.known_upper)
        if face in (0, cells) or known.any():
            for level, conductance in enumerate(np.where(known, between, 0.0).sum(axis=0)):
                network.ground(level, float(conductance))
