"""Mesh studies that begin on grids far coarser than the product's, for what does not depend on how fine they are."""

from __future__ import annotations

from pytest import MonkeyPatch

from thermsim.mesh.predict import predict
from thermsim.model.grid.plan import plan_grid


def begin_coarsely(patch: MonkeyPatch, cells: int, first_cells: int) -> None:
    """cells : of a grid that is planned for a case; first_cells : of the first grid of a mesh study"""
    patch.setitem(predict.__kwdefaults__, "first_cells", first_cells)
    patch.setattr(plan_grid, "__defaults__", (cells, plan_grid.__defaults__[1]))
