"""What a film map does within cells, which take its mean conductance: heat must gather to the thin places.

A conductance g per area that changes by dg about its mean between two conductors k1, k2 draws a flux that changes by
dg/g of its mean q. Each wave of it, of period p, lifts the conductors by q (dg/g) p/(2 pi) (1/k1 + 1/k2) where it is
large, and so adds a resistance. Summed over the odd waves of alternating streaks of width w (p = 2 w):

    (8/pi^3) (1 + 1/27 + 1/125 + ...) w (1/k1 + 1/k2) mean(dg^2)/g^2 = 0.271 w (1/k1 + 1/k2) mean(dg^2)/g^2

which is what strips of even flux on a half space give as well (the series of Mikic for stripes, from memory). It is no
more than what is between the film's resistance with heat through each place alike, and with both faces of even
temperature: mean(1/g) - 1/mean(g).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import joint_box, parts_of_joint
from thermsim.case.vocabulary.schema import Case, Joint
from thermsim.model.build import Model
from thermsim.model.grid.outline_lines import table_of
from thermsim.model.joints import means_of_map
from thermsim.model.physics.properties import joint_of
from thermsim.units import MM, UM

Array = NDArray[np.float64]

STREAKS = 8.0 / np.pi**3 * 1.0517997903  # the sum of 1/n^3 over odd n


@dataclass(frozen=True, eq=False)
class Streaks:
    """One film map on a grid.

    film : the joint and its map, by which it is the same in two cases; face : index of the z face it lies at
    share : (nx, ny) what is added within a cell, of the temperature between the centres of the cells on both sides
    """

    film: str
    face: int
    share: Array

    def unseen_K(self, below: Array, above: Array) -> Array:
        """(...) [K] that lack at most, for temperatures (..., nx, ny) of the cells on both sides [C]."""
        jump = np.where(self.share > 0.0, np.abs(below - above), 0.0)
        return np.asarray(np.max(jump * self.share, axis=(-2, -1), initial=0.0))

    def unseen_of(self, temperature: Array) -> float:
        """The same of the cells (nx, ny, nz) of one field."""
        return float(self.unseen_K(temperature[:, :, self.face - 1], temperature[:, :, self.face]))


def streaks_of(case: Case, model: Model) -> tuple[Streaks, ...]:
    """The film maps of a case, on the grid of its model."""
    mapped = [(joint, joint.map_file) for joint in case.joints if joint.map_file is not None]
    return tuple(_of_joint(case, model, joint, file) for joint, file in mapped)


def _of_joint(case: Case, model: Model, joint: Joint, file: str) -> Streaks:
    plane = next(one for one in model.joints if one.joint == joint.joint)
    resistance = joint_of(joint, case.dimensions).resistance_at(UM * table_of(case, file))
    x0, y0, x1, y1 = (MM * edge for edge in joint_box(case, *parts_of_joint(case, joint)))
    of_cells = means_of_map(model.grid, (x0, y0, x1, y1), 1.0 / resistance, resistance**-2.0, resistance)
    mean, square, series = of_cells
    mean = np.where(plane.meets, mean, 1.0)
    # Streaks wider than a cell are seen but for the cell; along them nothing is hidden.
    sides = zip((x1 - x0, y1 - y0), resistance.shape, strict=True)
    pitch = min((side / count for side, count in sides if count > 1), default=0.0)
    along_x, along_y = (
        axis.widths * (count > 1) for axis, count in zip(model.grid.axes[:2], resistance.shape, strict=True)
    )
    widest = np.maximum(along_x[:, None], along_y[None, :])
    per_k, half = np.zeros(plane.meets.shape), np.zeros(plane.meets.shape)
    for level in (plane.face - 1, plane.face):
        k = np.array([float(one.material.laws[2](model.coldest_C)) for one in model.regions])
        here = np.where(plane.meets, k[model.region[:, :, level]], 1.0)
        per_k += 1.0 / here
        half += 0.5 * float(model.grid.z.widths[level]) / here
    adds = STREAKS * np.minimum(pitch, widest) * per_k * np.maximum(square / mean**2 - 1.0, 0.0)
    adds = np.minimum(adds, np.maximum(series - 1.0 / mean, 0.0))
    return Streaks(f"{joint.joint} ({file})", plane.face, np.where(plane.meets, adds / (half + plane.resistance), 0.0))
