"""Sensitivities of what is read off a steady state: one solve for each number asked, whatever it may depend on.

Unknowns are the cell temperatures and those on both sides of every face, and R = 0 are the heat balances of cells and
faces (`model/assemble.py`). With J read off them and the adjoint L that solves  (dR/dT)' L = -dJ/dT,

    dJ/dp = L' dR/dp,   to which comes what J itself changes with p at unchanged temperatures.

On a face the equations of L are those of T, with the weights dJ/dT- and dJ/dT+ in the place of the heats made there and
0 in the place of known temperatures, so the formulas of `FacePlane` serve for both. The heat that leaves through a
cooling is read off with L = 1 in its fluid. With half conductances a, resistance r and heat q of a face,

    dJ/da = -(T_l - T-)(L_l - L-),   dJ/dr = F F_L,   dJ/dq- = L-,       F = (T- - T+) / r,  F_L likewise.

Where k depends on temperature, dR/dT has terms of dk/dT that are not symmetric. Their transpose is
(dk/dT) dJ/dk of each cell; they are small beside conduction, so a few solves of the symmetric part, combined to the
least residual, take them in. Where a kink of k lies within a cell, its mean k also moves with what the temperature
rises by across the cell, T- of its upper less T+ of its lower face: that is one more number read off temperatures, with
the weight (dk/d rise) dJ/dk, which counts with J (`_of_rises`). On a tangent of leakage that touches at the solution,
nothing changes with the place where it touches, to first order. Source: Giles and Pierce, Flow, Turbulence and
Combustion 65 (2000) 393 for discrete adjoints; Eisenstat, Elman and Schultz, SIAM J. Numer. Anal. 20 (1983) 345 for the
combination (GCR). Both from memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.errors import NotConvergedError
from thermsim.model.assemble import FacePlane
from thermsim.model.build import Model
from thermsim.model.grid.cells import as_planes
from thermsim.model.physics.face_link import FIXED_TEMPERATURE_FILM
from thermsim.solver.linear import TOLERANCE, State, solve
from thermsim.solver.linearised import NOTHING, Goal, Linearised, Plane, adjoint_faces, halves, nodes_of
from thermsim.solver.multigrid.multigrid import companion

Array = NDArray[np.float64]

RELATIVE_RESIDUAL = 1e-10  # relative residual at which the iteration stops: gradients are then right to about 1e-9
INNER_RESIDUAL = 3e-3  # the same of each solve of the symmetric part; the iteration corrects what it leaves
RISES_SETTLED = 1e-12  # relative change at which what rises across cells do to conductivities has settled
MOST_STEPS = 60


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """What a goal changes with, per unit of each.

    log_conductivity : (nx, ny, nz) for each axis; log_width : (n,) for each axis, heat made and films' W/m2K unchanged
    joints : (nx, ny) per m2K/W; fills : (nx, ny) per m that a fill under, and one over, each joint reaches into its gap
    face_heat : (nx, ny) per W made at each face source
    cells : (nx, ny, nz) per W made in a cell
    films, fluids, influxes : over each of the model's cooled planes per W/m2K, C and W/m2 of the link of its faces
    """

    log_conductivity: tuple[Array, ...]
    log_width: tuple[Array, ...]
    joints: tuple[Array, ...]
    fills: tuple[Array, ...]
    face_heat: tuple[Array, ...]
    cells: Array
    films: tuple[Array, ...]
    fluids: tuple[Array, ...]
    influxes: tuple[Array, ...]


def sensitivities(at: Linearised, goals: Sequence[Goal]) -> Iterator[Sensitivity]:
    """For each goal in turn; a few are worked on at the same time, one on each processor.

    Raises
    ------
    NotConvergedError
    """
    lanes = max(1, min(at.state.hierarchy.threads, len(goals)))
    states = [at.state] if lanes == 1 else [State(at.state.solid, companion(at.state.hierarchy)) for _ in range(lanes)]

    def work(lane: int, goal: Goal) -> Sensitivity:
        adj = adjoint(at, goal, states[lane])
        return _sensitivity(at, goal if at.rises is None else _with_rises(at, goal, adj), adj)

    if lanes == 1:
        yield from (work(0, goal) for goal in goals)
        return
    with ThreadPoolExecutor(lanes) as pool:
        for first in range(0, len(goals), lanes):
            yield from pool.map(work, range(lanes), goals[first : first + lanes])


def adjoint(at: Linearised, goal: Goal, state: State | None = None) -> Array:
    """(nx, ny, nz) change of a goal per watt that is made in a cell; zero in voids.

    Raises
    ------
    NotConvergedError
    """
    state = state or at.state
    solution = np.zeros(at.stencil.ground.shape)
    residual = _source(at, goal)
    if at.log_slope is not None:
        by_log = _log_conductivity(at, solution, goal)
        residual += _by_temperature(at.log_slope, by_log) + _of_rises(at, by_log)[1]
    norm = float(np.sqrt(np.vdot(residual, residual)))
    if norm == 0.0:
        return solution
    previous: list[tuple[Array, Array, float]] = []
    relative, step = 1.0, TOLERANCE if at.log_slope is None else INNER_RESIDUAL
    for _ in range(MOST_STEPS):
        tolerance = max(step, min(0.3 * RELATIVE_RESIDUAL / relative, 0.1))
        direction = np.nan_to_num(solve(state, residual, None, tolerance).checked().temperature)
        if at.log_slope is None:
            return direction
        image = -_balance(at, direction)
        if at.rises is not None:
            image -= _of_rises(at, _log_conductivity(at, direction, NOTHING))[1]
        for before, its_image, square in previous:
            share = float(np.vdot(image, its_image)) / square
            direction -= share * before
            image -= share * its_image
        square = float(np.vdot(image, image))
        share = float(np.vdot(residual, image)) / square
        solution += share * direction
        residual = residual - share * image
        previous.append((direction, image, square))
        relative = float(np.sqrt(np.vdot(residual, residual))) / norm
        if relative <= RELATIVE_RESIDUAL:
            return solution
    raise NotConvergedError(
        f"an adjoint stopped at a relative residual of {relative:.1e}",
        "close to runaway, or a conductivity that jumps with temperature: lower the power, or smooth its table",
    )


def _by_temperature(log_slope: Sequence[Array], by_log: Sequence[Array]) -> Array:
    """(dk/dT) dJ/dk of cells."""
    return np.asarray(sum(slope * by for slope, by in zip(log_slope, by_log, strict=True)))


def _of_rises(at: Linearised, by_log: Sequence[Array]) -> tuple[list[Array], Array | float]:
    """Weights of the rises across cells along each axis that come to a goal, since mean conductivities move with them;
    and what that adds to its dJ/dT of cells.

    by_log : dJ/d(ln k) of cells. Rises depend on conductivities themselves, by little: hence the repetition.
    """
    if at.rises is None or at.log_slope is None:
        return [], 0.0
    total = list(by_log)
    for _ in range(MOST_STEPS):
        weights = [rise.by_change * by for rise, by in zip(at.rises, total, strict=True)]
        own, source = _of_weighted_rises(at, weights)
        before, total = total, [by + more for by, more in zip(by_log, own, strict=True)]
        largest = max(float(np.abs(one).max()) for one in total)
        change = max(float(np.abs(one - other).max()) for one, other in zip(total, before, strict=True))
        if change <= RISES_SETTLED * largest:
            return weights, source + _by_temperature(at.log_slope, own)
    raise NotConvergedError(
        "how conductivities move with the temperatures across cells did not settle",
        "a conductivity jumps with temperature: smooth its table",
    )


def _of_weighted_rises(at: Linearised, weights: Sequence[Array]) -> tuple[list[Array], Array]:
    """dJ/d(ln k) and dJ/dT of cells, of a weighted sum of the rises across cells."""
    assert at.rises is not None
    shape = at.stencil.ground.shape
    goal = Goal(nodes={(one.axis, one.face): _nodes_of_rises(weights, one.axis, one.face) for one in at.planes})
    found, source = _log_conductivity(at, np.zeros(shape), goal), _source(at, goal)
    for axis, (rise, weight) in enumerate(zip(at.rises, weights, strict=True)):
        below, above = halves(weight, axis)
        of_face = below - above
        for into, of_lower, of_upper in ((found[axis], -rise.by_log, rise.by_log), (source, rise.lower, rise.upper)):
            low, high = halves(into, axis)
            low += of_lower * of_face
            high += of_upper * of_face
    return found, np.where(at.stencil.solid, source, 0.0)


def _nodes_of_rises(weights: Sequence[Array], axis: int, face: int) -> tuple[Array, Array]:
    """The same as weights of the nodes of one plane: its lower node ends the rises below it, its upper begins some."""
    of = as_planes(axis, weights[axis])
    nothing = np.zeros(of.shape[1:])
    return of[face - 1] if face > 0 else nothing, -of[face] if face < len(of) else nothing


def _with_rises(at: Linearised, goal: Goal, adj: Array) -> Goal:
    """A goal with the weights of the rises that come to it."""
    nodes, weights = dict(goal.nodes), _of_rises(at, _log_conductivity(at, adj, goal))[0]
    for axis, weight in enumerate(weights):
        for face in range(weight.shape[axis] + 1):
            more, own = _nodes_of_rises(weights, axis, face), nodes.get((axis, face), (0.0, 0.0))
            if more[0].any() or more[1].any():
                nodes[axis, face] = np.asarray(own[0] + more[0]), np.asarray(own[1] + more[1])
    return replace(goal, nodes=nodes)


def _balance(at: Linearised, adj: Array) -> Array:
    """-A L + (dk/dT) dJ/dk, (nx, ny, nz), of the adjoint alone."""
    rest = -at.stencil.ground * adj
    for axis, (to_lower, to_upper) in enumerate(at.links):
        step = np.diff(adj, axis=axis)
        low, high = halves(rest, axis)
        low += to_lower * step
        high -= to_upper * step
    for coupling in at.couplings:
        into, of = as_planes(coupling.axis, rest), as_planes(coupling.axis, adj)
        for cell, factors in ((coupling.face - 1, coupling.lower), (coupling.face, coupling.upper)):
            for other, factor in zip((coupling.face - 1, coupling.face), factors, strict=True):
                if min(cell, other) >= 0 and max(cell, other) < len(of):
                    into[cell] += factor * of[other]
    return rest


def _source(at: Linearised, goal: Goal) -> Array:
    """dJ/dT of cells with that of faces eliminated, (nx, ny, nz)."""
    source = np.zeros(at.stencil.ground.shape)
    np.add.at(source.reshape(-1), goal.cells, goal.weights)
    for plane in _planes_of(at, goal, only=goal.outflow is None):
        faces = adjoint_faces(at.model, plane, goal)
        between, to_lower, to_upper, _, _ = faces.links()
        of = as_planes(plane.axis, source)
        if plane.face > 0:
            of[plane.face - 1] += to_lower + between * np.nan_to_num(faces.known_upper)
        if plane.face < len(of):
            of[plane.face] += to_upper + between * np.nan_to_num(faces.known_lower)
    source[~at.stencil.solid] = 0.0
    return source


def _planes_of(at: Linearised, goal: Goal, only: bool = False) -> Iterator[Plane]:
    """Planes where more than conduction happens, then those that are plain but for the goal; or only the goal's."""
    known = {(plane.axis, plane.face): plane for plane in at.planes}
    yield from (plane for place, plane in known.items() if not only or place in goal.nodes)
    yield from (at.plane(*place) for place in goal.nodes if place not in known)


