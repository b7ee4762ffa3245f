"""Where the steady temperatures of a watt in one zone fall, part by part and joint by joint, down to what is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from thermsim.model.build import ZoneCells
from thermsim.readout.field import Field
from thermsim.readout.ladder import Ladder, Rung, ladder
from thermsim.response.coolant_port import LOOP_PART
from thermsim.transient.curves import Reader

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Ways:
    """Of all zones. steady : (zones, cells) what a watt in each ends at, and a kelvin of the coolant of a loop, last"""

    reader: Reader
    zones: Sequence[ZoneCells]
    steady: Array

    def of(self, number: int, coolant_K: float) -> Ladder | None:
        """The ladder of a watt in one zone [K/W]; None where there is none.

        coolant_K : what the coolant of a loop rises by, which is the last rung; 0 without a loop
        """
        cells = self.steady[number] + (coolant_K * self.steady[-1] if coolant_K else 0.0)
        field = _field(self.reader, self.zones[number], cells, coolant_K)
        found = ladder(field)
        if found is None or not coolant_K or field.coolant_C == 0.0:
            return found
        return replace(found, rungs=(*found.rungs, Rung(LOOP_PART, field.coolant_C, field.coolant_C)))


def _field(reader: Reader, zone: ZoneCells, cells: Array, coolant_K: float) -> Field:
    """What a watt in one zone ends at, as a field of rises. cells : of the system"""
    model = reader.rise.model.at_coolant(coolant_K)
    shares = model.shares(zone)
    faces, volumes = [], []
    for face_source in model.face_sources:
        watts = np.zeros_like(face_source.watts)
        if (face_source.face, face_source.side) == (zone.face, zone.side) and face_source.part == zone.part:
            watts[zone.x, zone.y] = shares
        faces.append(replace(face_source, watts=watts))
    for volume_source in model.volume_sources:
        watts = np.zeros_like(volume_source.watts)
        if zone.face is None and volume_source.part == zone.part:
            watts[zone.x, zone.y] = shares
        volumes.append(replace(volume_source, watts=watts))
    watt = replace(model, face_sources=tuple(faces), volume_sources=tuple(volumes))
    rises = reader.system.of_model(cells.reshape(reader.system.shape))
    return Field(watt, reader.rise.guess, np.where(model.region >= 0, rises, np.nan), 0.0)
