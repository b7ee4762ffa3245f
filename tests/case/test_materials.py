"""The catalogue against handbooks, and what a case makes of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermsim.case.vocabulary.schema import Conductivity, Joint, MaterialGiven
from thermsim.errors import ThermsimError, UnknownNameError
from thermsim.materials import catalogue
from thermsim.materials.conductivity import ConstantLaw, PowerLaw, TableLaw
from thermsim.model.physics.properties import is_void, joint_of, law_of, material_of

# Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 7th ed., Table A.1:
# absolute temperature [K], conductivity [W/mK].
INCROPERA = [
    ("silicon", 300, 148.0),
    ("silicon", 400, 98.9),
    ("copper", 300, 401.0),
    ("copper", 400, 393.0),
    ("aluminium", 300, 237.0),
    ("aluminium", 400, 240.0),
    ("gold", 300, 317.0),
    ("nickel", 300, 90.7),
    ("nickel", 400, 80.2),
    ("silver", 300, 429.0),
    ("tin", 300, 66.6),
]


@pytest.mark.parametrize(("name", "kelvin", "conductivity"), INCROPERA)
def test_conductivity_is_the_handbooks(name: str, kelvin: float, conductivity: float) -> None:
    assert float(catalogue.material(name).along_z(kelvin - 273.15)) == pytest.approx(conductivity, rel=1e-3)


def test_silicon_falls_as_recommended_between_the_tabulated_points() -> None:
    # Recommended value at 350 K: Ho, Powell, Liley, J. Phys. Chem. Ref. Data 1 (1972) 279: 119 W/mK, from memory.
    assert float(catalogue.material("silicon").along_x(350 - 273.15)) == pytest.approx(119.0, rel=5e-3)
    # Incropera Table A.1 at 200 K, the cold end of where the law may be trusted.
    assert float(catalogue.material("silicon").along_x(200 - 273.15)) == pytest.approx(264.0, rel=0.015)


@pytest.mark.parametrize(
    ("name", "density", "heat_capacity"),
    # Incropera, 7th ed., Table A.1, at 300 K.
    [("silicon", 2330, 712), ("copper", 8933, 385), ("aluminium", 2702, 903), ("gold", 19300, 129)],
)
def test_density_and_heat_capacity_are_the_handbooks(name: str, density: float, heat_capacity: float) -> None:
    body = catalogue.material(name)
    assert (body.density_kg_m3, body.heat_capacity_J_kgK) == (density, heat_capacity)


@pytest.mark.parametrize(
    ("name", "kelvin", "heat_capacity"),
    # Incropera, 7th ed., Table A.1: silicon 712 at 300 K and 790 at 400 K; the others from memory of that table.
    [("silicon", 300, 712), ("silicon", 400, 790), ("copper", 400, 397), ("aluminium", 400, 949), ("nickel", 400, 485)],
)
def test_heat_capacity_over_temperature_is_the_handbooks(name: str, kelvin: float, heat_capacity: float) -> None:
    law = catalogue.material(name).heat_capacity
    assert law is not None
    assert float(law(kelvin - 273.15)) == pytest.approx(heat_capacity, rel=1e-12)


@pytest.mark.parametrize("name", ["silicon", "copper", "aluminium", "nickel"])
def test_what_was_not_held_against_the_print_says_so(name: str) -> None:
    # Of Table A.1 only the values at 300 K (silicon: and 400 K) were checked; the rest of each table was not.
    assert "from memory" in catalogue.material(name).heat_source
    assert "from memory" in catalogue.rows(name)[0]["heat_capacity_source"]


@pytest.mark.parametrize("name", catalogue.names())
def test_every_heat_capacity_tells_its_range_and_source(name: str) -> None:
    body = catalogue.material(name)
    assert 0.0 < body.heat_spread < 0.5
    assert len(body.heat_source) > 10 and body.heat_how_sure in catalogue.HOW_SURE


def test_what_a_filling_stores_comes_from_the_case_then_from_its_class() -> None:
    # Indium: 7310 kg/m3, 233 J/kgK (CRC Handbook, from memory): 1.70 MJ/m3K.
    own = Joint(joint="a", film_um=240, conductivity_W_mK=70, density_kg_m3=7310, heat_capacity_J_kgK=233)  # type: ignore[arg-type]
    assert joint_of(own).heat_J_m3K == pytest.approx(1.703e6, rel=1e-3)
    assert joint_of(Joint(joint="a", material="indium solder")).heat_J_m3K == pytest.approx(1.703e6, rel=0.05)
    assert joint_of(Joint(joint="a", resistance_mm2K_W=7)).heat_J_m3K is None  # type: ignore[arg-type]


def test_water_agrees_with_iapws() -> None:
    # IAPWS-95 with the IAPWS conductivity formulation: 0.60652 W/mK at 25 C.
    assert float(catalogue.material("water").along_x(25.0)) == pytest.approx(0.60652, rel=1e-6)


@pytest.mark.parametrize("name", catalogue.names())
def test_every_material_loads_with_source_and_sureness(name: str) -> None:
    body = catalogue.material(name)
    assert len(body.source) > 10
    assert body.how_sure in catalogue.HOW_SURE
    assert 0 < body.k_spread < 1
    for law in body.laws:
        everywhere = law(np.array([-273.15, -300.0, -40.0, 27.0, 100.0, 1e9]))
        assert np.all(np.isfinite(everywhere)) and np.all(everywhere > 0)
    assert body.density_kg_m3 is not None and body.heat_capacity_J_kgK is not None
    # Solids and liquids store 0.8 to 4.2 MJ/m3K (Dulong and Petit for the metals; water is the highest).
    if name != "air":
        assert 0.7e6 < body.density_kg_m3 * body.heat_capacity_J_kgK < 4.2e6


@pytest.mark.parametrize("name", catalogue.joint_names())
def test_every_joint_class_loads_and_its_middles_agree(name: str) -> None:
    film = catalogue.joint(name)
    assert len(film.source) > 10
    assert film.how_sure in catalogue.HOW_SURE
    assert film.resistance_mm2K_W is not None and film.resistance_mm2K_W.low < film.resistance_mm2K_W.high
    if film.film_um is not None:
        assert film.conductivity_W_mK is not None and film.boundary_mm2K_W is not None
        # 1 um of 1 W/mK is 1 mm2K/W.
        by_terms = film.film_um.middle / film.conductivity_W_mK.middle + film.boundary_mm2K_W.middle
        assert by_terms == pytest.approx(film.resistance_mm2K_W.middle, rel=0.2)


def test_gallium_and_aluminium_are_marked() -> None:
    bodies = [catalogue.material(name) for name in catalogue.names()]
    assert {body.name for body in bodies if body.holds_gallium} == {"gallium", "gallium-indium", "gallium-indium-tin"}
    # A nitride is no metal: gallium alloys leave it alone.
    assert {body.name for body in bodies if body.is_aluminium} == {"aluminium", "aluminium alloy"}
    assert catalogue.joint("gallium film").holds_gallium


@pytest.mark.parametrize(("wrong", "right"), [("aluminum", "aluminium"), ("coper", "copper"), ("silicone", "silicon")])
def test_an_unknown_name_is_answered_with_the_nearest(wrong: str, right: str) -> None:
    with pytest.raises(UnknownNameError, match=right):
        catalogue.material(wrong)
    with pytest.raises(UnknownNameError, match="gallium film"):
        catalogue.joint("galium film")


def test_rows_name_everything_once() -> None:
    known = [*catalogue.names(), *catalogue.joint_names(), *catalogue.cooler_names()]
    assert [row["name"] for row in catalogue.rows()] == known
    assert [row["kind"] for row in catalogue.rows("phase-change film")] == ["material", "joint class"]
    with pytest.raises(UnknownNameError):
        catalogue.rows("unobtainium")


@given(st.floats(min_value=-1e12, max_value=1e12), st.floats(min_value=-4, max_value=4))
def test_a_power_law_is_finite_and_above_zero_anywhere(temperature_C: float, exponent: float) -> None:
    conductivity = float(PowerLaw(148.0, 26.85, exponent)(temperature_C))
    assert np.isfinite(conductivity) and conductivity > 0


def test_laws_are_called_on_arrays_of_any_shape() -> None:
    temperature = np.linspace(20.0, 90.0, 12).reshape(3, 4)
    table = TableLaw.of([(30.0, 100.0), (50.0, 80.0)])
    for law in (ConstantLaw(5.0), PowerLaw(148.0, 26.85, 1.3), table):
        assert law(temperature).shape == (3, 4)
        np.testing.assert_allclose(law.scaled(1.5)(temperature), 1.5 * law(temperature))
    # Straight line between, constant outside: by hand.
    np.testing.assert_allclose(table(np.array([0.0, 30.0, 40.0, 50.0, 200.0])), [100.0, 100.0, 90.0, 80.0, 80.0])
    assert ConstantLaw(5.0).is_constant and not table.is_constant


def test_a_power_law_in_a_case_counts_in_kelvin() -> None:
    # k = 148 (300/T)^1.3 at 400 K: 148 * 0.75^1.3 = 101.82, by hand; form of Glassbrenner and Slack,
    # Phys. Rev. 134 (1964) A1058, as commonly quoted.
    law = law_of(Conductivity(value=148.0, at_C=26.85, exponent=1.3))
    assert float(law(126.85)) == pytest.approx(101.82, abs=0.01)


def test_values_beside_a_name_replace_the_catalogues() -> None:
    lid = material_of(MaterialGiven(name="copper", conductivity_W_mK=Conductivity(value=340.0, plus_minus=34.0)))
    assert float(lid.along_x(60.0)) == 340.0
    assert lid.k_spread == pytest.approx(0.1)
    assert lid.density_kg_m3 == catalogue.material("copper").density_kg_m3
    plate = material_of(MaterialGiven.model_validate({"name": "aluminium", "conductivity_W_mK": 200.0}))
    assert plate.is_aluminium


def test_directions_in_place() -> None:
    sheet = material_of(MaterialGiven.model_validate({"in_plane_W_mK": [1500.0, 900.0], "through_W_mK": 8.0}))
    assert [float(law(50.0)) for law in sheet.laws] == [1500.0, 900.0, 8.0]
    assert sheet.density_kg_m3 is None


def test_void_is_no_material() -> None:
    assert is_void(MaterialGiven(name="void")) and catalogue.VOID not in catalogue.names()
    with pytest.raises(ThermsimError, match="void"):
        material_of(MaterialGiven(name="void"))


def joint(**given: object) -> Joint:
    return Joint.model_validate({"joint": "solder", **given})


def test_a_joint_given_in_full() -> None:
    solder = joint_of(
        joint(
            film_um={"value": 240.0, "plus_minus": 30.0, "basis": "measured"},
            conductivity_W_mK=70.0,
            boundary_mm2K_W=3.0,
            wetted_fraction=0.95,
        )
    )
    # By hand: (240/70 + 3) / 0.95 = 6.767 mm2K/W, and the film leaves 30/70/0.95 = 0.4511 open.
    middle = solder.middle()
    assert middle is not None
    assert middle.value == pytest.approx(6.7669e-6, rel=1e-4)
    assert middle.plus_minus == pytest.approx(0.45113e-6, rel=1e-4)
    np.testing.assert_allclose(solder.resistance_at([240e-6, 0.0]), [6.7669e-6, 3.1579e-6], rtol=1e-4)


def test_a_joint_class_alone_gives_its_range_and_a_height() -> None:
    paste = joint_of(joint(material="silicone paste"))
    assert paste.way == "resistance" and paste.resistance is not None and paste.film is not None
    assert (paste.resistance.value, paste.resistance.plus_minus) == pytest.approx((18e-6, 12e-6))
    assert (paste.film.value, paste.film.plus_minus) == pytest.approx((37.5e-6, 22.5e-6))
    assert paste.resistance.basis == "assumed"


def test_a_joint_class_fills_in_what_is_missing() -> None:
    film = joint_of(joint(material="gallium film", film_um=30.0))
    assert film.way == "film" and film.holds_gallium
    assert film.conductivity is not None and film.conductivity.basis == "assumed"
    assert film.conductivity.value == 22.5
    with pytest.raises(ThermsimError, match="conductivity"):
        joint_of(joint(material="dry lapped contact", film_um=30.0))


def test_an_uneven_film_keeps_its_form() -> None:
    wedge = joint_of(joint(film_um={"low": 20.0, "high": 140.0, "towards": "+x"}, conductivity_W_mK=30.0))
    assert wedge.form is not None and wedge.film is not None
    assert wedge.film.value == pytest.approx(80e-6)
    chart = joint_of(joint(material="gallium film", film_um={"file": "film.csv"}))
    assert chart.film is None and chart.middle() is None
