"""Steady closed forms against textbook examples and against mpmath."""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest

from thermsim.errors import NoWayOutError, RunawayError
from thermsim.proof.closed_form import fins, half_space, nonlinear
from thermsim.proof.closed_form.iso10211 import square_column, square_column_variable
from thermsim.proof.closed_form.nonlinear import Leakage, leakage_balance, leakage_limit
from thermsim.proof.closed_form.slab import INSULATED, Element, End, HeatedPlane, Joint, Layer, solve_slab

# ---- slabs ------------------------------------------------------------------------------------------------------


def test_chip_between_air_and_a_glued_plate() -> None:
    # Incropera and DeWitt, 6th ed., example 3.2: 75.3 C; further digits from the same resistances
    chip: list[Element] = [HeatedPlane(1e4), Joint(0.9e-4), Layer(8e-3, 239.0)]
    found = solve_slab(End(100.0, 25.0), chip, End(100.0, 25.0))
    assert found.face_C[0] == pytest.approx(75.306788010, abs=1e-8)
    assert round(found.face_C[0], 1) == 75.3
    assert found.face_C[2:] == pytest.approx((74.859550, 74.693212), abs=1e-6)
    assert found.flux_W_m2[0] == pytest.approx(-5030.678801, abs=1e-5)
    assert found.flux_W_m2[-1] == pytest.approx(4969.321199, abs=1e-5)


def test_composite_wall_with_generation() -> None:
    # Incropera and DeWitt, 6th ed., example 3.7 (statement from memory): 140, 115 and 105 C
    wall = [Layer(0.05, 75.0, 1.5e6), Layer(0.02, 150.0)]
    found = solve_slab(INSULATED, wall, End(1000.0, 30.0))
    assert found.face_C == pytest.approx((140.0, 115.0, 105.0), abs=1e-10)
    assert found.inside_C(0, 0.025) == pytest.approx(140.0 - 1.5e6 * 0.025**2 / 150.0, abs=1e-10)
    turned = solve_slab(End(1000.0, 30.0), wall[::-1], INSULATED)
    assert turned.face_C == pytest.approx(found.face_C[::-1], abs=1e-10)
    assert turned.flux_W_m2[-1] == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(TypeError):
        solve_slab(INSULATED, [Joint(1e-4)], End(1000.0, 30.0)).inside_C(0, 0.0)


def test_transistors_on_a_copper_plate() -> None:
    # Cengel, Heat and Mass Transfer, example on contact conductance (statement from memory): 12.4 W, 0.37 C
    case, quarter = 8e-4, 0.01
    joint, copper = Joint(quarter / (42_000.0 * case)), Layer(0.01, 386.0)
    found = solve_slab(End(math.inf, 70.0), [joint, copper], End(25.0, 20.0))
    watts = found.flux_W_m2[0] * quarter
    assert watts == pytest.approx(12.400, abs=5e-4)
    assert found.face_C[0] - found.face_C[1] == pytest.approx(0.369, abs=5e-4)


def test_overall_coefficient() -> None:
    # Lienhard and Lienhard, A Heat Transfer Textbook, example 2.10: U = 1/(1/200 + 0.001/160 + 1/5000), evaluated apart
    found = solve_slab(End(200.0, 1.0), [Layer(1e-3, 160.0)], End(5000.0, 0.0))
    assert found.flux_W_m2[0] == pytest.approx(192.0768, abs=1e-4)


def test_several_planes_superpose_and_balance() -> None:
    ends = End(40.0, 20.0), End(9000.0, 35.0)

    def faces(first: float, second: float) -> np.ndarray:
        stack: list[Element] = [
            Layer(1e-3, 0.5),
            HeatedPlane(first),
            Layer(6e-4, 120.0, second),
            Joint(1e-5),
            Layer(3e-3, 390.0),
        ]
        found = solve_slab(ends[0], stack, ends[1])
        assert found.flux_W_m2[-1] - found.flux_W_m2[0] == pytest.approx(first + 6e-4 * second, rel=1e-9, abs=1e-9)
        return np.array(found.face_C)

    np.testing.assert_allclose(faces(5e5, 3e7) + faces(0, 0), faces(5e5, 0) + faces(0, 3e7), rtol=1e-12)
    with pytest.raises(NoWayOutError):
        solve_slab(INSULATED, [HeatedPlane(1.0)], INSULATED)