def _log_conductivity(at: Linearised, adj: Array, goal: Goal) -> list[Array]:
    """dJ/d(ln k) of every cell along each axis, both halves together."""
    found = []
    for axis, (of_lower, of_upper) in enumerate(at.falls):
        share, fall = np.zeros(adj.shape), -np.diff(adj, axis=axis)
        low, high = halves(share, axis)
        low += of_lower * fall
        high += of_upper * fall
        found.append(share)
    own = {(plane.axis, plane.face) for plane in at.planes}
    for plane in _planes_of(at, goal):
        axis, face = plane.axis, plane.face
        share, of = as_planes(axis, found[axis]), as_planes(axis, adj)
        if (axis, face) not in own:
            fall = of[face - 1] - of[face]
            share[face - 1] -= as_planes(axis, at.falls[axis][0])[face - 1] * fall
            share[face] -= as_planes(axis, at.falls[axis][1])[face - 1] * fall
        under, over = nodes_of(adjoint_faces(at.model, plane, goal), of, face)
        if face > 0:
            share[face - 1] -= plane.faces.lower * plane.drop_lower * (of[face - 1] - under)
        if face < len(of):
            share[face] -= plane.faces.upper * plane.drop_upper * (of[face] - over)
    return found


@dataclass(frozen=True, eq=False)
class _Side:
    """An adjoint at one plane of faces: its own equations there, its nodes, and its cells (nodes where none are)."""

    plane: Plane
    faces: FacePlane
    under: Array
    over: Array
    below: Array
    above: Array


