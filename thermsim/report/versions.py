"""What a result was made with."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

PACKAGES = ("numpy", "scipy", "numba", "matplotlib")


def thermsim_version() -> str:
    """Version of the installed thermsim; says so where it runs from a source tree that is not installed."""
    return _version("thermsim")


def versions() -> dict[str, str]:
    """Versions of thermsim, Python and the packages whose numbers end up in a result, and the platform."""
    return {
        "thermsim": thermsim_version(),
        "python": platform.python_version(),
        **{name: _version(name) for name in PACKAGES},
        "platform": platform.platform(),
        "machine": platform.machine(),
    }


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"