# ---- half space -------------------------------------------------------------------------------------------------


def test_dimensionless_resistances_of_patches() -> None:
    # k sqrt(A) R as in Yovanovich and Marotta, Heat Transfer Handbook (2003), ch. 4 (from memory)
    disc = 1.0 / math.sqrt(math.pi)
    for found, printed in (
        (half_space.rectangle_centre(1.0, 1.0, 1.0), 0.5611),
        (half_space.rectangle_mean(1.0, 1.0, 1.0), 0.4732),
        (half_space.disc_centre(disc, 1.0), 0.5642),
        (half_space.disc_mean(disc, 1.0), 0.4789),
    ):
        assert found == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(
    ("ratio", "centre", "mean"),
    [(2, 0.54155357, 0.45976209), (4, 0.49092590, 0.42338060), (10, 0.40228781, 0.35518826)],
)
def test_rectangles_by_quadrature(ratio: float, centre: float, mean: float) -> None:
    # the values were worked out apart from Carslaw and Jaeger's corner formula; mpmath integrates 1/(2 pi k r) itself
    a, b = math.sqrt(ratio), 1.0 / math.sqrt(ratio)
    assert half_space.rectangle_centre(a, b, 1.0) == pytest.approx(centre, abs=1e-8)
    assert half_space.rectangle_mean(a, b, 1.0) == pytest.approx(mean, abs=1e-8)
    by_angle = mpmath.quad(lambda t: (a / 2) / mpmath.cos(t), [0, mpmath.atan(b / a)]) + mpmath.quad(
        lambda t: (b / 2) / mpmath.cos(t), [0, mpmath.atan(a / b)]
    )
    assert half_space.rectangle_centre(a, b, 1.0) == pytest.approx(float(4 * by_angle / (2 * mpmath.pi)), rel=1e-12)


def test_points_of_a_square() -> None:
    assert half_space.rectangle_point(1.0, 1.0, 1.0, 0.0, 0.0) == pytest.approx(0.280549926170, rel=1e-11)
    assert half_space.rectangle_corner(1.0, 1.0, 1.0) == pytest.approx(0.280549926170, rel=1e-11)
    assert half_space.rectangle_point(1.0, 1.0, 1.0, 0.5, 0.0) == pytest.approx(0.382936203163, rel=1e-11)
    far = half_space.rectangle_point(1.0, 1.0, 1.0, 300.5, -400.0 + 0.5)
    assert far == pytest.approx(1.0 / (2.0 * math.pi * 500.0), rel=1e-6)  # a point source
    node, weight = np.polynomial.legendre.leggauss(40)
    x = 0.5 + 0.5 * node
    mean = sum(
        wi * wj * half_space.rectangle_point(1.0, 1.0, 1.0, xi, xj)
        for xi, wi in zip(x, weight / 2, strict=True)
        for xj, wj in zip(x, weight / 2, strict=True)
    )
    assert mean == pytest.approx(half_space.rectangle_mean(1.0, 1.0, 1.0), rel=1e-4)


# ---- fins -------------------------------------------------------------------------------------------------------


def test_straight_fin() -> None:
    # Incropera and DeWitt, 6th ed., eq. 3.75, 3.70 and 3.86, worked out in many digits
    assert fins.fin_parameter(1e-3, 200.0, 60.0) == pytest.approx(24.494897, abs=1e-6)
    assert fins.straight_fin_tip(0.03, 1e-3, 200.0, 60.0) == pytest.approx(0.77980564, abs=1e-8)
    assert fins.straight_fin_tip(0.03, 1e-3, 200.0, 60.0, wetted_tip=True) == pytest.approx(0.77387223, abs=1e-8)


