"""One likely slip, or one caution."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["danger", "warning", "notice"]


@dataclass(frozen=True)
class Slip:
    """A likely slip or a caution: how grave, where, what, and what to do about it."""

    severity: Severity
    place: str
    message: str
    remedy: str
