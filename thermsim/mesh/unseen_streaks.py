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

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.places import joint_box, parts_of_joint
from thermsim.case.vocabulary.schema import Case, Joint
from thermsim.model.grid.outline_lines import table_of
from thermsim.model.physics.heat import overlap
from thermsim.model.physics.properties import joint_of
from thermsim.readout.field import Field
from thermsim.units import MM, UM

Array = NDArray[np.float64]

STREAKS = 8.0 / np.pi**3 * 1.0517997903  # the sum of 1/n^3 over odd n


def unseen_K(case: Case, field: Field) -> float:
    """The temperature [K] that the film maps of a case add at most within the cells of a field's grid, and it lacks."""
    layers = [one for one in case.layers if isinstance(one, Joint)]
    mapped = [one for one in layers if one.film_um is not None and one.film_um.file is not None]
    return float(sum(_of_joint(case, field, joint) for joint in mapped))


def _of_joint(case: Case, field: Field, joint: Joint) -> float:
    model = field.model
    assert joint.film_um is not None and joint.film_um.file is not None
    plane = next(one for one in model.joints if one.joint == joint.joint)
    resistance = joint_of(joint, case.dimensions).resistance_at(UM * table_of(case, joint.film_um.file))
    box = [MM * edge for edge in joint_box(case, *parts_of_joint(case, joint))]
    edges = [np.linspace(box[n], box[n + 2], count + 1) for n, count in enumerate(resistance.shape)]
    to_x, to_y = (overlap(one, axis.faces).T for one, axis in zip(edges, model.grid.axes[:2], strict=True))
    mean, square, series = (to_x @ one @ to_y.T for one in (1.0 / resistance, resistance**-2.0, resistance))
    mean = np.where(plane.meets, mean, 1.0)
    # Streaks wider than a cell are seen but for the cell; along them nothing is hidden.
    pitch = min(float(one[1] - one[0]) for one in edges if len(one) > 2) if resistance.size > 1 else 0.0
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
    jump = np.abs(field.temperature[:, :, plane.face - 1] - field.temperature[:, :, plane.face])
    return float(np.max(np.where(plane.meets, jump / (half + plane.resistance) * adds, 0.0), initial=0.0))
