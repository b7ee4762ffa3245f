"""The times of a log as its program writes them: clock times, with their date or without."""

from __future__ import annotations

import re
from datetime import date

HALF_A_DAY, DAY = 43_200.0, 86_400.0  # [s]
_CLOCK = r"(?P<h>\d{1,2}):(?P<m>[0-5]\d):(?P<s>[0-5]\d(?:[.,]\d+)?)"
_DATE = r"(?:(?P<Y>\d{4})-(?P<M>\d\d?)-(?P<D>\d\d?)|(?P<d>\d\d?)\.(?P<mo>\d\d?)\.(?P<y>\d{4}))"
_ZONE = r"(?:Z|(?P<sign>[-+])(?P<zh>\d\d):?(?P<zm>\d\d))?"
_TIME = re.compile(rf"(?:{_DATE}[ T]+)?{_CLOCK}\s*{_ZONE}")
_UNSURE = re.compile(r"\d{1,2}:[0-5]\d(?:\.\d+)?")


def seconds_told(text: str) -> float | None:
    """A clock time in seconds [s] since midnight, or counted through where its date stands beside it; None otherwise.

    `16:05:03`, `16:05:03.250`, `2026-03-01 16:05:03`, `2026-03-01T16:05:03+01:00`, `1.3.2026 16:05:03`.
    """
    found = _TIME.fullmatch(text)
    if found is None:
        return None
    seconds = 3600.0 * int(found["h"]) + 60.0 * int(found["m"]) + float(found["s"].replace(",", "."))
    if found["sign"]:
        seconds -= float(f"{found['sign']}1") * (3600.0 * int(found["zh"]) + 60.0 * int(found["zm"]))
    year, month, day = (found[one] or found[other] for one, other in (("Y", "y"), ("M", "mo"), ("D", "d")))
    if year is None:
        return seconds
    try:
        return date(int(year), int(month), int(day)).toordinal() * DAY + seconds
    except ValueError:
        return None


def may_be_two(text: str) -> bool:
    """Whether a time may be hours with minutes or minutes with seconds."""
    return _UNSURE.fullmatch(text) is not None


def over_midnight(times: list[float]) -> list[float]:
    """Clock times with a day added wherever midnight has passed."""
    days, before = 0.0, None
    found = []
    for time in times:
        if before is not None and time < before - HALF_A_DAY:
            days += DAY
        before = time
        found.append(time + days)
    return found
