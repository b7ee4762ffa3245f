"""The flux channel against the plain series of the papers, against mpmath, and against its own symmetries.

Formulas: Muzychka, Culham, Yovanovich, J. Electron. Packag. 125 (2003) 178; Yovanovich, Muzychka, Culham,
J. Thermophys. Heat Transfer 13 (1999) 495 (both from memory). The reference numbers were summed from
these formulas to 4000 x 4000 terms by a program of its own; they are not printed in the papers.
"""

from __future__ import annotations

import math
from dataclasses import replace

import mpmath
import numpy as np
import pytest

from thermsim.errors import ThermsimError
from thermsim.proof.closed_form import half_space
from thermsim.proof.closed_form.discs import disc_on_stack, equivalent_radius, lee_song_au_moran
from thermsim.proof.closed_form.flux_channel import (
    Channel,
    ChannelLayer,
    Rectangle,
    influence_matrix,
    mean_rise,
    one_side_admittance,
    point_rise,
    rise_field,
    strip,
    strip_channel,
    uniform_rise,
)

MM = 1e-3
PLATE = 40 * MM
COPPER = ChannelLayer(3 * MM, 390.0, 390.0)
CENTRED = Rectangle(20 * MM, 20 * MM, 10 * MM, 10 * MM)
GLUED = (COPPER, ChannelLayer(0.05 * MM, 4.0, 4.0))
ORTHOTROPIC = ChannelLayer(1 * MM, 1500.0, 8.0)

E1 = Channel(PLATE, PLATE, (COPPER,), 5000.0)


def plate(layers: tuple[ChannelLayer, ...], film: float) -> Channel:
    return Channel(PLATE, PLATE, layers, film)


@pytest.mark.parametrize(
    ("channel", "source", "mean", "centre"),
    [
        pytest.param(E1, CENTRED, 0.262682, 0.296575, id="one layer"),
        pytest.param(
            plate((COPPER,), 1e4), Rectangle(15 * MM, 22 * MM, 14 * MM, 10 * MM), 0.169276, 0.198033, id="off centre"
        ),
        pytest.param(plate(GLUED, 2e4), CENTRED, 0.159262, 0.190102, id="two layers"),
        pytest.param(plate((ORTHOTROPIC,), 5000.0), CENTRED, 0.497133, 0.576759, id="orthotropic"),
    ],
)
def test_summed_reference_values(channel: Channel, source: Rectangle, mean: float, centre: float) -> None:
    for found, expected in (
        (mean_rise(channel, source), mean),
        (point_rise(channel, source, source.centre_x, source.centre_y), centre),
    ):
        assert found.value == pytest.approx(expected, abs=6e-7)  # printed to six digits
        assert found.error < 1e-9 * found.value


def test_two_sources_as_a_matrix() -> None:
    pair = (Rectangle(10 * MM, 12 * MM, 8 * MM, 8 * MM), Rectangle(28 * MM, 25 * MM, 6 * MM, 10 * MM))
    found = influence_matrix(E1, pair).value
    np.testing.assert_allclose(found, [[0.351488, 0.0726649], [0.0726649, 0.327243]], rtol=3e-6)
    np.testing.assert_allclose(found @ [60.0, 40.0], [23.9959, 17.4496], atol=1e-4)
    assert found[0, 1] == pytest.approx(found[1, 0], rel=1e-12)  # reciprocity


def test_slice() -> None:
    channel, middle = strip_channel(PLATE, (COPPER,), 5000.0), strip(20 * MM, 10 * MM)
    assert mean_rise(channel, middle).value == pytest.approx(0.00677319, rel=1e-6)
    assert point_rise(channel, middle, 20 * MM).value == pytest.approx(0.00703279, rel=1e-6)
    assert point_rise(channel, middle, PLATE).value == pytest.approx(0.00399643, rel=1e-6)


def test_slice_is_a_source_across_the_whole_plate() -> None:
    across = Rectangle(12 * MM, 20 * MM, 6 * MM, PLATE)
    slim = mean_rise(strip_channel(PLATE, GLUED, 2e4), strip(12 * MM, 6 * MM)).value
    assert mean_rise(plate(GLUED, 2e4), across).value == pytest.approx(slim / PLATE, rel=1e-9)


