"""The height of a stack as a number to hold fixed: parts, and joints as far as their film is known."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case, Joint, Part
from thermsim.materials import catalogue

UM_PER_MM = 1000.0
DECIMALS = 9  # decimals [mm] of a computed thickness, so that no round-off is written into a case

Tables = Mapping[str, NDArray[np.float64]]


def height_mm(case: Case, tables: Tables | None = None) -> float:
    """Sum of all parts and known films [mm]; a joint given by its resistance alone counts nothing.

    tables : of films by file name; the case's own unless given

    Raises
    ------
    KeyError : a table that is not there
    UnknownNameError : a joint class that the catalogue does not hold
    """
    known = case.tables if tables is None else tables
    films = [_film_um(case, joint, known) / UM_PER_MM for joint in case.joints]
    return sum(part.thickness_mm.value for part in case.parts) + sum(films)


def made_up_mm(base: Case, changed: Case, part: Part, tables: Tables | None = None) -> float:
    """Thickness of a part of the changed case at which that has the height of the base [mm]; may be zero or less."""
    return round(part.thickness_mm.value - height_mm(changed, tables) + height_mm(base), DECIMALS)


def _film_um(case: Case, joint: Joint, tables: Tables) -> float:
    if joint.film_um is not None:
        mean = joint.film_um.mean_um(case.dimensions)
        return float(np.mean(tables[str(joint.map_file)])) if mean is None else mean
    known = None if joint.material is None else catalogue.joint(joint.material).film_um
    return 0.0 if known is None else known.middle
