"""numba set up without scipy's BLAS, which no kernel here uses: looking for it costs a tenth of a whole prediction.

numba asks once, as `numba.np.arraymath` is imported, whether `scipy.linalg.cython_blas` can be; the answer decides only
how its `numpy.correlate` and `numpy.convolve` multiply. Matrix products ask for BLAS again where they are compiled.
"""

from __future__ import annotations

import importlib
import sys

BLAS = "scipy.linalg.cython_blas"
ASKS = "numba.np.arraymath"


def look_for_none() -> None:
    """Let numba find no BLAS, unless scipy's is loaded already or numba has looked."""
    if BLAS in sys.modules or ASKS in sys.modules:
        return
    sys.modules[BLAS] = None  # type: ignore[assignment]  # Python's own way to make an import fail
    try:
        importlib.import_module(ASKS)
    finally:
        del sys.modules[BLAS]
