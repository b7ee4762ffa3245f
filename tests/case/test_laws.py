"""Laws of conductivity and of leakage: values, means and slopes against quadrature, differences and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from thermsim.case.vocabulary.schema import Leakage
from thermsim.materials.conductivity import ConstantLaw, Law, PowerLaw, TableLaw
from thermsim.materials.leakage import LAWS, DoublingLeakage, LeakageLaw, LinearLeakage, law_of

TABLE = TableLaw.of([(20.0, 50.0), (60.0, 200.0), (75.0, 90.0), (120.0, 100.0)])
CONDUCTIVITIES = [ConstantLaw(3.0), PowerLaw(148.0, 27.0, 1.4), TABLE]
LEAKAGES: list[LeakageLaw] = [LinearLeakage(60.0, 0.01), DoublingLeakage(60.0, 0.3, 20.0)]


@pytest.mark.parametrize("reach_K", [0.01, 3.0, 40.0])
@pytest.mark.parametrize("at_C", [-10.0, 19.0, 60.0, 70.0, 119.0, 300.0])
def test_the_mean_of_a_table_is_its_integral(at_C: float, reach_K: float) -> None:
    """Held against scipy's adaptive quadrature, told where the kinks are; the slope against a difference."""
    low, high = at_C - reach_K, at_C + reach_K
    kinks = [at for at in TABLE.kinks_C if low < at < high]
    whole = quad(lambda at: float(TABLE(at)), low, high, points=kinks or None, epsabs=0.0, epsrel=1e-12)[0]
    reach = np.array([reach_K])
    assert TABLE.mean(np.array([at_C]), reach)[0] == pytest.approx(whole / (2.0 * reach_K), rel=1e-9)
    step = 1e-3 * reach_K
    above, below = (TABLE.mean(np.array([at_C + shift]), reach)[0] for shift in (step, -step))
    slope = TABLE.slope_of_mean(np.array([at_C]), reach)[0]
    assert slope == pytest.approx((above - below) / (2.0 * step), rel=1e-3, abs=1e-3)
    wide, near = (TABLE.mean(np.array([at_C]), reach + shift)[0] for shift in (step, -step))
    by_reach = TABLE.slope_of_mean_by_reach(np.array([at_C]), reach)[0]
    assert by_reach == pytest.approx((wide - near) / (2.0 * step), rel=1e-3, abs=1e-3)


@pytest.mark.parametrize("law", CONDUCTIVITIES, ids=lambda law: type(law).__name__)
def test_conductivity_laws_know_their_slope_factor_and_words(law: Law) -> None:
    at = np.array([-40.0, 35.0, 68.0, 200.0])
    difference = (law(at + 1e-4) - law(at - 1e-4)) / 2e-4
    assert law.slope(at) == pytest.approx(difference, rel=1e-6, abs=1e-9)
    assert law.scaled(1.7).factor_over(law) == pytest.approx(1.7)
    assert all(law.factor_over(other) is None for other in CONDUCTIVITIES if other is not law)
    assert "value" in law.given or "table" in law.given


@pytest.mark.parametrize("law", LEAKAGES, ids=lambda law: type(law).__name__)
def test_leakage_laws_know_their_power_and_slope(law: LeakageLaw) -> None:
    """By hand: 1 at the temperature of the power typed; 40 K above it 1.4, and 0.7 + 0.3 x 4 = 1.9."""
    assert law.factor(60.0) == pytest.approx(1.0)
    assert law.factor(100.0) == pytest.approx(1.4 if law.is_linear else 1.9)
    assert law.slope(80.0) == pytest.approx((law.factor(80.001) - law.factor(79.999)) / 0.002, rel=1e-6)
    assert np.isfinite(law.factor(1e9))


def test_leakage_at_another_clock() -> None:
    """0.7 x 2 + 0.3 x 1.5 = 1.85, of which 0.45 leaks; a linear law goes with what switches, whole."""
    factor, law = LEAKAGES[1].driven(2.0, 1.5)
    assert factor == pytest.approx(1.85) and law.share == pytest.approx(0.45 / 1.85)  # type: ignore[attr-defined]
    assert LEAKAGES[0].driven(2.0, 1.5) == (2.0, LEAKAGES[0])


def test_a_case_gives_one_law_whole() -> None:
    assert law_of({"at_C": 60.0, "per_K": 0.01, "share": None}) == LEAKAGES[0]
    assert law_of({"at_C": 60.0, "share": 0.3}) is None
    assert law_of({"at_C": 60.0, "per_K": 0.01, "share": 0.3, "doubling_K": 20.0}) is None
    assert {key for kind in LAWS for key in kind.given_as()} | {"at_C"} == set(Leakage.model_fields)
    assert Leakage(at_C=60.0, share=0.3, doubling_K=20.0).law == LEAKAGES[1]
    assert LEAKAGES[0].negative_below_C == pytest.approx(-40.0) and LEAKAGES[1].negative_below_C is None