def _side(at: Linearised, goal: Goal, plane: Plane, adj: Array) -> _Side:
    faces, of = adjoint_faces(at.model, plane, goal), as_planes(plane.axis, adj)
    under, over = nodes_of(faces, of, plane.face)
    below, above = of[plane.face - 1] if plane.face > 0 else under, of[plane.face] if plane.face < len(of) else over
    return _Side(plane, faces, under, over, below, above)


def _sensitivity(at: Linearised, goal: Goal, adj: Array) -> Sensitivity:
    """Everything that a goal depends on, from its adjoint."""
    model = at.model
    shares = _log_conductivity(at, adj, goal)
    widths = []
    for axis in range(3):
        signed = sum((-1.0 if other == axis else 1.0) * share for other, share in enumerate(shares))
        widths.append(np.asarray(signed).sum(axis=tuple(other for other in range(3) if other != axis)))
    joints = tuple(np.zeros(model.grid.shape[:2]) for _ in model.joints)
    fills = tuple(np.zeros(model.grid.shape[:2]) for _ in model.joints for _ in range(2))
    heats = tuple(np.zeros(model.grid.shape[:2]) for _ in model.face_sources)
    nothing = np.zeros(0)
    films, fluids, influxes = ([nothing] * len(model.cooled_planes) for _ in range(3))
    for plane in at.planes:
        side = _side(at, goal, plane, adj)
        by_area = np.zeros(plane.under.shape)
        if (plane.axis, plane.face) in model.cooled_planes:
            number = model.cooled_planes.index((plane.axis, plane.face))
            films[number], fluids[number], influxes[number], by_area = _of_boundary(at, side)
        if plane.axis == 2:
            by_area += _of_joints(model, side, joints)
            _of_fills(model, side, fills, widths[2])
            for number, source in model.sources_at(plane.face):
                heats[number][:] += side.under if source.side == "lower" else side.over
        for place, axis in enumerate(axis for axis in range(3) if axis != plane.axis):
            widths[axis] += by_area.sum(axis=1 - place)
    return Sensitivity(
        tuple(shares), tuple(widths), joints, fills, heats, adj, tuple(films), tuple(fluids), tuple(influxes)
    )


