"""The way of the heat from a zone to its surroundings, and which part of it shows where in the zone's ladder.

Cumulative thermal capacitance over cumulative thermal resistance of a ladder is the cumulative structure function of
JEDEC JESD51-14 (terms from memory). It is made of the curve Zth(t) of the zone alone, so it has no names. The stack
has: the steady temperatures of a watt in that zone fall part by part and joint by joint (`readout.ladder`), and
these falls add up to the same resistance. So each part stands at the stretch of resistance that is its own. Whether it
shows as a bend of its own there is told by what the ladder stores on that stretch and what the part really stores:
where heat still spreads, or leaves by another way, both differ.

What a time constant is of is told by its field q over all cells, with q' C q = 1: q' C_p q is the share of what it
stores that lies in part p.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from thermsim.readout.ladder import Ladder
from thermsim.response.network import ModalNetwork
from thermsim.response.networks import Cauer, Foster, to_cauer

Array = NDArray[np.float64]

FINE = 1e-6  # share of the whole resistance to which the chain answers as the zone does: so it has more stages
SAME_STORE = 1.5  # times, up to which a stretch stores what its part does: our own choice
NOTHING = 1e-9  # share of the rise of a zone that is none
ALL_BUT = 1e-3  # of the resistance: stages beyond all but this are the surroundings, whose capacity has no end


@dataclass(frozen=True)
class Stretch:
    """One part, joint or film on the way of the heat.

    from_K_W, to_K_W : cumulative resistance from the zone on [K/W], by the steady temperatures of a watt in it
    ladder_J_K : what the ladder of the zone stores between them [J/K]
    stores_J_K : what the part, or a film that stores, has in all [J/K]; None for what stores nothing of its own
    """

    item: str
    from_K_W: float
    to_K_W: float
    ladder_J_K: float
    stores_J_K: float | None

    @property
    def is_bend(self) -> bool:
        """Whether the ladder stores there what the part does, so that its bend is that of this part."""
        if self.stores_J_K is None or not self.ladder_J_K > 0.0:
            return False
        return 1.0 / SAME_STORE <= self.ladder_J_K / self.stores_J_K <= SAME_STORE


@dataclass(frozen=True, eq=False)
class Structure:
    """Of one zone. foster, cauer : its chain of time constants, shortest first, and its ladder

    places : parts and films that store; stored : (stages, places) shares of what each stage of the chain stores
    stretches : from the zone to the coolant that takes most heat
    beside : parts and films that store beside this way, with what they store [J/K]
    """

    zone: str
    foster: Foster
    cauer: Cauer
    places: tuple[str, ...]
    stored: Array
    stretches: tuple[Stretch, ...]
    beside: tuple[tuple[str, float], ...]

    @property
    def cumulative_K_W(self) -> Array:
        """(stages,) resistance from the zone to behind each stage of the ladder [K/W]."""
        return np.cumsum(self.cauer.resistance_K_W)

    @property
    def cumulative_J_K(self) -> Array:
        """(stages,) capacitance from the zone up to each stage of the ladder [J/K]."""
        return np.cumsum(self.cauer.capacity_J_K)


def structure_of(
    network: ModalNetwork, zone: str, way: Ladder | None, stored: Mapping[str, Array], stores_J_K: Mapping[str, float]
) -> Structure:
    """The way of the heat from a zone on.

    way : of a watt in the zone, in kelvin for a watt; None where there is none
    stored : by part and film, (m, m) products of the modes in its capacity; stores_J_K : that capacity

    Raises
    ------
    UnknownNameError : no such zone
    """
    foster, stages = network.chain_and_stages(zone, FINE)
    cauer = to_cauer(foster)
    shares = np.array([np.einsum("mi,mi->i", stages, own @ stages) for own in stored.values()]).T
    stretches = () if way is None else _stretches(cauer, way, stores_J_K)
    on_way = {one.item for one in stretches}
    beside = tuple((name, store) for name, store in stores_J_K.items() if name not in on_way)
    shares = shares / shares.sum(axis=1, keepdims=True)
    return Structure(zone, foster, cauer, tuple(stored), shares, stretches, beside)


def _stretches(cauer: Cauer, way: Ladder, stores_J_K: Mapping[str, float]) -> tuple[Stretch, ...]:
    before = np.concatenate([[0.0], np.cumsum(cauer.resistance_K_W)[:-1]])  # each capacity stands before its resistance
    # From the mean of the zone on, and without what is zero but for round-off where heat is made in that zone alone.
    rungs = [
        rung for rung in way.rungs if not rung.item.startswith("hottest spot") and rung.drop_K > NOTHING * way.start_C
    ]
    ends = np.cumsum([rung.drop_K for rung in rungs])
    found = []
    for number, rung in enumerate(rungs):
        low, high = (float(ends[number - 1]) if number else 0.0), float(ends[number])
        here = (before >= low) & (before < high)
        stores = stores_J_K.get(rung.item)
        found.append(Stretch(rung.item, low, high, float(cauer.capacity_J_K[here].sum()), stores))
    return tuple(found)
