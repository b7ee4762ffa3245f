"""A temperature field that is known beforehand, with jumps of conductivity and a joint: second order, and controls.

Method of manufactured solutions: Roache, Verification and Validation in Computational Science and Engineering (1998),
ch. 3. In a block a x b with adiabatic sides and an insulated base,

    T = cos(pi x/a) cos(pi y/b) g(z),
    g = 1 - alpha z^2 below the joint,  g = g0 + g1 (z - z1) + g2 (z - z1)^2 above it,

where g0 and g1 carry the flux over the joint, k2 g1 = k1 g'(z1) and g0 = g(z1) + R'' k1 g'(z1), and g2 meets the
film on top, -k2 g'(H) = h g(H). The heat per volume that belongs to it is put into the balance cell by cell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from stacks import case_of, even_grid, film, joint, part, rise, solve_on
from test_physics_spreading import table

from thermsim.case.vocabulary.schema import Case
from thermsim.model.assemble import Stencil, assemble
from thermsim.model.build import Model, build_model
from thermsim.model.grid.axes import Grid, plan_axis
from thermsim.solver.linear import prepare, solve

Array = NDArray[np.float64]

WIDTH, DEPTH = 8e-3, 6e-3
LOWER, UPPER = 1.0e-3, 1.5e-3  # thicknesses [m]
ALONG_1, THROUGH_1, ALONG_2, THROUGH_2 = 60.0, 20.0, 15.0, 5.0  # [W/mK], both layers orthotropic
JOINT, FILM, ALPHA = 5e-6, 20_000.0, 5e5  # [m2K/W], [W/m2K], [1/m2]


def block() -> Case:
    lower = part("lower", [8, 6], 1.0, [ALONG_1, THROUGH_1])
    upper = part("upper", [8, 6], 1.5, [ALONG_2, THROUGH_2])
    return case_of([lower, joint("joint", 5.0), upper], [], [film("top", FILM, 0.0)])


@dataclass(frozen=True)
class Profile:
    """g over the height, and its second derivative."""

    g0: float
    g1: float
    g2: float

    @classmethod
    def fitted(cls) -> Profile:
        steep = -2.0 * ALPHA * LOWER
        g0 = 1.0 - ALPHA * LOWER**2 + JOINT * THROUGH_1 * steep
        g1 = THROUGH_1 * steep / THROUGH_2
        # -k2 (g1 + 2 g2 t) = h (g0 + g1 t + g2 t^2)
        t = UPPER
        g2 = -(THROUGH_2 * g1 + FILM * (g0 + g1 * t)) / (2.0 * THROUGH_2 * t + FILM * t**2)
        return cls(g0, g1, g2)

    def at(self, z: Array) -> Array:
        up = z - LOWER
        return np.where(z < LOWER, 1.0 - ALPHA * z**2, self.g0 + self.g1 * up + self.g2 * up**2)

    def bend(self, z: Array) -> Array:
        return np.where(z < LOWER, -2.0 * ALPHA, 2.0 * self.g2)


def exact_and_heat(grid: Grid) -> tuple[Array, Array]:
    """Temperature [C] at cell centres, and heat [W] of every cell."""
    profile = Profile.fitted()
    x, y, z = grid.x.centres - grid.x.faces[0], grid.y.centres - grid.y.faces[0], grid.z.centres
    plane = np.cos(np.pi * x / WIDTH)[:, None] * np.cos(np.pi * y / DEPTH)[None, :]
    waves = (np.pi / WIDTH) ** 2 + (np.pi / DEPTH) ** 2
    along, through = (np.where(z < LOWER, one, two) for one, two in ((ALONG_1, ALONG_2), (THROUGH_1, THROUGH_2)))
    volume = grid.face_area(2)[:, :, None] * grid.z.widths
    per_volume = along * waves * profile.at(z) - through * profile.bend(z)
    return plane[:, :, None] * profile.at(z), plane[:, :, None] * per_volume * volume


def graded_grid(case: Case, multiplier: int) -> Grid:
    """A family that is graded towards the sides and the joint."""
    x = plan_axis(np.array([-WIDTH / 2, WIDTH / 2]), np.array([-WIDTH / 2]), 8e-4, 0.2)
    y = plan_axis(np.array([-DEPTH / 2, DEPTH / 2]), np.array([DEPTH / 2]), 8e-4, 0.2)
    z = plan_axis(np.array([0.0, LOWER, LOWER + UPPER]), np.array([LOWER]), 1.2e-4, 0.2)
    return Grid(x.axis(multiplier), y.axis(multiplier), z.axis(multiplier))


def error_of(model: Model, stencil: Stencil) -> float:
    """Largest error at cell centres, relative to the largest temperature, with the manufactured heat put in."""
    exact, heat = exact_and_heat(model.grid)
    solution = solve(prepare(stencil), stencil.heat + heat, None).checked()
    return float(np.abs(solution.temperature - exact).max() / np.abs(exact).max())


def models(kind: str) -> list[Model]:
    case = block()
    if kind == "even":
        return [build_model(case, even_grid(case, [1.0 / m, 1.0 / m, 0.25 / m])) for m in (1, 2, 4)]
    return [build_model(case, graded_grid(case, m)) for m in (1, 2, 4)]


@pytest.mark.parametrize("kind", ["even", "graded"])
def test_second_order(kind: str) -> None:
    found = models(kind)
    errors = [error_of(model, assemble(model, model.first_guess())) for model in found]
    cells = [model.grid.cells for model in found]
    orders = table(f"manufactured, {kind} grid", cells, [1.0, 0.5, 0.25], errors)
    assert orders[-1] > (1.95 if kind == "even" else 1.8)  # a graded grid of 275 cells is not there yet
    assert errors[-1] < 6e-3


@pytest.mark.parametrize("wrong", ["arithmetic mean over the jump", "joint left out", "whole cell to the film"])
def test_control_does_not_pass_as_second_order(wrong: str) -> None:
    """Three faults that this gate has to catch."""
    found = models("even")
    errors = []
    for model in found:
        stencil = assemble(model, model.first_guess())
        face = model.level_of_part["lower"].stop
        area = model.grid.face_area(2)
        step = 0.5 * (model.grid.z.widths[face - 1] + model.grid.z.widths[face])
        vertical, ground = stencil.conductance_z.copy(), stencil.ground.copy()
        if wrong == "arithmetic mean over the jump":
            vertical[:, :, face - 1] = area / (step / (0.5 * (THROUGH_1 + THROUGH_2)) + JOINT)
        elif wrong == "joint left out":
            vertical[:, :, face - 1] = area / (0.5 * step / THROUGH_1 + 0.5 * step / THROUGH_2)
        else:
            ground[:, :, -1] = area / (model.grid.z.widths[-1] / THROUGH_2 + 1.0 / FILM)
        errors.append(error_of(model, replace(stencil, conductance_z=vertical, ground=ground)))
    orders = table(f"control: {wrong}", [model.grid.cells for model in found], [1.0, 0.5, 0.25], errors)
    assert orders[-1] < 1.5


def test_control_reading_of_a_heated_face_at_the_cell_centre_is_first_order() -> None:
    """A zone read at the centre of its cells misses q dz/(2 k), which falls with the first order only."""
    heat = [{"in": "die", "at": "bottom", "zones": [{"zone": "die", "power_W": 50.0}]}]
    case = case_of([part("die", [10, 10], 0.7, 100)], heat, [film("top", 20_000, 0.0)])
    exact = 50.0 / 1e-4 * (0.7e-3 / 100 + 1 / 20_000)
    at_face, at_centre = [], []
    for cells in (2, 4, 8):
        field = solve_on(case, even_grid(case, [5, 5, 0.7 / cells]))
        at_face.append(abs(rise(field, "die") - exact))
        at_centre.append(abs(float(field.temperature[:, :, 0].mean()) - exact))
    orders = table("control: heated face read at the cell centre", [2, 4, 8], [1.0, 0.5, 0.25], at_centre)
    assert max(at_face) < 1e-9 * exact
    assert max(orders) < 1.01
