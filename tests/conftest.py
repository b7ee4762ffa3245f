"""Settings that must stand before numpy is imported."""

from __future__ import annotations

import os

import pytest

# One thread: the tests share their machine, and threads of a linear algebra library gain nothing on small arrays.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")


@pytest.fixture
def coarse_grids(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Grids of a tenth of the usual cells, for closed forms that every grid meets; slow tests keep the usual ones."""
    if request.node.get_closest_marker("slow") is None:
        from coarse_grids import begin_coarsely  # numpy and the solver are not imported before the settings above

        begin_coarsely(monkeypatch, 800, 800)
