"""Settings that must stand before numpy is imported."""

from __future__ import annotations

import os

# One thread: the tests share their machine, and threads of a linear algebra library gain nothing on small arrays.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
