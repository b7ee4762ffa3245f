"""The control: a slab read with first order must be refused by the very gate that its true reading passes.

The heated face of a silicon slab is read twice on the same solutions: at the face, as thermsim does, and at the centres
of the cells along it. The second misses q dz/(2 k), half a cell of the flux, and so comes nearer with order 1 only. On
the finest of these grids it is within the tolerance of the table, so that the order alone can refuse it. A gate that
lets it pass, or that would refuse the true reading too, proves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import build_model
from thermsim.model.grid.axes import Grid
from thermsim.model.grid.plan import plan_grid
from thermsim.proof.closed_form.reference_solutions import KELVIN, silicon_conductivity
from thermsim.proof.run.compared_row import Line, observed_order
from thermsim.proof.table.references import CASES
from thermsim.proof.table.row import value_of
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.solver.steady import steady_state

TITLE = "Silicon slab, 1 W/mm2"
FLUX, EXPONENT = 1e6, 1.3  # [W/m2] and the exponent of conductivity over temperature, as in the case TITLE
MULTIPLIERS = (2, 3, 4, 6)
ACCURACY_K = 1e-11  # [K] of the outer iteration, far below the error of the true reading, which is 1e-7 K
FIRST_ORDER = (0.9, 1.1)
# Share by which the error of the false reading may differ from q dz/(2k), which leaves out that k varies over half a
# cell.
AS_EXPECTED = 0.02


@dataclass(frozen=True)
class Control:
    """Both readings as lines of the table, and the errors [K] that the false one must have on its grids."""

    true: Line
    false: Line
    expected: tuple[float, ...]

    @property
    def passes(self) -> bool:
        """Whether the table would let the false reading through."""
        return self.false.verdict != "OUTSIDE"

    @property
    def works(self) -> bool:
        """The true reading passes with an order that shows; the false one is what it should be, and is refused."""
        return self.true_shows and self.is_as_expected and not self.passes and self.refused_by_order_alone

    @property
    def true_shows(self) -> bool:
        """Whether the right code passes by an order that was really observed."""
        return self.true.verdict != "OUTSIDE" and self.true.order is not None and not self.true.at_round_off

    @property
    def is_as_expected(self) -> bool:
        """Of first order, and off by -q dz/(2k) in sign and size on every grid."""
        low, high = FIRST_ORDER
        order, pairs = self.false.order, list(zip(self.false.errors, self.expected, strict=True))
        near = [abs(error - expected) <= AS_EXPECTED * abs(expected) for error, expected in pairs]
        return order is not None and low <= order <= high and bool(near) and all(near)

    @property
    def refused_by_order_alone(self) -> bool:
        """Whether the wrong code would pass if its order of convergence were not asked for."""
        return replace(self.false, wanted_order=None).verdict != "OUTSIDE"


def control(folder: Path) -> Control:
    """Read the slab of `silicon-slab.yaml`, 1 W/mm2, both ways; held to the tolerance and the order of the table."""
    published = next(case for case in CASES if case.title == TITLE)
    row = published.rows[0]
    exact = value_of(row.reference)
    case = read_case(folder / published.file)
    readings = [_read(case, multiplier) for multiplier in MULTIPLIERS]
    sizes = tuple(1.0 / multiplier for multiplier in MULTIPLIERS)
    noise = tuple(reading.noise for reading in readings)
    half_cell = FLUX / (2.0 * silicon_conductivity(exact + KELVIN, EXPONENT))

    def line(name: str, values: list[float]) -> Line:
        errors = tuple(value - exact for value in values)
        return Line(
            "Control", published.file, None, published.source, row.known, name, row.unit, exact, values[-1],
            row.within, row.excellent, None, sizes, errors, noise, observed_order(sizes, errors, noise), row.order,
        )  # fmt: skip

    return Control(
        line("read at the face", [reading.face for reading in readings]),
        line("read at cell centres", [reading.centres for reading in readings]),
        tuple(-half_cell * reading.first_cell for reading in readings),
    )


@dataclass(frozen=True)
class _Reading:
    face: float
    centres: float
    first_cell: float
    noise: float


def _read(case: Case, multiplier: int) -> _Reading:
    """Solve on a grid refined through the slab only, for nothing varies along it."""
    plan = plan_grid(case)
    grid = Grid(plan.x.axis(1), plan.y.axis(1), plan.z.axis(multiplier))
    model = build_model(case, grid)
    steady = steady_state(model, accuracy_K=ACCURACY_K)
    field = Field.of(model, steady)
    centres = float(steady.solution.temperature[:, :, 0].mean())
    face = answers(case, field)["zone", "face", "mean"]
    return _Reading(face, centres, float(grid.z.widths[0]), steady.error_K)