@pytest.mark.parametrize(("k", "watts"), [(398.0, 8.30955), (180.0, 5.58821), (14.0, 1.55848)])
def test_long_rods(k: float, watts: float) -> None:
    # the formula of Incropera and DeWitt, 6th ed., example 3.9, evaluated apart: sqrt(h P k A) theta
    assert fins.long_rod_heat(5e-3, k, 100.0, 75.0) == pytest.approx(watts, abs=5e-6)


# ---- ISO 10211, case 1 ------------------------------------------------------------------------------------------

# EN ISO 10211:2007, annex A, case 1 (layout from memory): rows by depth of L/8, columns from the cold side to the axis
PRINTED = """
 9.7 13.4 14.7 15.1
 5.3  8.6 10.3 10.8
 3.2  5.6  7.0  7.5
 2.0  3.6  4.7  5.0
 1.3  2.3  3.0  3.2
 0.7  1.4  1.8  1.9
 0.3  0.6  0.8  0.9"""


def test_every_printed_temperature_of_the_square_column() -> None:
    printed = np.array(PRINTED.split(), float).reshape(7, 4)
    exact = [[square_column(i / 8, j / 8) for i in range(1, 5)] for j in range(1, 8)]
    np.testing.assert_array_equal(np.round(exact, 1), printed)
    assert square_column(0.5, 0.5) == pytest.approx(5.0, abs=1e-13)  # four turned squares make a uniform one
    turns = [square_column(*place) for place in ((0.3, 0.2), (0.2, 0.7), (0.7, 0.8), (0.8, 0.3))]
    assert sum(turns) == pytest.approx(20.0, abs=1e-12)


def test_square_column_with_a_conductivity_that_rises() -> None:
    # Kirchhoff's transform of the same series, k = k0 (1 + 0.02 T)
    for place, exact in (
        ((0.5, 0.5), 5.6776436),
        ((0.5, 0.125), 15.6524606),
        ((0.125, 0.125), 10.4895242),
        ((0.5, 0.875), 1.0524994),
    ):
        assert square_column_variable(*place, per_K=0.02) == pytest.approx(exact, abs=1e-7)
    assert square_column_variable(0.3, 0.4, per_K=1e-9) == pytest.approx(square_column(0.3, 0.4), abs=1e-5)


# ---- k(T) -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("exponent", "flux", "thickness", "cold", "top"),
    [
        (1.3, 1e6, 0.775e-3, 350.0, 356.475170),
        (1.3, 5e6, 0.775e-3, 350.0, 383.989569),
        (1.3, 5e6, 0.400e-3, 360.0, 377.671328),
        (1.4, 5e6, 0.775e-3, 350.0, 384.723881),
    ],
)
def test_silicon_whose_conductivity_falls(
    exponent: float, flux: float, thickness: float, cold: float, top: float
) -> None:
    # Kirchhoff's transform (Carslaw and Jaeger, section 1.6), k0 = 148 W/mK at 300 K (Incropera, table A.1)
    found = nonlinear.power_law_slab_top(flux, thickness, cold, 148.0, 300.0, exponent)
    assert found == pytest.approx(top, abs=1e-6)
    carried = mpmath.quad(lambda t: 148.0 * (300.0 / t) ** exponent, [cold, found]) / thickness
    assert float(carried) == pytest.approx(flux, rel=1e-10)


def test_power_law_limits() -> None:
    constant = nonlinear.power_law_slab_top(1e6, 1e-3, 350.0, 148.0, 300.0, 0.0)
    assert constant == pytest.approx(350.0 + 1e3 / 148.0, rel=1e-12)
    beside = [nonlinear.power_law_slab_top(1e6, 1e-3, 350.0, 148.0, 300.0, n) for n in (1.0 - 1e-7, 1.0, 1.0 + 1e-7)]
    assert beside[0] == pytest.approx(beside[1], abs=1e-4) and beside[2] == pytest.approx(beside[1], abs=1e-4)
    with pytest.raises(RunawayError):
        nonlinear.power_law_slab_top(1e9, 1e-3, 350.0, 148.0, 300.0, 1.3)


