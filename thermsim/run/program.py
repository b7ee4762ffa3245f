"""What decides the bits of a result besides the case: the files of this package, and the libraries that compute."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.metadata import version
from pathlib import Path

import thermsim

COMPUTE = ("numpy", "scipy", "numba")
SUFFIXES = {".py", ".yaml"}  # files that decide what is computed: the code, and the catalogue of materials
DIGEST_DIGITS = 12  # hexadecimal digits kept of the digest: two programs agree by chance only among some millions


@cache
def program() -> str:
    """Such as `thermsim 0.1.0 (files 1f0c2a9b3d4e), numpy 2.4.6, scipy 1.17.1, numba 0.68.1`.

    The version alone is typed by hand, and stays the same while files change.
    """
    files = digest_of(Path(thermsim.__file__).parent)[:DIGEST_DIGITS]
    return ", ".join(
        [f"thermsim {thermsim.__version__} (files {files})", *(f"{name} {version(name)}" for name in COMPUTE)]
    )


def digest_of(folder: Path) -> str:
    """SHA-256 over names and contents of the files that count, in an order that no system changes."""
    digest = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.suffix in SUFFIXES):
        for data in (path.relative_to(folder).as_posix().encode("utf-8"), path.read_bytes()):
            digest.update(len(data).to_bytes(8, "little") + data)
    return digest.hexdigest()
