"""What a result was made with."""

from __future__ import annotations

import platform
from importlib.metadata import PackageNotFoundError, version

from thermsim import __version__

NOT_INSTALLED = "not installed"
PACKAGES = ("numpy", "scipy", "numba", "matplotlib")


def thermsim_version() -> str:
    """Version of thermsim; says so where it runs from a source tree that is not installed."""
    found = _version("thermsim")
    return f"{__version__}, not installed" if found == NOT_INSTALLED else found


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
        return NOT_INSTALLED