def _of_joints(model: Model, side: _Side, joints: tuple[Array, ...]) -> Array:
    """Adds what resistances of one z plane do; returns dJ/d(ln area) of its faces by them."""
    faces, area = side.faces, model.grid.face_area(2)
    through = faces.lower * (side.below - side.under) + faces.heat_lower + faces.slope_lower * side.under
    by_resistance = side.plane.through * through
    for joint, into in zip(model.joints, joints, strict=True):
        if joint.face == side.plane.face:
            into += np.where(joint.meets, by_resistance / area, 0.0)
    return np.asarray(-faces.joint * by_resistance)


def _of_fills(model: Model, side: _Side, into: tuple[Array, ...], by_log_width: Array) -> None:
    """Adds what fills in the gaps of one z plane do: half a cell that reaches into a gap goes as 1/(h/2 + gap)."""
    plane, widths = side.plane, model.grid.z.widths
    for number, joint in enumerate(model.joints):
        if joint.face != plane.face:
            continue
        for place, (gap, cell, half, drop, of_drop) in enumerate(
            (
                (joint.fill_under, plane.face - 1, plane.faces.lower, plane.drop_lower, side.below - side.under),
                (joint.fill_over, plane.face, plane.faces.upper, plane.drop_upper, side.above - side.over),
            )
        ):
            per_length = np.where(gap > 0.0, half * drop * of_drop / (0.5 * widths[cell] + gap), 0.0)
            into[2 * number + place][:] += per_length
            by_log_width[cell] -= float((gap * per_length).sum())


def _of_boundary(at: Linearised, side: _Side) -> tuple[Array, Array, Array, Array]:
    """dJ by film, known temperature and influx of every face of one cooled plane, and by ln(area) of its faces.

    h A (L- - L_fluid) is taken from the balance of the face on its other side where the film conducts better than the
    half cell there, since small differences over it are lost in rounding.
    """
    model, plane, faces = at.model, side.plane, side.faces
    area = model.grid.face_area(plane.axis)
    link = model.boundary_at(plane.axis, plane.face, at.guess)
    made = faces.heat_lower + faces.heat_upper + faces.slope_lower * side.under + faces.slope_upper * side.over
    cooled = as_planes(plane.axis, model.cooling_face[plane.axis])[plane.face] >= 0
    solid_above = cooled & (faces.upper > 0.0) & np.isnan(faces.known_upper)
    node, node_C = np.where(solid_above, side.over, side.under), np.where(solid_above, plane.over, plane.under)
    film, half = link.film * area, np.where(solid_above, faces.upper, faces.lower)
    linked = ~np.isnan(link.known_C)
    in_fluid = np.nan_to_num(np.where(solid_above, faces.known_lower, faces.known_upper))
    from_cell = made + half * np.where(solid_above, side.above - side.over, side.below - side.under)
    by_fluid = np.where(linked, np.where(film > half, from_cell, film * (node - in_fluid)), 0.0)
    free = linked & (link.film < FIXED_TEMPERATURE_FILM)  # a face that is held feels no film
    by_film = np.where(free, -area * (np.nan_to_num(link.known_C) - node_C) * (in_fluid - node), 0.0)
    by_influx = np.where(cooled, area * node, 0.0)
    by_area = by_film * np.where(free, link.film, 0.0) + by_influx * link.influx
    return by_film, by_fluid, by_influx, np.asarray(by_area)
