"""Case and grid to model: voids, films on what they expose, patches, several fluids, fluxes, maps; by hand.

Expected numbers are resistances in series and parallel and sums of areas, worked out beside each test (Incropera
et al., 6th ed., section 3.1).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from stacks import Mapping, case_of, even_grid, film, joint, part, rise, solve_case, solve_on, uneven_grid

from thermsim.case.vocabulary.schema import Case
from thermsim.errors import NoWayOutError, ThermsimError
from thermsim.model.assemble import assemble, made_heat
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.field import Field

GOOD = 1e6  # [W/mK], so that a part has one temperature to 1e-5 of the rise


def heat_in(name: str, watts: float, at: str = "bottom") -> Mapping:
    return {"in": name, "at": at, "zones": [{"zone": name, "power_W": watts}]}


def flows(field: Field) -> dict[str, float]:
    return {flow.label: flow.heat_W for flow in field.flows}


# ---- voids and what looks into them -------------------------------------------------------------------------------


def stepped(cooling: list[Mapping]) -> Case:
    """A post 4 x 4 x 5 mm between two slabs 10 x 10 x 2 mm: an H on its side, all of one good conductor."""
    layers = [part("foot", [10, 10], 2, GOOD), part("post", [4, 4], 5, GOOD), part("head", [10, 10], 2, GOOD)]
    return case_of(layers, [heat_in("foot", 3.0)], cooling)


def test_exposed_faces_are_all_that_look_into_a_void() -> None:
    """Four sides of the post (4 x 4 x 5) and both rims (2 x (100 - 16)): 248 mm2, nothing else."""
    case = stepped([film("exposed", 500, 20)])
    field = solve_on(case, even_grid(case, [2, 2, 1]))
    assert field.flows[0].area_m2 == pytest.approx(248e-6, rel=1e-12)
    assert rise(field, "foot", 20.0) == pytest.approx(3.0 / (500 * 248e-6), rel=1e-4)
    assert field.flows[0].heat_W == pytest.approx(3.0, rel=1e-9)


def test_void_insert_exposes_its_walls() -> None:
    """A hole 2 x 3 mm through a slab 2 mm thick: four walls 2 x (2 + 3) x 2 = 20 mm2; it conducts nothing."""
    hole = {"material": "void", "corner_mm": [4, 3], "size_mm": [2, 3]}
    layers = [part("slab", [10, 10], 2, GOOD, inserts=[hole])]
    case = case_of(layers, [], [film("exposed", 1000, 20), film("top", 1000, 30)])
    field = solve_on(case, even_grid(case, [1, 1, 0.5]))
    assert field.flows[0].area_m2 == pytest.approx(20e-6)
    assert field.flows[1].area_m2 == pytest.approx(94e-6)
    assert np.isnan(field.temperature[4:6, 3:6]).all() and np.isfinite(field.temperature).sum() == 94 * 4
    assert field.hottest[0] == pytest.approx((20 * 20 + 94 * 30) / 114, rel=1e-5)


def test_two_fluids_share_by_conductance() -> None:
    """One lump, four environments at their own temperatures: T = (P + sum h A Tf)/(sum h A)."""
    cooling = [
        film("top", 900, 31),
        film("bottom", 400, 10),
        film("left", 100, 55),
        film("exposed", 60, 25),
    ]
    case = stepped(cooling)
    field = solve_on(case, even_grid(case, [2, 2, 1]))
    areas = {"top": 100, "bottom": 100, "left": 2 * 10 * 2, "exposed": 248}  # [mm2]; left: both slabs
    conducts = {one["face"]: one["film_W_m2K"] * areas[one["face"]] * 1e-6 for one in cooling}
    fluids = {one["face"]: one["fluid_C"] for one in cooling}
    lump = (3.0 + sum(conducts[face] * fluids[face] for face in conducts)) / sum(conducts.values())
    for face, heat in flows(field).items():
        assert heat == pytest.approx(conducts[face] * (lump - fluids[face]), abs=2e-4)
    assert sum(flows(field).values()) == pytest.approx(3.0, rel=1e-9)


def test_around_fills_its_level_and_the_gap_beside_a_joint() -> None:
    """Die and filler side by side: two tubes in parallel when the plates above and below are isothermal."""
    filled = part("die", [4, 10], 1, 100, around={"material": {"conductivity_W_mK": 10}})
    layers = [part("base", [10, 10], 1, GOOD), filled, joint("film", 20), part("lid", [10, 10], 1, GOOD)]
    case = case_of(layers, [heat_in("base", 5.0)], [{"face": "top", "temperature_C": 0.0}])
    field = solve_on(case, even_grid(case, [2, 10, 0.25]))
    die = 40e-6 / (1e-3 / 100 + 20e-6)
    filler = 60e-6 / (1e-3 / 10 + 60e-6 / 10)  # 20 mm2K/W are taken as a film of 60 um, which the filler stands beside
    # Side by side they also exchange heat: the exact answer lies between parallel tubes and isothermal planes.
    planes = 1 / (40e-6 / (1e-3 / 100) + filler) + 0.0
    assert planes < rise(field, "base") / 5.0 <= 1 / (die + filler) * (1 + 1e-4)
    apart = case_of([layers[0], {**filled, "material": {"in_plane_W_mK": 1e-6, "through_W_mK": 100}}, *layers[2:]],
                    [heat_in("base", 5.0)], [{"face": "top", "temperature_C": 0.0}])  # fmt: skip
    assert rise(solve_on(apart, even_grid(apart, [2, 10, 0.25])), "base") / 5.0 == pytest.approx(
        1 / (die + filler), rel=2e-4
    )


# ---- patches, fluxes, fixed temperatures --------------------------------------------------------------------------


def test_patches_and_what_they_leave_free() -> None:
    """Two patches and an entry for the rest of the same face: areas 12, 20 and 68 mm2, each with its own fluid."""
    cooling = [
        film("top", 200, 50, environment="rest"),
        film("top", 3000, 10, environment="jet", corner_mm=[1, 1], size_mm=[3, 4]),
        film("top", 1000, 30, environment="pad", corner_mm=[5, 2], size_mm=[4, 5]),
    ]
    case = case_of([part("slab", [10, 10], 1, GOOD)], [heat_in("slab", 2.0)], cooling)
    for grid in (even_grid(case, [5, 5, 1]), uneven_grid(case, np.random.default_rng(5))):
        field = solve_on(case, grid)
        areas = {flow.label: flow.area_m2 for flow in field.flows}
        assert areas == pytest.approx({"rest": 68e-6, "jet": 12e-6, "pad": 20e-6})
        conducts = {"rest": 200 * 68e-6, "jet": 3000 * 12e-6, "pad": 1000 * 20e-6}
        fluids = {"rest": 50, "jet": 10, "pad": 30}
        lump = (2.0 + sum(g * fluids[name] for name, g in conducts.items())) / sum(conducts.values())
        for name, heat in flows(field).items():
            assert heat == pytest.approx(conducts[name] * (lump - fluids[name]), abs=2e-4)


def test_wetted_area_is_centred() -> None:
    case = case_of([part("slab", [10, 8], 1, 50)], [heat_in("slab", 2.0)], [film("top", 900, 0, wetted_mm=[4, 2])])
    field = solve_on(case, even_grid(case, [1, 1, 0.5]))
    assert field.flows[0].area_m2 == pytest.approx(8e-6)
    face = field.z_nodes(2)[0]
    assert np.allclose(face, face[::-1], atol=1e-9) and np.allclose(face, face[:, ::-1], atol=1e-9)
    assert face.min() == pytest.approx(face[4:6, 3:5].min())


@pytest.mark.parametrize("face", ["left", "right", "front", "back", "bottom"])
def test_flux_into_any_face(face: str) -> None:
    """0.05 W/mm2 into one face, a cold top: all of it leaves there, and the flow is counted as coming in."""
    layers = [part("slab", [10, 8], 2, 50)]
    case = case_of(layers, [], [{"face": face, "flux_W_mm2": 0.05}, {"face": "top", "temperature_C": 20.0}])
    field = solve_on(case, even_grid(case, [1, 1, 0.5]))
    area = {"left": 16, "right": 16, "front": 20, "back": 20, "bottom": 80}[face]
    assert field.flows[0].heat_W == pytest.approx(-0.05 * area, rel=1e-12)
    assert field.flows[1].heat_W == pytest.approx(0.05 * area, rel=1e-9)
    assert field.flows[1].face_C == pytest.approx(20.0, abs=1e-9)
    if face == "bottom":
        assert field.flows[0].face_C == pytest.approx(20 + 0.05e6 * 2e-3 / 50, rel=1e-10)


def test_flux_of_zero_is_an_insulated_face() -> None:
    """It has no fluid, and takes no part in what counts as cold."""
    layers = [part("slab", [10, 8], 2, 50)]
    case = case_of(layers, [heat_in("slab", 4.0)], [{"face": "left", "flux_W_mm2": 0.0}, film("top", 900, 35)])
    model = build_model(case, even_grid(case, [2, 2, 1]))
    assert model.coldest_C == 35.0
    field = solve_on(case, even_grid(case, [2, 2, 1]))
    assert field.flows[0].fluid_C is None and field.flows[0].heat_W == 0.0
    assert rise(field, "slab", 35.0) == pytest.approx(4.0 / 80e-6 * (2e-3 / 50 + 1 / 900), rel=1e-9)


@pytest.mark.parametrize("strength", [1.0, 1e3, 1e6, 1e9, 1e12, 1e15])
def test_film_of_any_strength(strength: float) -> None:
    """The balance is kept from a breath of air to what is as good as a fixed temperature."""
    layers = [part("slab", [10, 10], 2, 100)]
    case = case_of(layers, [heat_in("slab", 10.0)], [film("top", strength, 20)])
    field = solve_on(case, even_grid(case, [5, 5, 0.5]))
    assert rise(field, "slab", 20.0) == pytest.approx(1e5 * (2e-3 / 100 + 1 / strength), rel=1e-9)
    assert field.heat_balance_relative < 1e-9


def test_heat_on_the_face_that_is_cooled() -> None:
    """Heat made in a face that is wetted: in two parallel ways, film and (through the part) the other film."""
    layers = [part("slab", [10, 10], 2, 100)]
    for at, near, far in (("bottom", "bottom", "top"), ("top", "top", "bottom")):
        case = case_of(layers, [heat_in("slab", 10.0, at)], [film(near, 500, 20), film(far, 3000, 40)])
        field = solve_on(case, even_grid(case, [5, 5, 0.5]))
        one, other = 500 * 1e-4, 1e-4 / (2e-3 / 100 + 1 / 3000)
        face = (10.0 + one * 20 + other * 40) / (one + other)
        assert rise(field, "slab") == pytest.approx(face, rel=1e-10)
        assert flows(field)[near] == pytest.approx(one * (face - 20), rel=1e-9)
        assert flows(field)[far] == pytest.approx(other * (face - 40), rel=1e-9)


def test_heat_on_both_sides_of_a_joint() -> None:
    """Die heated on top, lid heated at its bottom, a joint of 1e-4 m2K/W between: drops by hand."""
    layers = [part("die", [10, 10], 1, 100), joint("film", 100), part("lid", [10, 10], 2, 200)]
    heat = [heat_in("die", 6.0, "top"), heat_in("lid", 4.0, "bottom")]
    case = case_of(layers, heat, [{"face": "top", "temperature_C": 20.0}])
    field = solve_on(case, even_grid(case, [5, 5, 0.25]))
    lid = 20 + 10.0 / 1e-4 * 2e-3 / 200
    assert rise(field, "lid") == pytest.approx(lid, rel=1e-10)
    assert rise(field, "die") == pytest.approx(lid + 6.0 / 1e-4 * 1e-4, rel=1e-10)


def test_no_way_out() -> None:
    """A slab cut in two by a slot; the half that is heated touches nothing cooled: an error, never a temperature."""
    layers = [part("foot", [10, 10], 1, 100), part("lid", [4, 4], 1, 100, centre_mm=[3, 3])]
    hole = [{"material": "void", "corner_mm": [4, 0], "size_mm": [1, 10]}]
    heat = [
        {
            "in": "foot",
            "at": "bottom",
            "zones": [{"zone": "left", "corner_mm": [0, 0], "size_mm": [4, 10], "power_W": 1}],
        }
    ]
    case = case_of([{**layers[0], "inserts": hole}, layers[1]], heat, [film("top", 100, 20)])
    with pytest.raises(NoWayOutError):
        solve_on(case, even_grid(case, [2, 2, 0.5]))


# ---- heat maps ----------------------------------------------------------------------------------------------------


def write_map(folder: Path, lines: list[list[float]]) -> Path:
    text = "\n".join(",".join(str(cell) for cell in line) for line in lines)
    (folder / "map.csv").write_text(text + "\n", encoding="utf-8")
    return folder


def mapped(folder: Path, holds: str) -> Case:
    layers = [part("die", [12, 8], 0.7, 120), joint("film", 8), part("lid", [20, 16], 2, 390)]
    heat = [{"in": "die", "at": "bottom", "map": {"file": "map.csv", "holds": holds}}]
    return case_of(layers, heat, [film("top", 9000, 30)], folder)


@pytest.mark.parametrize("seed", [61, 62, 63])
def test_map_keeps_its_watts_on_any_grid(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = rng.uniform(0, 3, (rng.integers(1, 9), rng.integers(1, 9)))
    case = mapped(write_map(tmp_path, table.tolist()), "W")
    field = solve_on(case, uneven_grid(case, rng, most=5))
    assert field.heat_made_W == pytest.approx(table.sum(), rel=1e-12)
    assert field.flows[0].heat_W == pytest.approx(table.sum(), rel=1e-9)


def test_watts_and_watts_per_area_are_one_map(tmp_path: Path) -> None:
    table = np.random.default_rng(64).uniform(0, 3, (4, 6))
    grid = None
    fields = []
    for holds, values in (("W", table), ("W/mm2", table / (12 / 6 * 8 / 4))):
        folder = tmp_path / holds.replace("/", "_")
        folder.mkdir()
        case = mapped(write_map(folder, values.tolist()), holds)
        grid = grid or uneven_grid(case, np.random.default_rng(65))
        fields.append(solve_on(case, grid))
    assert np.nanmax(np.abs(fields[0].temperature - fields[1].temperature)) < 1e-9


def test_map_of_zones_is_the_zones(tmp_path: Path) -> None:
    """The first line of the file is the far edge (largest y), the first column the left one."""
    table = [[0.0, 7.0, 0.0], [5.0, 0.0, 11.0]]
    case = mapped(write_map(tmp_path, table), "W")
    zones = [
        {"zone": "far middle", "corner_mm": [4, 4], "size_mm": [4, 4], "power_W": 7.0},
        {"zone": "near left", "corner_mm": [0, 0], "size_mm": [4, 4], "power_W": 5.0},
        {"zone": "near right", "corner_mm": [8, 0], "size_mm": [4, 4], "power_W": 11.0},
    ]
    layers = [part("die", [12, 8], 0.7, 120), joint("film", 8), part("lid", [20, 16], 2, 390)]
    by_zones = case_of(layers, [{"in": "die", "at": "bottom", "zones": zones}], [film("top", 9000, 30)])
    grid = even_grid(by_zones, [1, 1, 0.35])
    one, other = solve_on(case, grid), solve_on(by_zones, grid)
    assert np.nanmax(np.abs(one.temperature - other.temperature)) < 1e-9
    assert one.hottest[0] == pytest.approx(other.hottest[0], rel=1e-12)
    assert one.hottest[1][0] > 0.0 and one.hottest[1][1] < 0.0  # near right


def test_planned_grid_sees_a_hot_spot_of_a_map(tmp_path: Path) -> None:
    """One pixel of a map in the middle of a die, on the grid planned for it, against the same pixel as a zone."""
    table = np.zeros((16, 24))
    table[7, 12] = 10.0  # x from 6.0 to 6.5, y from 4.0 to 4.5
    case = mapped(write_map(tmp_path, table.tolist()), "W")
    zone = {"zone": "spot", "corner_mm": [6.0, 4.0], "size_mm": [0.5, 0.5], "power_W": 10.0}
    layers = [part("die", [12, 8], 0.7, 120), joint("film", 8), part("lid", [20, 16], 2, 390)]
    by_zone = case_of(layers, [{"in": "die", "at": "bottom", "zones": [zone]}], [film("top", 9000, 30)])
    exact = solve_on(by_zone, plan_grid(by_zone, 60_000).grid(2)).hottest[0] - 30.0
    found = solve_case(case, 60_000).hottest[0] - 30.0
    assert found == pytest.approx(exact, rel=0.1)


def test_map_over_a_void_is_refused(tmp_path: Path) -> None:
    hole = {"material": "void", "corner_mm": [0, 0], "size_mm": [4, 4]}
    write_map(tmp_path, [[0.0, 7.0, 0.0], [5.0, 0.0, 11.0]])
    layers = [part("die", [12, 8], 0.7, 120, inserts=[hole])]
    heat = [{"in": "die", "at": "bottom", "map": {"file": "map.csv", "holds": "W"}}]
    with pytest.raises(ThermsimError, match="void"):
        case_of(layers, heat, [film("top", 9000, 30)], tmp_path)


def test_any_number_of_cooling_entries() -> None:
    """300 patches side by side, each with the film of the whole face, are that face."""
    layers = [part("bar", [30.0, 10.0], 1.0, 100.0)]
    heat = [{"in": "bar", "zones": [{"zone": "z", "power_W": 5.0}]}]
    strips = [film("top", 900.0, 20.0, corner_mm=[0.1 * n, 0.0], size_mm=[0.1, 10.0]) for n in range(300)]
    whole, cut = (case_of(layers, heat, cooling) for cooling in ([film("top", 900.0, 20.0)], strips))
    grid = even_grid(cut, [1.0, 5.0, 0.5])
    one, many = solve_on(whole, grid), solve_on(cut, grid)
    assert many.zones[0].mean_C == pytest.approx(one.zones[0].mean_C, abs=1e-6)
    assert [flow.heat_W for flow in many.flows] == pytest.approx([5.0 / 300.0] * 300, rel=1e-6)


def test_heat_alone_is_that_of_the_whole_balance() -> None:
    """What superposition takes instead of a whole balance, where every coolant is at 0 C; leakage included."""
    heat = [heat_in("foot", 3.0), heat_in("head", 2.0, "top"), heat_in("post", 1.0, "volume")]
    case = case_of([part("foot", [10, 10], 2, 5.0), part("post", [4, 4], 5, 20.0), part("head", [10, 10], 2, 9.0)],
                   heat, [film("top", 500.0, 0.0), film("exposed", 10.0, 0.0)])  # fmt: skip
    model = build_model(case, even_grid(case, [2.0, 2.0, 1.0]))
    guess = model.guess(np.full(model.grid.shape, 40.0), (40.0,) * len(model.face_sources))
    assert np.array_equal(made_heat(model, guess), assemble(model, guess).heat)
