"""What every kind of boundary tells of the heat that leaves a face: a tangent at the temperature of the face.

    q_out  =  film (T - known) - influx                                            [W/m2]

That is all that the heat balance, what is read off, sensitivities and superposition ask for.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from thermsim.case.vocabulary.schema import Case, Cooling

Array = NDArray[np.float64]

# [W/m2K] film of a face held at a temperature: its resistance vanishes in double precision.
FIXED_TEMPERATURE_FILM = 1e30
HOTTEST_C = 3000.0  # [C] upper end of the search for the temperature of a face


class Link(NamedTuple):
    """q_out = film (T - known) - influx [W/m2]; numbers, or arrays over faces. film [W/m2K], known [C]"""

    film: Array | float
    known_C: Array | float
    influx: Array | float


class Surface(NamedTuple):
    """Faces that a boundary acts on: their temperature [C], and where they are along x, y, z [m], as they broadcast."""

    face_C: Array | float
    place: tuple[Array | float, Array | float, Array | float]


NOWHERE = Surface(0.0, (0.0, 0.0, 0.0))


@dataclass(frozen=True)
class Boundary(ABC):
    """One entry of `cooling`. label : what results call it; face : the face it acts on

    is_linear : the link is the same at all temperatures; is_even : ... and at all places
    is_prescribed : the heat is given, whatever the temperatures; holds : the temperature is, whatever the heat
    """

    label: str
    face: str
    kind: ClassVar[str]
    is_linear: ClassVar[bool] = True
    is_even: ClassVar[bool] = True
    is_prescribed: ClassVar[bool] = False
    holds: ClassVar[bool] = False

    @classmethod
    @abstractmethod
    def read(cls, case: Case, entry: Cooling) -> Self:
        """The boundary that an entry of a case describes."""

    def over(self, area_m2: float) -> Boundary:
        """The same where it is known on how much area it acts [m2]; most kinds do the same on any."""
        return self

    @property
    def is_on_loop(self) -> bool:
        """Whether its fluid is the coolant of the loop, whose temperature is solved for."""
        return False

    @property
    def share_of_flow(self) -> float:
        """What of a drop to the fluid where it comes in is the warming of the fluid itself, 0 to 1."""
        return 0.0

    def at_coolant(self, coolant_C: float) -> Boundary:
        """The same where the coolant of the loop has that temperature [C]."""
        return self

    @abstractmethod
    def link(self, at: Surface) -> Link:
        """The tangent of q_out at the temperatures of some faces."""

    @property
    @abstractmethod
    def words(self) -> str:
        """What happens there, for drawings: `14000 W/m2K, 31 C`."""

    @property
    def known_C(self) -> tuple[float, ...]:
        """The temperatures that it ties faces to [C]; none for a heat that is given."""
        return ()

    @property
    def fluid_C(self) -> float | None:
        """The temperature [C] that results tell as that of the fluid; the mean where there are several."""
        return float(np.mean(self.known_C)) if self.known_C else None

    @property
    def film_W_m2K(self) -> float | None:
        """The film coefficient, of what has one that is a number of the case."""
        return None

    @property
    def influx_W_m2(self) -> float:
        """Heat that enters whatever the temperatures; an arrow points with it."""
        return float(self.link(NOWHERE).influx) if self.is_prescribed else 0.0

    def most_film(self, hottest_C: float) -> float:
        """The film coefficient [W/m2K] at a temperature that faces are not above; infinite where they are held."""
        return np.inf if self.holds else float(np.max(self.link(NOWHERE._replace(face_C=hottest_C)).film))

    def outflow(self, at: Surface) -> Array:
        """q_out [W/m2], of what holds no temperature."""
        film, known_C, influx = self.link(at)
        return np.asarray(film * (at.face_C - known_C) - influx)

    def carrying_C(self, flux_W_m2: float, hottest_C: float = HOTTEST_C, within_K: float = 1.0) -> float:
        """Temperature [C] at which faces alone would let out so much, sought up to a hottest one."""
        low, high = min(self.known_C), hottest_C
        while high - low > within_K:
            middle = 0.5 * (low + high)
            if float(np.mean(self.outflow(NOWHERE._replace(face_C=middle)))) > flux_W_m2:
                high = middle
            else:
                low = middle
        return high
