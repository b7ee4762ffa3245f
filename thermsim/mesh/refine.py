"""Where the error of the asked temperatures comes from, and where the lines of the next grids go.

On a cell-centred grid the error that cells of width h leave in a goal J, by one axis s, is for smooth fields

    E_s  =  C  integral of  k h^2 T_ss L_ss dV,       L the adjoint temperature of J,

with C = 1/12 for the difference quotients alone and about three times that with the sampling of heat and of J at cell
centres. T_ss h k is the difference of the heat fluxes through the two faces of a cell, so the share of a plane of cells
is a sum over it of  (difference of heats of T) (difference of heats of L) h / (12 k A),  and no derivative is guessed.

With e(s) the density of E_s / h^2 along the axis, N cells leave the least error where h ~ e^(-1/3); that is
C_s / N^2, C_s = (integral of e^(1/3) ds)^3, and for a given product of cells the axes share alike: N_s ~ C_s^(1/2).
Source: equidistribution, e.g. Huang and Russell, Adaptive Moving Mesh Methods (2011), ch. 2; adjoint weights:
Becker and Rannacher, Acta Numerica 10 (2001) 1. Both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case
from thermsim.model.assemble import FacePlane, assemble, between_cells, face_plane
from thermsim.model.build import Model, ZoneCells
from thermsim.model.grid.axes import Axis, Grid, GridPlan, PlannedAxis
from thermsim.model.grid.cells import as_planes
from thermsim.model.grid.graded import Grading, graded_axis
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.field import Field
from thermsim.solver.guesses import beside
from thermsim.solver.linear import prepare, solve_many

Array = NDArray[np.float64]

ADJOINT_TOLERANCE = 1e-4  # relative residual of the adjoints: the shares of error they weigh need two digits
MOST_GOALS = 16  # adjoints that are solved: more zones are added up in so many random combinations
# Ratio of a goal's error to the sum of the shares of its planes: 2.5 to 3 on the stacks it was measured on, see the
# tests.
ERROR_OVER_SHARES = 3.0
GROWTH = 2.0  # largest growth of the wanted width per distance, at multiplier 1
SPARSEST = 0.25  # fewest cells of a segment at multiplier 1: with a quarter it has one cell up to multiplier 4
# A segment keeps half a cell at multiplier 1 only if it leaves at most this share of the error along its axis.
SPARSE_SHARE = 0.01
# An axis counts with at least this share of the strength C_s of the strongest one: other answers than the goals may
# need it.
LEAST_STRENGTH = 0.02
LEAST_DENSITY = 1e-3  # least density of error, as a share of the largest along the axis
# Grids of a family made for its goals. The first four tell an order and a limit. The family is planned to hold the
# accuracy by LAST_PLANNED; finer grids are for answers that are harder than planned.
GOAL_MULTIPLIERS = (1, 2, 3, 4, 6, 8, 11, 15)
LAST_PLANNED = 8
# Expected ratio of the told doubt to the error planned with. Limits make it small, but counts of cells get rounded, and
# highest temperatures are judged too.
DOUBT_OVER_ERROR = 0.7
NEGLIGIBLE_K = 1e-7  # [K] smaller errors do not tell where cells are needed

Goal = tuple[tuple[ZoneCells, float], ...]  # zone means and their signs


@dataclass(frozen=True, eq=False)
class ErrorOrigin:
    """The error that each plane of cells of a grid leaves in each goal: for each axis (goals, n) [K]."""

    grid: Grid
    shares: tuple[Array, Array, Array]

    @property
    def error_K(self) -> float:
        """Of the worst goal, on this grid."""
        return float(np.abs(sum(share.sum(axis=1) for share in self.shares)).max())

    def error_with(self, widths: dict[int, Array]) -> float:
        """Of the worst goal with other cell widths at the planes of some axes [K]: shares grow with widths squared."""
        error = np.zeros(len(self.shares[0]))
        for axis, share in enumerate(self.shares):
            here = self.grid.axes[axis].widths
            error += share @ np.square(widths.get(axis, here) / here)
        return float(np.abs(error).max())

    def plane_shares(self, axis: int) -> Array:
        """(n,) root mean square over the goals [K]."""
        return np.asarray(np.sqrt(np.mean(np.square(self.shares[axis]), axis=0)))

    def strength(self, axis: int) -> float:
        """C_s: with cells spread as they should be along an axis, N of them leave C_s / N^2 [K]."""
        return float(np.cbrt(self.plane_shares(axis)).sum()) ** 3


def pilot_grid(case: Case, cells: int) -> Grid:
    """A grid to look for the origin of errors on, of about so many cells.

    Upwards it is twice as fine as grids of a study begin, since one cell across a die says little about it.
    """
    plan = plan_grid(case, cells // 2)
    return Grid(plan.x.axis(1), plan.y.axis(1), plan.z.axis(2))


def error_origin(field: Field) -> ErrorOrigin | None:
    """Where the error of the zone means comes from; None where there are no zones or they have none."""
    model = field.model
    if not model.zones:
        return None
    state = prepare(assemble(model, field.guess), model.may_have_islands)
    between = [between_cells(model, axis, field.guess) for axis in range(3)]
    planes = [_planes(field, axis) for axis in range(3)]
    bends = [_bend(axis, between[axis], planes[axis], field.temperature) for axis in range(3)]
    weights = [_weight(field, axis) for axis in range(3)]
    rows: list[list[Array]] = [[], [], []]
    goals = _goals(model.zones)
    adjoints = solve_many(state, [_sampled(model, planes[2], goal) for goal in goals], ADJOINT_TOLERANCE)
    for goal, adjoint in zip(goals, adjoints, strict=True):
        for axis in range(3):
            across = tuple(other for other in range(3) if other != axis)
            of_goal = {face: _adjoint_plane(model, axis, face, plane, goal) for face, plane in planes[axis].items()}
            product = bends[axis] * _bend(axis, between[axis], of_goal, adjoint.temperature) * weights[axis]
            rows[axis].append(ERROR_OVER_SHARES * np.asarray(product.sum(axis=across)))
    x, y, z = (np.array(row) for row in rows)
    largest = [float(np.abs(share).max()) for share in (x, y, z)]
    if not np.all(np.isfinite(largest)) or max(largest) < NEGLIGIBLE_K:
        return None
    return ErrorOrigin(model.grid, (x, y, z))


def goal_plan(origin: ErrorOrigin, plan: GridPlan, wanted_K: float, fewest: int, most: int) -> GridPlan:
    """A family of grids between the outlines of `plan`, whose last planned grid should leave doubts of `wanted_K`.

    fewest : cells of the first grid at least; most : cells of the last planned one at most, unless `fewest` needs more
    """
    cells = float(fewest)
    if wanted_K > 0.0:
        error = origin.error_with(_widths_of(origin, plan, fewest)) / LAST_PLANNED**2
        axes = 2 if plan.is_slice else 3
        needed = fewest * (error * DOUBT_OVER_ERROR / wanted_K) ** (0.5 * axes)
        cells = max(cells, min(needed, most / LAST_PLANNED**axes))
    return with_cells(origin, plan, int(cells))


def with_cells(origin: ErrorOrigin, plan: GridPlan, cells: int) -> GridPlan:
    """About so many cells at multiplier 1, as many in each segment as leave the least error."""
    plans = {0: plan.x, 1: plan.y, 2: plan.z}
    widths = _widths_of(origin, plan, cells)
    wanted = {axis: _gradings(origin.grid.axes[axis], plans[axis], width) for axis, width in widths.items()}
    steps = [np.array([grading.steps for grading in gradings]) for gradings in wanted.values()]
    counts = _whole_counts([(s, plans[axis].whole) for axis, s in zip(wanted, steps, strict=True)], cells)
    for (axis, gradings), count in zip(wanted.items(), counts, strict=True):
        plans[axis] = graded_axis(plans[axis].lines, gradings, count, plans[axis].whole)
    return GridPlan(plans[0], plans[1], plans[2], GOAL_MULTIPLIERS)


def _widths_of(origin: ErrorOrigin, plan: GridPlan, cells: int) -> dict[int, Array]:
    """For each axis that is refined: widths (n,) [m] wanted at the planes of the grid, so many cells in all."""
    axes = [axis for axis in range(3) if not (axis == 1 and plan.is_slice)]
    strongest = max(origin.strength(axis) for axis in range(3))
    coarse, fine = 1e6, 1e-9
    while coarse > 1.001 * fine:
        scale = float(np.sqrt(coarse * fine))
        widths = {axis: _widths(origin, axis, strongest, scale) for axis in axes}
        if np.prod([np.sum(origin.grid.axes[axis].widths / widths[axis]) for axis in axes]) > cells:
            fine = scale
        else:
            coarse = scale
    return widths


def _whole_counts(axes: list[tuple[Array, NDArray[np.bool_]]], cells: int) -> list[Array]:
    """Counts of cells (halves or quarters for sparse segments) for the least error at a product of so many cells.

    axes : of each the cells that segments want, and the segments that stay one cell. A segment that wants s cells and
    gets n leaves s^3 / n^2 in a unit that is alike along an axis, and axes that get what they want leave alike.
    """
    counts = [np.where(whole, 1.0, SPARSEST) for _, whole in axes]
    while True:
        best, where = 0.0, None
        for axis, ((steps, whole), count) in enumerate(zip(axes, counts, strict=True)):
            more = _next(count)
            gain = steps**3 / steps.sum() * (1.0 / count**2 - 1.0 / more**2) / (more - count) * count.sum()
            gain[whole] = 0.0
            if gain.max() > best:
                best, where = float(gain.max()), (axis, int(gain.argmax()))
        if where is None:
            break
        axis, segment = where
        before = counts[axis][segment]
        counts[axis][segment] = _next(before)
        if np.prod([count.sum() for count in counts]) > cells:
            counts[axis][segment] = before
            break
    for (steps, whole), count in zip(axes, counts, strict=True):
        # A quarter stays one cell on three grids, which cannot show its error: it may leave less than a half.
        for most in (SPARSE_SHARE / 4.0, SPARSE_SHARE):
            left = steps**3 / count**2
            sparse = ~whole & (count <= (0.25 if most < SPARSE_SHARE else 0.5)) & (left > most * left.sum())
            count[sparse] *= 2.0
    return counts


def _next(count: Array) -> Array:
    return np.where(count < 1.0, 2.0 * count, count + 1.0)


def _widths(origin: ErrorOrigin, axis: int, strongest: float, scale: float) -> Array:
    """(n,) cell widths [m] wanted at the planes of the grid: scale C_s^(-1/6) e^(-1/3), smoothed."""
    along = origin.grid.axes[axis]
    strength = max(origin.strength(axis), LEAST_STRENGTH * strongest)
    density = origin.plane_shares(axis) / along.widths**3
    if density.max() > 0.0:
        density = np.maximum(density, LEAST_DENSITY * density.max())
        density *= strength / float(np.sum(np.cbrt(density) * along.widths)) ** 3
    else:
        density = np.full(along.cells, strength / (along.faces[-1] - along.faces[0]) ** 3)
    width = scale * strength ** (-1.0 / 6.0) * np.cbrt(1.0 / density)
    apart = np.abs(along.centres[:, None] - along.centres[None, :])
    return np.asarray(np.min(width[None, :] + GROWTH * apart, axis=1))


def _gradings(along: Axis, plan: PlannedAxis, width: Array) -> list[Grading]:
    gradings = []
    for low, high in zip(plan.lines[:-1].tolist(), plan.lines[1:].tolist(), strict=True):
        here = along.span(low, high)
        gradings.append(_grading((along.centres[here] - low) / (high - low), width[here] / (high - low)))
    return gradings


def _grading(place: Array, width: Array) -> Grading:
    """Knots at the centres of coarse cells and at both ends, where errors pile up: falling on, rising no further."""
    ends = [float(width[0]), float(width[-1])]
    if len(width) > 1:
        slope = (width[1] - width[0]) / (place[1] - place[0]), (width[-2] - width[-1]) / (place[-1] - place[-2])
        room = place[0], 1.0 - place[-1]
        ends = [max(end - max(fall, 0.0) * far, 0.5 * end) for end, fall, far in zip(ends, slope, room, strict=True)]
    return Grading(np.concatenate([[0.0], place, [1.0]]), np.concatenate([ends[:1], width, ends[1:]]))


# ---- goals and adjoint ------------------------------------------------------------------------------------------


def _goals(zones: tuple[ZoneCells, ...]) -> list[Goal]:
    """Each zone alone; of many zones, sums with signs that are drawn once, whose mean squares are nearly the same."""
    if len(zones) <= MOST_GOALS:
        return [((zone, 1.0),) for zone in zones]
    signs = np.random.default_rng(20_264).choice([-1.0, 1.0], (MOST_GOALS, len(zones)))
    return [tuple(zip(zones, row.tolist(), strict=True)) for row in signs]


def _sampled(model: Model, planes: dict[int, FacePlane], goal: Goal) -> Array:
    """Derivative of a goal by the temperature of each cell, (nx, ny, nz): the heat of its adjoint. planes : of z"""
    heat = np.zeros(model.grid.shape)
    for zone, sign in goal:
        if zone.face is None:
            heat[zone.x, zone.y, zone.levels] += sign * model.shares(zone)
    for face in {zone.face for zone, _ in goal if zone.face is not None}:
        _, lower, upper, _, _ = _adjoint_plane(model, 2, face, planes[face], goal).links()
        if face > 0:
            heat[:, :, face - 1] += lower
        if face < model.grid.shape[2]:
            heat[:, :, face] += upper
    heat[model.region < 0] = 0.0
    return heat


def _planes(field: Field, axis: int) -> dict[int, FacePlane]:
    """The planes of faces across an axis where more happens than conduction between two cells."""
    special = np.flatnonzero(~field.model.is_plain(axis)).tolist()
    return {face: face_plane(field.model, axis, face, field.guess) for face in special}


def _adjoint_plane(model: Model, axis: int, face: int, plane: FacePlane, goal: Goal) -> FacePlane:
    """A plane of faces as the adjoint sees it: fluids at zero, and the goal in place of the heat."""
    made: dict[str, Array] = {side: np.zeros(plane.lower.shape) for side in ("lower", "upper")}
    for zone, sign in goal:
        if axis == 2 and zone.face == face:
            made[zone.side][zone.x, zone.y] += sign * model.shares(zone)
    return replace(
        plane,
        heat_lower=made["lower"],
        heat_upper=made["upper"],
        known_lower=0.0 * plane.known_lower,
        known_upper=0.0 * plane.known_upper,
    )


def _bend(axis: int, between: Array, planes: dict[int, FacePlane], temperature: Array) -> Array:
    """Heat in through the lower face of each cell minus heat out through its upper face [W], (nx, ny, nz).

    between : conductances of inner faces; planes : where more happens than conduction
    """
    bend = np.zeros(temperature.shape)
    bend_of, cells = as_planes(axis, bend), as_planes(axis, temperature)
    flow = np.nan_to_num(as_planes(axis, between) * (cells[:-1] - cells[1:]))
    flow[[face - 1 for face in planes if 0 < face < len(cells)]] = 0.0
    bend_of[:-1] -= flow
    bend_of[1:] += flow
    for face, plane in planes.items():
        below, above = beside(axis, face, temperature)
        under, over = plane.nodes(below, above)
        if face > 0:
            bend_of[face - 1] -= np.nan_to_num(plane.lower * (below - under))
        if face < len(cells):
            bend_of[face] += np.nan_to_num(plane.upper * (over - above))
    return bend


def _weight(field: Field, axis: int) -> Array:
    """h / (12 k A) of each cell [K/W], zero in voids, (nx, ny, nz)."""
    model = field.model
    along = [-1 if other == axis else 1 for other in range(3)]
    width = model.grid.axes[axis].widths.reshape(along)
    area = np.expand_dims(model.grid.face_area(axis), axis)
    conducts = 12.0 * field.guess.conductivity[axis] * area
    return np.divide(width, conducts, out=np.zeros(model.grid.shape), where=conducts > 0.0)
