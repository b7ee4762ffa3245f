"""Published samples of convergence statistics, held against `study.convergence`."""

from __future__ import annotations

from functools import cache
from math import sqrt

from thermsim.mesh.literature import Celik, celik, eca_hoekstra, standard_uncertainty
from thermsim.proof.table.row import CLOSED_FORM, PRINTED, Sample

JOURNAL = "Celik et al., J. Fluids Eng. 130 (2008) 078001, table 1, column 1"
TUTORIAL = "tutorial on spatial convergence of a public aerospace agency, sample of pressure recovery"
LEAST_SQUARES = "Eca, Hoekstra, J. Comput. Phys. 262 (2014) 104: exact data of known order"
UNCERTAINTY = "ASME V&V 20-2009, section 2 (from memory)"


@cache
def journal() -> Celik:
    """Reattachment length on 18 000, 8 000 and 4 500 cells in two dimensions."""
    return celik([5.863, 5.972, 6.063], [sqrt(1 / cells) for cells in (4500, 8000, 18000)])


@cache
def tutorial() -> Celik:
    """Pressure recovery on three grids of ratio 2."""
    return celik([0.96178, 0.96854, 0.97050], [4.0, 2.0, 1.0])


def _given(value: float | None) -> float:
    return float("nan") if value is None else value


def _second_order() -> float:
    sizes = [2.0, 1.4, 1.0, 0.7]
    return _given(eca_hoekstra([1.0 + 0.8 * size**1.6 for size in sizes], sizes).order)


SAMPLES: tuple[Sample, ...] = (
    Sample("order, as printed", lambda: _given(journal().order), 1.53, 0.005, JOURNAL),
    Sample("order", lambda: _given(journal().order), 1.533969020628, 1e-5, JOURNAL, "", 1e-6, CLOSED_FORM),
    Sample("extrapolated", lambda: _given(journal().extrapolated), 6.1685, 5e-5, JOURNAL),
    Sample("extrapolated error", lambda: 100 * _given(journal().extrapolated_error), 1.7, 0.05, JOURNAL, "%"),
    Sample("GCI", lambda: 100 * _given(journal().gci_fine), 2.2, 0.05, JOURNAL, "%"),
    Sample("order", lambda: _given(tutorial().order), 1.78618479, 5e-5, TUTORIAL, known=PRINTED),
    Sample("extrapolated", lambda: _given(tutorial().extrapolated), 0.971300304, 1e-6, TUTORIAL),
    Sample("GCI", lambda: 100 * _given(tutorial().gci_fine), 0.103080, 1e-5, TUTORIAL, "%"),
    Sample("order of f = 1 + 0.8 h^1.6", _second_order, 1.6, 1e-4, LEAST_SQUARES, "", 1e-6, CLOSED_FORM),
    Sample("standard uncertainty of that GCI, normal", lambda: standard_uncertainty(6.063 * _given(journal().gci_fine)),
           6.063 * 0.02174987 / 2, 1e-5, UNCERTAINTY, "", 1e-6, CLOSED_FORM),
)  # fmt: skip