def test_linear_law_slab() -> None:
    # k = 200 (1 + 1e-3 (T - 300)) between 400 and 300 K: q = 210 W/mK x 100 K/10 mm; the middle solves a quadratic
    assert nonlinear.linear_law_slab_flux(0.01, 400.0, 300.0, 200.0, 300.0, 1e-3) == pytest.approx(2.1e6, rel=1e-14)
    middle = nonlinear.linear_law_slab_inside(0.5, 400.0, 300.0, 300.0, 1e-3)
    assert middle == pytest.approx(300.0 + 1e3 * (math.sqrt(1.105) - 1.0), rel=1e-14)
    half = nonlinear.linear_law_slab_flux(0.005, middle, 300.0, 200.0, 300.0, 1e-3)
    assert half == pytest.approx(2.1e6, rel=1e-12)
    ends = [nonlinear.linear_law_slab_inside(f, 400.0, 300.0, 310.0, 1e-3) for f in (0.0, 1.0)]
    assert ends == pytest.approx([400.0, 300.0], abs=1e-10)


# ---- leakage ----------------------------------------------------------------------------------------------------

DOUBLES_IN_20_K = Leakage.doubling(20.0, 60.0, 20.0)


def test_leakage_balance_and_both_roots() -> None:
    # Lambert's function (Corless et al. 1996); mpmath solves the balance itself
    found = leakage_balance(30.0, 0.25, 150.0, DOUBLES_IN_20_K)
    assert found.stable_C == pytest.approx(76.294952, abs=1e-6)
    assert found.unstable_C == pytest.approx(135.170571, abs=1e-6)
    assert found.leakage_W == pytest.approx(35.179808, abs=1e-6)
    for start, root in ((75.0, found.stable_C), (135.0, found.unstable_C)):
        exact = mpmath.findroot(
            lambda t: t - 30 - mpmath.mpf(0.25) * (150 + 20 * mpmath.mpf(2) ** ((t - 60) / 20)), start
        )
        assert root == pytest.approx(float(exact), abs=1e-10)


def test_runaway_is_told_with_its_limit() -> None:
    limit = leakage_limit(30.0, 150.0, DOUBLES_IN_20_K)
    assert limit.resistance_K_W == pytest.approx(0.30595643, abs=1e-8)
    assert limit.temperature_C == pytest.approx(104.747365, abs=1e-6)
    gain = limit.resistance_K_W * DOUBLES_IN_20_K.power(limit.temperature_C) / DOUBLES_IN_20_K.slope_K
    assert gain == pytest.approx(1.0, rel=1e-12)  # R dP/dT = 1
    near = leakage_balance(30.0, limit.resistance_K_W * (1 - 1e-9), 150.0, DOUBLES_IN_20_K)
    assert near.stable_C == pytest.approx(near.unstable_C, abs=0.02)
    with pytest.raises(RunawayError, match=r"0\.305956"):
        leakage_balance(30.0, 0.31, 150.0, DOUBLES_IN_20_K)
    idle = leakage_limit(30.0, 0.0, DOUBLES_IN_20_K)
    assert leakage_limit(30.0, 1e-6, DOUBLES_IN_20_K).resistance_K_W == pytest.approx(idle.resistance_K_W, rel=1e-6)


def test_linear_leakage() -> None:
    # T = [Ta + R (Pd + P0 (1 - b T0))]/(1 - R b P0), b = ln 2/20
    b = math.log(2.0) / 20.0
    assert nonlinear.linear_leakage_temperature(30.0, 0.25, 150.0, 20.0, 60.0, b) == pytest.approx(75.120117, abs=1e-6)
    with pytest.raises(RunawayError, match=r"1\.4427"):
        nonlinear.linear_leakage_temperature(30.0, 1.5, 150.0, 20.0, 60.0, b)