def paper_single_layer(source: Rectangle, a: float, b: float, t: float, k: float, h: float, terms: int) -> float:
    """Mean rise in the form of the 2003 paper: A0, A_m, A_n, A_mn and phi, summed as printed."""

    def phi(z: np.ndarray) -> np.ndarray:
        th = np.tanh(z * t)
        return (z * th + h / k) / (z + h / k * th)

    x, y, c, d = source.centre_x, source.centre_y, source.size_x, source.size_y
    lam, delta = (np.arange(1, terms + 1) * math.pi / side for side in (a, b))
    a_m = 2.0 * (np.sin((2 * x + c) * lam / 2) - np.sin((2 * x - c) * lam / 2)) / (a * b * c * k * lam**2 * phi(lam))
    a_n = (
        2.0
        * (np.sin((2 * y + d) * delta / 2) - np.sin((2 * y - d) * delta / 2))
        / (a * b * d * k * delta**2 * phi(delta))
    )
    along_x = np.cos(lam * x) * np.sin(lam * c / 2) / (lam * c / 2)
    along_y = np.cos(delta * y) * np.sin(delta * d / 2) / (delta * d / 2)
    total = (t / k + 1.0 / h) / (a * b) + a_m @ along_x + a_n @ along_y
    for first in range(0, terms, 500):
        part = slice(first, first + 500)
        zeta = np.hypot(lam[part, None], delta[None, :])
        share = np.outer(np.cos(lam[part] * x) * np.sin(lam[part] * c / 2) / lam[part], along_y * d / 2)
        total += 16.0 * along_x[part] @ (share / (a * b * c * d * k * zeta * phi(zeta))) @ along_y
    return float(total)


def test_single_layer_equals_the_form_of_the_paper() -> None:
    source = Rectangle(15 * MM, 22 * MM, 14 * MM, 10 * MM)
    plain = paper_single_layer(source, PLATE, PLATE, 3 * MM, 390.0, 1e4, 2000)
    assert mean_rise(plate((COPPER,), 1e4), source).value == pytest.approx(plain, rel=1e-6)


def test_two_layers_equal_the_phi_of_the_1999_paper() -> None:
    # phi = k1 z/Y with alpha = (1 - kappa)/(1 + kappa), rho = (z + h/k2)/(z - h/k2)
    t1, k1, t2, k2, h = 3 * MM, 390.0, 0.05 * MM, 4.0, 2e4
    for z in (60.0, 300.0, 900.0):
        alpha, rho = (k1 - k2) / (k1 + k2), (z + h / k2) / (z - h / k2)
        e = [math.exp(power * z) for power in (4 * t1, 2 * t1, 2 * (2 * t1 + t2), 2 * (t1 + t2))]
        upper = alpha * e[0] + e[1] + rho * (e[2] + alpha * e[3])
        lower = alpha * e[0] - e[1] + rho * (e[2] - alpha * e[3])
        admittance = float(one_side_admittance(GLUED, h, np.array([z]))[0])
        assert k1 * z / admittance == pytest.approx(upper / lower, rel=1e-12)


def test_admittance_in_forty_digits() -> None:
    layers = (ChannelLayer(0.6 * MM, 120.0, 148.0, 2e-5), ORTHOTROPIC, ChannelLayer(3 * MM, 390.0, 390.0, 1e-6))
    with mpmath.workdps(40):
        for z in (1e-3, 80.0, 2e3, 5e5):
            wanted = mpmath.mpf(5000)
            for layer in reversed(layers):
                wanted = 1 / (1 / wanted + mpmath.mpf(layer.joint_below_m2K_W))
                stretch = mpmath.sqrt(mpmath.mpf(layer.in_plane_W_mK) / layer.through_W_mK)
                slope, th = layer.through_W_mK * z * stretch, mpmath.tanh(z * stretch * layer.thickness_m)
                wanted = slope * (wanted + slope * th) / (slope + wanted * th)
            found = one_side_admittance(layers, 5000.0, np.array([z]))[0]
            assert float(found) == pytest.approx(float(wanted), rel=1e-13)


