"""A lid that stands on a rim or on legs around a die: against the same body from inserts, a network, scikit-fem."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.patches import Rectangle
from stacks import Mapping, case_of, even_grid, film, joint, part, solve_case, solve_on

from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case, Joint
from thermsim.errors import CaseError, ThermsimError
from thermsim.model.assemble import assemble
from thermsim.model.build import build_model
from thermsim.model.coefficients.entries import Layout, entries_at
from thermsim.model.coefficients.groups import numbers, topology
from thermsim.model.grid.plan import plan_grid
from thermsim.model.grid.topology import alike
from thermsim.nearby.gradients import gradients
from thermsim.plausibility.measure import measure
from thermsim.readout.answers import answers
from thermsim.readout.ladder import ladder
from thermsim.readout.observable import find
from thermsim.report.drawing.text_stack import drawing
from thermsim.report.figures.stack_figure import layers_drawn, stack
from thermsim.warming.held_still import reader_of

RIM: dict[str, Any] = {"down_to": "board", "rim_mm": 2.0, "resistance_mm2K_W": 90.0}
LEGS: dict[str, Any] = {
    "down_to": "board",
    "legs": [{"corner_mm": [0.0, 0.0], "size_mm": [2.0, 3.0]}, {"corner_mm": [13.5, 8.5], "size_mm": [2.0, 3.0]}],
    "resistance_mm2K_W": 40.0,
}


def lidded(stands_on: Mapping | None = RIM, top: Mapping | None = None, **more: Any) -> Case:
    """A die of 8 x 6 mm on a board of 20 x 16 mm, a lid of 16 x 12 mm over it that may stand on the board."""
    lid = part("lid", [16.0, 12.0], 1.2, 300.0, **({"stands_on": stands_on} if stands_on else {}))
    layers = [
        part("board", [20.0, 16.0], 1.5, 8.0),
        part("die", [8.0, 6.0], {"value": 0.8, "plus_minus": 0.05}, 120.0),
        joint("solder", 12.0),
        lid,
    ]
    heat = [{"in": "die", "zones": [{"zone": "all", "power_W": 20.0}]}]
    cooling = [top or film("top", 3000.0, 30.0), film("bottom", 2000.0, 30.0)]
    return case_of(layers, heat, cooling, **more)


def test_a_rim_is_four_inserts_of_the_filling() -> None:
    """Around a die that fills its level, a rim is what inserts make of it: bodies, and the foot as a second joint.

    The level is drawn as a copper plate of the lid's size with a hole of 12 x 8 mm in it, in which no die is: the heat
    comes from the lid, so that nothing but the rim and its foot carries it.
    """
    size, hole = [16.0, 12.0], {"corner_mm": [2.0, 2.0], "size_mm": [12.0, 8.0]}
    heat = [{"in": "lid", "at": "top", "zones": [{"zone": "all", "power_W": 20.0}]}]
    cooling = [film("bottom", 2000.0, 30.0)]
    spacer: Mapping = {"material": {"conductivity_W_mK": 1e-3}}
    by_insert = [
        part("board", size, 1.5, 8.0),
        joint("glue", 90.0),
        part("ring", size, 0.8, 300.0, inserts=[{"material": "void", **hole}]),
        part("lid", size, 1.2, 300.0),
    ]
    by_rim = [
        part("board", size, 1.5, 8.0),
        {"part": "spacer", "size_mm": [0.02, 0.02], "thickness_mm": 0.8, **spacer},
        part("lid", size, 1.2, 300.0, stands_on=RIM),
    ]
    one, other = (solve_case(case_of(layers, heat, cooling), 20_000) for layers in (by_rim, by_insert))
    assert one.zones[0].mean_C == pytest.approx(other.zones[0].mean_C, rel=2e-3)


def test_a_rim_as_a_network() -> None:
    """All but perfect conductors: t / k A of the rim and r / A of its foot in series, beside die and joint, by hand."""
    k, good = 2.0, 1e6
    heat = [{"in": "lid", "at": "top", "zones": [{"zone": "all", "power_W": 10.0}]}]
    layers = [
        part("board", [20.0, 16.0], 1.5, good),
        part("die", [8.0, 6.0], 0.8, k),
        joint("solder", 200.0),
        part("lid", [16.0, 12.0], 1.2, [good, good], stands_on=RIM),
    ]
    case = case_of(layers, heat, [film("bottom", 2000.0, 30.0)])
    field = solve_on(case, even_grid(case, [2, 2, 0.4]))
    die_W_K = 48e-6 / (0.8e-3 / k + 200e-6)
    rim_m2 = (16.0 * 12.0 - 12.0 * 8.0) * 1e-6
    rim_W_K = rim_m2 / (0.8e-3 / good + 90e-6)
    below = 30.0 + 10.0 / (2000.0 * 320e-6)
    assert field.zones[0].mean_C == pytest.approx(below + 10.0 / (die_W_K + rim_W_K), abs=2e-3)


@pytest.mark.parametrize("dimensions", [2, 3])
def test_a_rim_against_finite_elements(dimensions: int) -> None:
    """The cross-section of a lid on two walls over a die, with linear elements of scikit-fem on the same body."""
    from skfem import Basis, BilinearForm, ElementQuad1, FacetBasis, LinearForm, MeshQuad, asm, solve
    from skfem.helpers import dot, grad
    from skfem.models.poisson import mass

    width, wall, die, depth = 12.0, 2.0, 5.0, 4.0
    plan = (lambda x: x) if dimensions == 2 else (lambda x: [x, depth])
    stand = {"down_to": "board", "resistance_mm2K_W": 0.0}
    box = (lambda x, w: {"corner_mm": x, "size_mm": w}) if dimensions == 2 else (
        lambda x, w: {"corner_mm": [x, 0.0], "size_mm": [w, depth]}
    )  # fmt: skip
    # In 3-D a stack that is alike along y: walls along x alone, as legs.
    stand |= {"rim_mm": wall} if dimensions == 2 else {"legs": [box(0.0, wall), box(width - wall, wall)]}
    layers = [
        part("board", plan(width), 1.0, 20.0),
        part("die", plan(die), 0.8, 120.0),
        part("lid", plan(width), 1.0, 300.0, stands_on=stand),
    ]
    heat = [{"in": "die", "zones": [{"zone": "all", "power_W": 30.0}]}]
    more = {"dimensions": 2, "depth_mm": depth} if dimensions == 2 else {}
    cooling = [film("top", 8000.0, 0.0), film("bottom", 3000.0, 0.0)]
    found = solve_case(case_of(layers, heat, cooling, **more), 30_000)

    x = np.linspace(0.0, width, 241)
    z = np.linspace(0.0, 2.8, 57)
    whole = MeshQuad.init_tensor(x, z)
    middle = whole.p[:, whole.t].mean(axis=1)
    left, right = (width - die) / 2, (width + die) / 2
    is_level = (middle[1] > 1.0) & (middle[1] < 1.8)
    in_die = is_level & (middle[0] > left) & (middle[0] < right)
    in_wall = is_level & ((middle[0] < wall) | (middle[0] > width - wall))
    void = is_level & ~in_die & ~in_wall
    k = np.where(middle[1] < 1.0, 20.0, np.where(in_die, 120.0, 300.0))[~void]
    mesh = whole.remove_elements(np.flatnonzero(void))
    basis = Basis(mesh, ElementQuad1())

    @BilinearForm
    def conduction(u: Any, v: Any, w: Any) -> Any:
        return w.k * dot(grad(u), grad(v))

    @LinearForm
    def one(v: Any, w: Any) -> Any:
        return v

    per_element = np.repeat(k[:, None], basis.dx.shape[1], axis=1)
    matrix = asm(conduction, basis, k=per_element)  # mm cancel: W/mK of 1 m depth
    for height, h in ((0.0, 3000.0), (2.8, 8000.0)):
        facets = mesh.facets_satisfying(lambda p, at=height: np.abs(p[1] - at) < 1e-9, boundaries_only=True)
        matrix = matrix + 1e-3 * h * asm(mass, basis.boundary(facets))
    heated = mesh.facets_satisfying(lambda p: (np.abs(p[1] - 1.0) < 1e-9) & (p[0] > left) & (p[0] < right))
    weights = asm(one, FacetBasis(mesh, basis.elem, facets=heated))
    load = 30.0 / (1e-3 * depth) / die * weights
    temperature = solve(matrix, load)
    assert found.zones[0].mean_C == pytest.approx(float(weights @ temperature) / die, rel=3e-3)


def test_the_mass_of_a_lid_holds_its_rim() -> None:
    case = lidded()
    volume = {one.part: one.volume_mm3 for one in measure(case).parts}
    # Nobody knows the film of a joint given by its resistance: counted as in the model, 12 mm2K/W of 3 W/mK.
    assert volume["lid"] == pytest.approx(16 * 12 * 1.2 + (16 * 12 - 12 * 8) * (0.8 + 0.036))


VARIED = [
    "lid.stands_on.rim_mm", "lid.stands_on.resistance_mm2K_W", "die.thickness_mm", "lid.size_mm.0",
    "lid.material.conductivity_W_mK", "solder.resistance_mm2K_W",
]  # fmt: skip


@pytest.mark.parametrize("path", [*VARIED, "lid.stands_on.legs.0.size_mm.0", "lid.stands_on.legs.1.corner_mm.0"])
def test_sensitivities_are_differences_of_full_solves(path: str) -> None:
    case = lidded(LEGS if "legs" in path else RIM)
    plan = plan_grid(case, 2500)
    found = gradients(case, plan, 1, paths=[path])
    assert not found.left_out
    mean = find(found.answers, "zone all, mean")
    value = next(one.value for one in inputs(case) if one.path == path)
    values = []
    for sign in (-1.0, 1.0):
        changed = with_inputs(case, {path: value * (1.0 + 1e-3 * sign)})
        field = solve_on(changed, alike(plan, case, changed).grid(1))
        values.append(answers(changed, field)[mean])
    assert found[mean][path] == pytest.approx((values[1] - values[0]) / (2e-3 * value), rel=1e-3, abs=1e-6)


def test_coefficients_of_a_small_model_are_those_of_a_full_one() -> None:
    case = lidded()
    plan = plan_grid(case, 900)
    values = {"lid.stands_on.resistance_mm2K_W": 60.0, "die.thickness_mm": 0.83, "solder.resistance_mm2K_W": 9.0}
    changed = with_inputs(case, values)
    base = topology(case, build_model(case, plan.grid(1)))
    model = build_model(changed, alike(plan, case, changed).grid(1))
    own = Layout(model.grid.shape).vector(assemble(model, model.first_guess()))
    entries = entries_at(base, np.arange(len(own)))
    cells = np.full((1, len(entries.faces.axis)), 50.0)
    found = entries.values(numbers(base, [changed]), numbers(base, [case]), cells, cells)[0]
    assert found == pytest.approx(own, rel=1e-9, abs=1e-12)


def test_rungs_of_the_ladder_add_up_past_a_foot() -> None:
    field = solve_case(lidded(top=film("top", 5.0, 30.0)), 4000)
    found = ladder(field)
    assert found is not None and found.face == "bottom"
    assert found.start_C - sum(rung.drop_K for rung in found.rungs) == pytest.approx(30.0, abs=1e-6)


def test_an_option_takes_the_rim_away_and_gives_one() -> None:
    options = [
        {"option": "flat", "changes": {"lid.stands_on": "remove"}},
        {"option": "wider", "changes": {"lid.stands_on.rim_mm": 2.5}},
        {"option": "no lid", "changes": {"lid": "remove", "solder": "remove"}},
    ]
    case = lidded(options=options)
    means = [solve_case(with_option(case, name)).zones[0].mean_C for name in ("flat", "wider")]
    assert means[0] > solve_case(case).zones[0].mean_C > means[1]
    assert len(build_model(with_option(case, "no lid"), plan_grid(with_option(case, "no lid")).grid(1)).joints) == 0


def test_the_drawing_shows_a_rim() -> None:
    lines = [line for line in drawing(lidded(), 90).splitlines() if "die" in line]
    assert lines and lines[0].strip().startswith("/") and "/ " in lines[0]


def test_the_walls_before_and_behind_hide_nothing() -> None:
    """Seen from the front, the middle cuts the walls left and right; those along x are outlines in front of the die."""
    line = next(line for line in drawing(lidded(), 90).splitlines() if "die" in line)
    assert [len(run) for run in line[: line.index("die")].split()] == [5, 19, 5]  # walls of 2 mm beside a die of 8 mm
    drawn = [patch for patch in stack(lidded()).axes[0].patches if isinstance(patch, Rectangle)]
    along = [one for one in drawn if one.get_width() == 12.0]
    assert along and all(not one.get_fill() and one.get_linestyle() == "--" for one in along)


def test_rims_are_drawn_beside_the_film_too() -> None:
    case = lidded()
    die, solder = (next(line for line in drawing(case, 90).splitlines() if word in line) for word in ("die", "solder"))
    assert (solder[:49].find("/"), solder[:49].rfind("/")) == (die[:49].find("/"), die[:49].rfind("/")) != (-1, -1)
    film = next(one for one in layers_drawn(case) if isinstance(one.layer, Joint))
    boxes = [patch for patch in stack(case).axes[0].patches if isinstance(patch, Rectangle)]
    beside = {(one.get_x(), one.get_width()) for one in boxes if one.get_y() == film.low}
    # Lid of 16 mm in the middle of the board, walls of 2 mm, the die of 8 mm from 4 mm of its edge on (by hand).
    assert {(film.box[0] - 4.0, 2.0), (film.box[2] + 2.0, 2.0)} <= beside


@pytest.mark.parametrize(
    ("stand", "told"),
    [
        (RIM | {"down_to": "die"}, "it lies on that part already; there is: `board`"),
        (RIM | {"down_to": "bord"}, "there is no such part under it; did you mean `board`?"),
        (RIM | {"rim_mm": 7.0}, "a rim of 7 mm fills the 12 mm of 'lid'"),
        (RIM | {"rim_mm": 5.0}, "runs through 'die'"),
        ({"down_to": "board", "resistance_mm2K_W": 1.0}, "needs `rim_mm`"),
        ({"down_to": "board", "rim_mm": 1.0}, "`resistance_mm2K_W` is missing"),
        (LEGS | {"legs": [{"corner_mm": [15.0, 0.0], "size_mm": [2.0, 2.0]}]}, "a leg sticks out of it"),
    ],
)
def test_wrong_stands_are_told(stand: Mapping, told: str) -> None:
    with pytest.raises(CaseError) as error:
        lidded(stand)
    assert told in str(error.value)


def test_a_rim_that_would_reach_the_die_is_refused() -> None:
    with pytest.raises(ThermsimError, match="runs through 'die'"):
        with_inputs(lidded(), {"lid.stands_on.rim_mm": 3.5})


@pytest.mark.parametrize("stands_on, foot_mm2", [(RIM, 16 * 12 - 12 * 8), (LEGS, 2 * 2 * 3)])
def test_beside_a_film_that_stores_heat_a_rim_stores_too(stands_on: Mapping, foot_mm2: float) -> None:
    """A film of 0.24 mm lifts the lid by as much, and the rim reaches up to it: all bodies by hand, length x width x
    height x 2e6 J/m3K."""
    stores = {"density_kg_m3": 4000.0, "heat_capacity_J_kgK": 500.0}
    solder = {"joint": "solder", "film_um": 240.0, "conductivity_W_mK": 70.0, **stores}
    layers = [
        part("board", [20.0, 16.0], 1.5, {"conductivity_W_mK": 8.0, **stores}),
        part("die", [8.0, 6.0], 0.8, {"conductivity_W_mK": 120.0, **stores}),
        solder,
        part("lid", [16.0, 12.0], 1.2, {"conductivity_W_mK": 300.0, **stores}, stands_on=stands_on),
    ]
    heat = [{"in": "die", "zones": [{"zone": "all", "power_W": 20.0}]}]
    case = case_of(layers, heat, [film("top", 3000.0, 30.0)])
    reader = reader_of(case, solve_case(case, 500, 1), 1e-3, 1)
    by_hand_mm3 = 20 * 16 * 1.5 + 8 * 6 * (0.8 + 0.24) + foot_mm2 * (0.8 + 0.24) + 16 * 12 * 1.2
    assert reader.system.capacity.sum() == pytest.approx(2e6 * 1e-9 * by_hand_mm3)
