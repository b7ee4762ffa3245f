"""Cells in time by all their modes: dense symmetric eigenvalues of the pair A, C by numpy, without a small model."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from thermsim.readout.observable import Observable
from thermsim.transient.curves import Reader

Array = NDArray[np.float64]


def curves_of_all_modes(
    reader: Reader, times: Array, alike: NDArray[np.int64] | None = None
) -> dict[Observable, Array]:
    """(n,) of each answer that is a weighted sum, at times [s] after the load came on.

    alike : for each cell of the system the number of a group of cells that warm up alike; default: each is its own
    """
    system = reader.system
    of_cell = np.arange(system.capacity.size) if alike is None else alike.ravel()
    groups = np.unique(of_cell[system.stencil.solid.ravel()])
    capacity, heat = (
        np.bincount(of_cell, values.ravel(), of_cell.max() + 1)[groups]
        for values in (system.capacity, system.stencil.heat)
    )
    matrix = np.empty((len(groups), len(groups)))
    for column, group in enumerate(groups):
        unit = (of_cell == group).astype(float).reshape(system.shape)
        matrix[:, column] = np.bincount(of_cell, system.stencil.conducted(unit).ravel(), of_cell.max() + 1)[groups]
    storing, passing = np.flatnonzero(capacity > 0.0), np.flatnonzero(capacity == 0.0)
    # Cells without capacity follow the others at once.
    tied = np.linalg.solve(matrix[np.ix_(passing, passing)], matrix[np.ix_(passing, storing)])
    reduced = matrix[np.ix_(storing, storing)] - matrix[np.ix_(storing, passing)] @ tied
    root = np.sqrt(capacity[storing])
    rates, modes = np.linalg.eigh(reduced / root / root[:, None])
    states = (-np.expm1(-np.outer(times, rates)) / rates * (modes.T @ (heat[storing] / root))) @ modes.T / root
    whole = np.zeros((len(times), of_cell.max() + 1))
    whole[:, groups[storing]] = states
    whole[:, groups[passing]] = -states @ tied.T
    cells = whole[:, of_cell]
    return {one: reader.rest[one] + cells[:, at] @ own + direct for one, ((at, own), direct) in reader.columns.items()}
