"""The demo with tolerances as wide as most people would type them honestly; invented, as the demo is.

Each core's power to 20 %, the film of the water to 33 %, the paste to 67 %: with the demo's own tolerances, and those
of its options, some twenty inputs move temperatures by several kelvins.
"""

from __future__ import annotations

import re


def wide(text: str) -> str:
    """The text of the demo's case with those tolerances."""

    def core(found: re.Match[str]) -> str:
        return f"{found[1]}{{value: {found[2]}, plus_minus: {0.2 * float(found[2]):.3f}}}}}"

    text, cores = re.subn(r"(zone: C\d.*power_W: )([\d.]+)\}", core, text)
    text, films = re.subn("film_W_m2K: 14000,", "film_W_m2K: {value: 14000, plus_minus: 4620},", text)
    text, pastes = re.subn(
        "resistance_mm2K_W: {value: 7.8, plus_minus: 2,", "resistance_mm2K_W: {value: 7.8, plus_minus: 5.2,", text
    )
    if (cores, films, pastes) != (8, 1, 1):
        raise ValueError(f"the demo has changed: {cores} cores, {films} water films and {pastes} pastes were found")
    return text