# ---- closed forms far from the numbers of the table, against the printed formulas in 60 digits -------------------


def _corner_in_digits(a: mpmath.mpf, b: mpmath.mpf) -> mpmath.mpf:
    return mpmath.mpf(0) if a == 0 or b == 0 else a * mpmath.asinh(b / a) + b * mpmath.asinh(a / b)


@pytest.mark.parametrize(("a", "b"), [(1.0, 1.0), (1.0, 1e-6), (1e-8, 1.0), (3.0, 1e-12), (1e-3, 0.7)])
def test_mean_of_slender_rectangles(a: float, b: float) -> None:
    with mpmath.workdps(60):
        p, q = mpmath.mpf(a), mpmath.mpf(b)
        bracket = 3 * p * q * _corner_in_digits(p, q) + p**3 + q**3 - (p * p + q * q) ** mpmath.mpf(1.5)
        exact = float(bracket / (3 * mpmath.pi * (p * q) ** 2))
    assert half_space.rectangle_mean(a, b, 1.0) == pytest.approx(exact, rel=2e-15)


@pytest.mark.parametrize(
    ("a", "b", "x", "y"),
    [
        (1.0, 1.0, 1e5, 3e4),
        (1.0, 1.0, 0.5, -1e9),
        (1.0, 1.0, 2.1, 0.0),
        (1.0, 1.0, 1.9, 1.0),
        (1.0, 1e-6, 0.3, 1e-3),
        (1.0, 1e-6, -1e8, 2.0),
        (1.0, 1e-6, 0.2, 5e-7),
    ],
)
def test_points_far_from_a_rectangle(a: float, b: float, x: float, y: float) -> None:
    with mpmath.workdps(60):
        total = mpmath.mpf(0)
        for near, far in ((mpmath.mpf(x), -1), (mpmath.mpf(x) - a, 1)):
            for left, right in ((mpmath.mpf(y), -1), (mpmath.mpf(y) - b, 1)):
                sign = far * right * mpmath.sign(near) * mpmath.sign(left)
                total += sign * _corner_in_digits(abs(near), abs(left))
        exact = float(total / (2 * mpmath.pi * a * b))
    assert half_space.rectangle_point(a, b, 1.0, x, y) == pytest.approx(exact, rel=2e-15)


@pytest.mark.parametrize("over", [1e-15, 1e-14, 1e-12, -1e-12, 1e-7, 1.0])
def test_power_law_near_its_limit(over: float) -> None:
    exponent = 1.0 + over
    with mpmath.workdps(60):
        n, scale = mpmath.mpf(exponent), mpmath.mpf(1e6) * mpmath.mpf(0.775e-3) / 148
        exact = float((mpmath.mpf(350) ** (1 - n) - scale * (n - 1) / mpmath.mpf(300) ** n) ** (1 / (1 - n)))
    assert nonlinear.power_law_slab_top(1e6, 0.775e-3, 350.0, 148.0, 300.0, exponent) == pytest.approx(exact, abs=2e-13)


def test_square_column_with_next_to_no_growth() -> None:
    theta = square_column(0.3, 0.4)
    assert square_column_variable(0.3, 0.4, per_K=0.0) == theta
    slope = (20.0 * theta - theta**2) / 2.0  # of T by per_K at 0, from T + b T^2/2 = (1 + b warm/2) theta
    assert square_column_variable(0.3, 0.4, per_K=1e-12) - theta == pytest.approx(1e-12 * slope, abs=1e-14)


def test_fins_without_a_film_and_without_end() -> None:
    assert fins.straight_fin_tip(0.03, 1e-3, 200.0, 0.0, wetted_tip=True) == 1.0
    assert fins.straight_fin_tip(300.0, 1e-3, 200.0, 60.0, wetted_tip=True) == 0.0  # cosh of 7 348 overflows