def test_slice_series_by_mpmath() -> None:
    # the plain series of one layer, its slowly falling part summed in closed form by mpmath
    a, c, t, k, h = 0.04, 0.01, 0.003, 390.0, 5000.0
    with mpmath.workdps(25):

        def term(n: float) -> mpmath.mpf:
            wave = 2 * mpmath.mpf(n) * mpmath.pi / a  # odd waves vanish for a centred strip
            th, bi = mpmath.tanh(wave * t), h / (k * wave)
            return 2 * mpmath.sin(wave * c / 2) ** 2 / (wave * c / 2) ** 2 * (1 + bi * th) / (th + bi) / (k * wave) / a

        # sin^2 of n pi/4 is periodic with 4: each residue is a smooth series
        spread = sum(mpmath.nsum(lambda j, r=r: term(4 * j + r), [0, mpmath.inf]) for r in (1, 2, 3))
        wanted = float((t / k + 1 / mpmath.mpf(h)) / a + spread)
    assert mean_rise(strip_channel(a, (COPPER,), h), strip(a / 2, c)).value == pytest.approx(wanted, rel=1e-10)


def test_orthotropic_layer_is_an_isotropic_one_stretched() -> None:
    # k_e = sqrt(k_p k_z), t_e = t sqrt(k_p/k_z), t_e/k_e = t/k_z
    stretch = math.sqrt(1500.0 / 8.0)
    isotropic = ChannelLayer(1 * MM * stretch, 8.0 * stretch, 8.0 * stretch)
    for rest in ((), GLUED):
        layered = mean_rise(plate((ORTHOTROPIC, *rest), 5000.0), CENTRED).value
        assert mean_rise(plate((isotropic, *rest), 5000.0), CENTRED).value == pytest.approx(layered, rel=1e-12)


def test_cut_layer_and_empty_joint_change_nothing() -> None:
    whole = mean_rise(E1, CENTRED).value
    cut = (ChannelLayer(1 * MM, 390.0, 390.0, 0.0), ChannelLayer(2 * MM, 390.0, 390.0))
    assert mean_rise(plate(cut, 5000.0), CENTRED).value == pytest.approx(whole, rel=1e-12)


def test_thin_layer_tends_to_a_joint() -> None:
    jointed = mean_rise(plate((replace(COPPER, joint_below_m2K_W=1e-5), COPPER), 5000.0), CENTRED).value
    thin = ChannelLayer(1e-8, 1e-3, 1e-3)
    assert mean_rise(plate((COPPER, thin, COPPER), 5000.0), CENTRED).value == pytest.approx(jointed, rel=1e-5)


def test_thin_layer_on_top_still_knows_its_error() -> None:
    thin = ChannelLayer(0.02 * MM, 148.0, 148.0, 2e-5)
    found = mean_rise(plate((thin, COPPER), 5000.0), CENTRED)
    assert found.error < 1e-6 * found.value
    # the same layer, thick: cut thin on top it asks for more terms than are summed, whole it is known to all digits
    whole = mean_rise(plate((ChannelLayer(0.2 * MM, 148.0, 148.0), COPPER), 5000.0), CENTRED)
    slices = (ChannelLayer(0.01 * MM, 148.0, 148.0), ChannelLayer(0.19 * MM, 148.0, 148.0))
    cut = mean_rise(plate((*slices, COPPER), 5000.0), CENTRED)
    assert whole.error < 1e-12 * whole.value
    assert abs(cut.value - whole.value) <= max(cut.error, 1e-12 * whole.value)


def test_limits_of_uniform_heat_and_half_space() -> None:
    everywhere = Rectangle(PLATE / 2, PLATE / 2, PLATE, PLATE)
    assert mean_rise(E1, everywhere).value == pytest.approx(0.129807692, rel=1e-8)  # (t/k + 1/h)/(a b)
    assert uniform_rise(E1) == pytest.approx(0.129807692, rel=1e-8)
    block = Channel(1.0, 1.0, (ChannelLayer(1.0, 100.0, 100.0),), math.inf)
    tiny = Rectangle(0.5, 0.5, 2 * MM, 1 * MM)
    # a block 500 sources wide: the half space (Yovanovich 1976) less its cold floor and rim, of order 1/(k block)
    assert mean_rise(block, tiny).value == pytest.approx(half_space.rectangle_mean(2 * MM, MM, 100.0), rel=2e-3)
    assert point_rise(block, tiny, 0.5, 0.5).value == pytest.approx(
        half_space.rectangle_centre(2 * MM, MM, 100.0), rel=2e-3
    )


def test_rayleigh_bounds() -> None:
    # lateral k infinite and zero bracket every real plate
    low, high = uniform_rise(E1), (3 * MM / 390.0 + 1 / 5000.0) / (10 * MM) ** 2
    assert low == pytest.approx(0.129808, abs=1e-6) and high == pytest.approx(2.076923, abs=1e-6)
    assert low < mean_rise(E1, CENTRED).value < high
    for k, bound in ((1e9, low), (1e-7, high)):
        assert mean_rise(plate((ChannelLayer(3 * MM, k, 390.0),), 5000.0), CENTRED).value == pytest.approx(
            bound, rel=2e-3
        )


