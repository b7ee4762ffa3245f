"""Summits of planes of cells: against functions whose maximum is known, by calculus or by scipy's minimiser."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.optimize import minimize

from thermsim.readout.axis_polynomials import ON_LATTICE
from thermsim.readout.surface_maximum import WARMEST, Plane, Summit

Array = NDArray[np.float64]


def cells(widths: Array) -> Array:
    return np.cumsum(widths) - 0.5 * widths


def place_of(summit: Summit, widths: tuple[Array, Array], row: int = 0) -> tuple[float, ...]:
    return tuple(
        float(cells(own)[summit.cell[axis, row]] + own[summit.cell[axis, row]] * summit.place[axis, row])
        for axis, own in enumerate(widths)
    )


def one_body(widths: tuple[Array, Array]) -> NDArray[np.int64]:
    return np.zeros((len(widths[0]), len(widths[1])), dtype=np.int64)


uneven = st.lists(st.floats(0.7, 1.4), min_size=9, max_size=9).map(lambda widths: np.array(widths) / sum(widths))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(uneven, uneven, st.floats(0.42, 0.58), st.floats(0.42, 0.58), st.floats(-0.8, 0.8))
def test_a_quadratic_is_found_exactly(x: Array, y: Array, u: float, v: float, twist: float) -> None:
    """Of a quartic in each of x and y the polynomials hold every term: here with a twist, and a known summit."""
    a, b = cells(x)[:, None] - u, cells(y)[None, :] - v
    face = 50.0 - 30.0 * (a**2 + b**2 + twist * a * b) - 20.0 * a**4
    box = (slice(1, 8), slice(1, 8))
    found = Plane(one_body((x, y)), (x, y)).summits(face[None], [box])[0]
    assert found.value[0] == pytest.approx(50.0, abs=1e-9)
    assert place_of(found, (x, y)) == pytest.approx((u, v), abs=1e-5)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_a_smooth_hill_is_found_as_a_minimiser_finds_it(seed: int) -> None:
    """Three random Gaussians on 24 x 20 cells against scipy.optimize.minimize from the warmest cell: within 1e-3 K."""
    rng = np.random.default_rng(seed)
    widths = tuple(np.full(count, 1.0 / count) * (1.0 + 0.1 * np.sin(np.arange(count))) for count in (24, 20))
    centre, height = rng.uniform(0.3, 0.7, (3, 2)), rng.uniform(5.0, 20.0, 3)

    def hill(x: Array, y: Array) -> Array:
        away = (x[..., None] - centre[:, 0]) ** 2 + (y[..., None] - centre[:, 1]) ** 2
        return np.asarray((height * np.exp(-away / 0.08)).sum(axis=-1))

    x, y = (cells(own) for own in widths)
    face = hill(x[:, None], y[None, :])
    box = (slice(1, 23), slice(1, 19))
    found = Plane(one_body((widths[0], widths[1])), (widths[0], widths[1])).summits(face[None], [box])[0]
    i, j = np.unravel_index(int(face[1:23, 1:19].argmax()), (22, 18))
    best = minimize(lambda at: -float(hill(at[0], at[1])), [x[i + 1], y[j + 1]], method="Nelder-Mead",
                    options={"xatol": 1e-9, "fatol": 1e-12})  # fmt: skip
    assert found.value[0] == pytest.approx(-best.fun, abs=1e-3)


def test_mirrored_where_the_body_ends() -> None:
    """A cosine whose summit stands on the insulated side of the body: its height there, from cells inside."""
    widths = (np.full(12, 1.0 / 12), np.full(6, 1.0 / 6))
    face = 40.0 + 10.0 * np.cos(np.pi * cells(widths[0]))[:, None] * np.ones(6)
    found = Plane(one_body(widths), widths).summits(face[None], [(slice(0, 12), slice(0, 6))])[0]
    assert found.value[0] == pytest.approx(50.0, abs=1e-4)
    assert place_of(found, widths)[0] == pytest.approx(0.0, abs=1e-9)


def test_an_edge_is_read_off_from_both_sides() -> None:
    """x ln|x| falls away from an edge on one side and rises on the other; on the edge it is nought on any grid."""
    widths = (np.full(20, 0.1), np.full(4, 1.0))
    x = cells(widths[0]) - 1.0
    face = 30.0 - (x * np.log(np.abs(x)))[:, None] + 2.0 * x[:, None] * np.ones(4)
    found = Plane(one_body(widths), widths).summits(face[None], [(slice(0, 10), slice(0, 4))])[0]
    assert found.value[0] == pytest.approx(30.0, abs=1e-9)
    assert found.side[0, 0] == 1


def test_weights_make_the_value_and_its_slope() -> None:
    """The sum of weighted temperatures is the value; with one cell warmed, it moves as the weight says."""
    rng = np.random.default_rng(5)
    widths = (rng.uniform(0.8, 1.2, 9), rng.uniform(0.8, 1.2, 8))
    x, y = cells(widths[0]) - 4.3, cells(widths[1]) - 3.9
    face = 60.0 - 0.3 * x[:, None] ** 2 - 0.2 * y[None, :] ** 2 + 0.1 * x[:, None] * y[None, :]
    region = one_body(widths)
    region[5:, 5:] = 1  # another body in the corner of the patch
    plane, box = Plane(region, widths), (slice(2, 7), slice(1, 7))
    found = plane.summits(face[None], [box])[0]
    weights = plane.weights(found)
    assert sum(weight * face[cell] for cell, weight in weights.items()) == pytest.approx(found.value[0], abs=1e-10)
    assert sum(weights.values()) == pytest.approx(1.0)
    moves_as_weighted(plane, face, box, weights, 1e-7)


def moves_as_weighted(
    plane: Plane, face: Array, box: tuple[slice, slice], weights: dict[tuple[int, int], float], within: float
) -> None:
    """Only at a true maximum does a summit that moves not change the value."""
    for cell, weight in weights.items():
        moved = [face.copy() for _ in range(2)]
        moved[0][cell] -= 1e-4
        moved[1][cell] += 1e-4
        low, high = (float(plane.summits(one[None], [box])[0].value[0]) for one in moved)
        assert (high - low) / 2e-4 == pytest.approx(weight, abs=within)


@pytest.mark.parametrize("axis", [0, 1])
def test_weights_of_a_summit_beside_an_edge_that_leans(axis: int) -> None:
    """Where the temperature along the edge is highest at another place on it than away from it."""
    widths = (np.full(16, 1.0), np.full(16, 1.0))
    s, t = cells(widths[0])[:, None] - 8.0, cells(widths[0])[None, :] - 6.2
    face = 40.0 - s - s * np.log(np.abs(s)) + 5.0 * np.exp(-0.05 * (t + 0.9 * s) ** 2)
    face, box = (face, (slice(8, 16), slice(3, 9))) if axis == 0 else (face.T, (slice(3, 9), slice(8, 16)))
    plane = Plane(one_body(widths), widths)
    found = plane.summits(face[None], [box])[0]
    assert found.side[axis, 0] == -1 and -0.49 < found.place[axis, 0] < -0.1
    moves_as_weighted(plane, face, box, plane.weights(found), 3e-5)


def test_many_rows_are_each_as_alone_and_nothing_jumps() -> None:
    """One cell is warmed past another: the summit follows without a jump."""
    widths = (np.full(14, 1.0), np.full(7, 1.0))
    x, y = cells(widths[0]), cells(widths[1]) - 3.5

    def hills(more: float) -> Array:
        far, near = x - 3.2, x - 10.5
        along = 8.0 * np.exp(-(far**2) / 8.0) + (8.0 + more) * np.exp(-(near**2) / 8.0)
        return np.asarray(along[:, None] - 0.1 * y[None, :] ** 2)

    rows = np.array([hills(more) for more in np.linspace(-0.2, 0.2, 401)])
    plane, box = Plane(one_body(widths), widths), (slice(1, 13), slice(1, 6))
    together = plane.summits(rows, [box])[0].value
    assert np.array_equal(together[::50], [plane.summits(row[None], [box])[0].value[0] for row in rows[::50]])
    assert np.abs(np.diff(together)).max() < 2e-3


# A strip (columns three to six) between pairs of hotter rectangles that meet at half its length, from a solve [C].
STRIP = """
    67.25 66.94 65.88 65.82 66.20 67.13 69.83 70.98
    68.87 68.45 67.25 67.09 67.43 68.33 71.05 72.21
    71.93 71.15 68.82 68.36 68.56 69.44 72.39 73.60
    73.28 72.36 69.85 69.27 69.39 70.23 73.17 74.34
    74.02 73.02 70.44 69.79 69.84 70.61 73.48 74.60
    74.36 73.30 70.63 69.88 69.82 70.44 73.13 74.07
    74.50 73.34 70.51 69.59 69.25 69.40 70.55 70.95
    74.33 73.13 70.25 69.26 68.83 68.85 69.84 70.10
    73.93 72.74 69.87 68.89 68.46 68.48 69.47 69.72
    73.24 72.12 69.34 68.44 68.10 68.22 69.32 69.68"""


def test_the_highest_of_a_strip_moves_with_its_cells_while_one_edge_overtakes_the_other() -> None:
    """Its summit lies on the right edge, whose cells become warmer than those of the left edge one by one."""
    strip = np.array(STRIP.split(), dtype=float).reshape(10, 8)
    widths = (np.full(10, 1.05), np.full(8, 1.1))
    steps = np.linspace(-0.1, 0.1, 201)
    rows = strip + steps[:, None, None] * (np.arange(8) >= 4)
    found = Plane(one_body(widths), widths).summits(rows, [(slice(0, 10), slice(2, 6))])[0]
    assert np.diff(found.value) == pytest.approx(np.diff(steps), abs=1e-9)


def test_small_rectangles_and_missing_cells() -> None:
    """One cell, one column, and a face that is not everywhere there."""
    widths = (np.full(5, 1.0), np.full(1, 1.0))
    face = np.array([1.0, 2.0, 5.0, 2.0, 1.0])[:, None]
    plane = Plane(one_body(widths), widths)
    alone, whole = plane.summits(face[None], [(slice(2, 3), slice(0, 1)), (slice(0, 5), slice(0, 1))])
    assert alone.value[0] == pytest.approx(5.0) and whole.value[0] == pytest.approx(5.0)
    region = np.array([0, 0, 0, -1, -1])[:, None]
    hollow = np.where(region >= 0, face, np.nan)
    found = Plane(region, widths).summits(hollow[None], [(slice(0, 5), slice(0, 1))])[0]
    assert np.isfinite(found.value[0]) and found.value[0] >= 5.0
    assert WARMEST > 1


def test_weights_at_any_place_sum_to_one_and_follow_a_plane() -> None:
    """Also on sides, corners, lines between cells, ends of heat and beside another body."""
    rng = np.random.default_rng(8)
    widths = (rng.uniform(0.5, 1.5, 9), rng.uniform(0.5, 1.5, 7))
    region = one_body(widths)
    region[6:, 4:], region[:2, :2] = 1, -1
    plane = Plane(region, widths)
    x, y = cells(widths[0]), cells(widths[1])
    face = 3.0 + 2.0 * x[:, None] - 1.5 * y[None, :]
    lines = [np.concatenate([[0.0], np.cumsum(own)]) for own in widths]
    places = [(u, v) for u in (*lines[0], *rng.uniform(0, lines[0][-1], 5)) for v in (*lines[1], 0.4)]
    jumps = (np.array([0, 3, 9]), np.array([0, 2, 7]))
    for place in places:
        for cell in plane.touching(place):
            weights = plane.weights_at(place, cell, jumps)
            assert sum(weights.values()) == pytest.approx(1.0, abs=1e-9)
            inside = all(2 < at < len(own) - 3 for at, own in zip(cell, widths, strict=True)) and not region[cell]
            if inside and cell[0] < 5 and cell[1] < 3:  # away from sides, where cells are mirrored
                read = sum(weight * face[one] for one, weight in weights.items())
                assert read == pytest.approx(3.0 + 2.0 * place[0] - 1.5 * place[1], abs=1e-9)


def test_an_edge_may_be_warmest_though_its_cells_are_not() -> None:
    """A spike beyond the edge: the cells beside it are cooler than a hill farther in, the edge itself is not."""
    widths = (np.full(30, 0.1), np.full(12, 0.25))
    x, y = cells(widths[0])[:, None] - 2.0, cells(widths[1])[None, :] - 1.5
    face = 50.0 - 1.1 * (x + 1.0) ** 2 - y**2 + 6.0 * np.exp(-((x - 0.1) ** 2 + y**2) / 0.02)
    box = (slice(0, 20), slice(0, 12))
    found = Plane(one_body(widths), widths).summits(face[None], [box])[0]
    assert face[19, :].max() < face[box].max() < 0.5 * (face[19, 5:7] + face[20, 5:7]).max()
    assert found.side[0, 0] == 1 and found.value[0] > face[box].max() + 0.4


def test_what_a_lattice_makes_of_a_jump_of_heat() -> None:
    """`ON_LATTICE`, by scipy's quadrature of what the surface of a half space of cells has over the half space itself.

    Waves u along the surface sink into cells of width 1 and height a as sinh(v/2) = a sin(u/2), so that a flux makes
    the temperature sqrt(1 + a^2 sin^2(u/2)) / (2 sin(u/2)) on the face, and 1/u in the half space.
    """
    a = 0.3
    for j, told in enumerate(ON_LATTICE):

        def over(u: float, place: float = j + 0.5) -> float:
            sine = np.sin(0.5 * u)
            return float((np.sqrt(1.0 + (a * sine) ** 2) / (2.0 * sine**2) - 2.0 / u**2) * np.sin(u * place))

        beyond, _ = quad(lambda u: 2.0 / u**2, np.pi, np.inf, weight="sin", wvar=j + 0.5)
        assert told == pytest.approx((quad(over, 1e-6, np.pi)[0] - beyond) / np.pi, abs=2e-4)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("axis", [0, 1])
def test_a_summit_far_nearer_to_an_edge_than_any_cell(axis: int, side: int) -> None:
    """40 - 6 s - s ln|s| as cells of a lattice hold it: by calculus highest at s = exp(-7), by s over the edge."""
    widths = (np.full(16, 1.0), np.full(16, 1.0))
    s = side * (cells(widths[0]) - 8.0)
    of_cell = np.where(np.abs(s) < 1.0, ON_LATTICE[0], np.where(np.abs(s) < 2.0, ON_LATTICE[1], 0.0))
    line = 40.0 - 6.0 * s - s * np.log(np.abs(s)) + 0.5 * np.pi * of_cell * np.sign(s)
    face = np.moveaxis(np.broadcast_to(line, (16, 16)), 1, axis)
    own, across = slice(8, 16) if side > 0 else slice(0, 8), slice(3, 9)
    box = (own, across) if axis == 0 else (across, own)
    plane = Plane(one_body(widths), widths)
    found = plane.summits(face[None], [box])[0]
    assert found.value[0] == pytest.approx(40.0 + np.exp(-7.0), abs=1e-9)
    assert place_of(found, widths)[axis] == pytest.approx(8.0 + side * np.exp(-7.0), abs=1e-6)
    weights = plane.weights(found)
    assert sum(weight * face[cell] for cell, weight in weights.items()) == pytest.approx(found.value[0], abs=1e-9)