def test_two_sided_stack() -> None:
    # the same stack above and below carries half of the heat each way; a second film only cools
    both = Channel(PLATE, PLATE, (COPPER,), 5000.0, above=(COPPER,), film_above_W_m2K=5000.0)
    assert mean_rise(both, CENTRED).value == pytest.approx(mean_rise(E1, CENTRED).value / 2, rel=1e-12)
    windy = replace(E1, film_above_W_m2K=12.0)
    assert uniform_rise(windy) == pytest.approx(1 / (1 / uniform_rise(E1) + 12.0 * PLATE**2), rel=1e-12)
    assert mean_rise(windy, CENTRED).value < mean_rise(E1, CENTRED).value


def test_field_agrees_with_points_and_means() -> None:
    pair = (CENTRED, Rectangle(33 * MM, 8 * MM, 6 * MM, 9 * MM))
    node, weight = np.polynomial.legendre.leggauss(24)
    x = 20 * MM + 5 * MM * node
    field = rise_field(E1, pair, (30.0, 12.0), x, x)
    assert field.value.shape == (24, 24) and field.error < 1e-10
    one = 30.0 * point_rise(E1, pair[0], x[3], x[20]).value + 12.0 * point_rise(E1, pair[1], x[3], x[20]).value
    assert field.value[3, 20] == pytest.approx(one, rel=1e-12)
    mean = influence_matrix(E1, pair).value[0] @ [30.0, 12.0]
    assert weight @ field.value @ weight / 4.0 == pytest.approx(mean, rel=1e-4)  # gradients are steep at the edges


def test_turned_and_mirrored_plate() -> None:
    channel, source = Channel(30 * MM, 50 * MM, GLUED, 2e4), Rectangle(11 * MM, 17 * MM, 8 * MM, 5 * MM)
    turned = Channel(50 * MM, 30 * MM, GLUED, 2e4), Rectangle(17 * MM, 11 * MM, 5 * MM, 8 * MM)
    mirrored = replace(source, centre_x=19 * MM)
    value = mean_rise(channel, source).value
    assert mean_rise(*turned).value == pytest.approx(value, rel=1e-12)
    assert mean_rise(channel, mirrored).value == pytest.approx(value, rel=1e-12)


def test_what_cannot_be_summed_is_refused() -> None:
    with pytest.raises(ThermsimError, match="inside the plate"):
        mean_rise(E1, Rectangle(3 * MM, 20 * MM, 10 * MM, 10 * MM))
    with pytest.raises(ThermsimError, match="film"):
        plate((COPPER,), 0.0)
    with pytest.raises(ThermsimError, match="layer"):
        plate((), 10.0)


def test_discs() -> None:
    # Bessel series of the equivalent discs, and Lee, Song, Au, Moran 1995 (from memory): values worked out apart
    a, b = equivalent_radius(10 * MM, 10 * MM), equivalent_radius(PLATE, PLATE)
    exact = disc_on_stack(a, b, (COPPER,), 5000.0)
    assert exact.mean == pytest.approx(0.264001, abs=1e-6) and exact.highest == pytest.approx(0.297014, abs=1e-6)
    rough = lee_song_au_moran(1e-4, PLATE**2, 3 * MM, 390.0, 1.0 / (5000.0 * PLATE**2))
    assert rough.mean == pytest.approx(0.258379, abs=1e-6) and rough.highest == pytest.approx(0.297329, abs=1e-6)
    assert rough.mean == pytest.approx(exact.mean, rel=0.1) and rough.highest == pytest.approx(exact.highest, rel=0.1)


def test_small_disc_on_a_great_block_is_a_disc_on_a_half_space() -> None:
    found = disc_on_stack(0.02, 1.0, (ChannelLayer(3.0, 50.0, 50.0),), math.inf)
    floor = 3.0 / (50.0 * math.pi)  # the whole block in one dimension; the rest differs by about 1.4 a/b
    assert found.mean - floor == pytest.approx(half_space.disc_mean(0.02, 50.0), rel=0.03)
    assert found.highest - floor == pytest.approx(half_space.disc_centre(0.02, 50.0), rel=0.03)
