"""Cases in memory for the tests: built from plain mappings, checked like a file, and solved on chosen grids."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case
from thermsim.model.build import build_model
from thermsim.model.grid.axes import Axis, Grid, merge_lines
from thermsim.model.grid.outline_lines import outlines
from thermsim.model.grid.plan import plan_grid
from thermsim.readout.field import Field
from thermsim.solver.steady import steady_state

Mapping = dict[str, Any]


def part(name: str, size_mm: Any, thickness_mm: float, k: Any, **more: Any) -> Mapping:
    """A part; `k` is a conductivity [W/mK], [in plane, through], a mapping, or the name of a material."""
    material: Any = k
    if isinstance(k, (int, float)):
        material = {"conductivity_W_mK": k}
    elif isinstance(k, list):
        material = {"in_plane_W_mK": k[0], "through_W_mK": k[1]}
    return {"part": name, "material": material, "size_mm": size_mm, "thickness_mm": thickness_mm, **more}


def joint(name: str, resistance_mm2K_W: float) -> Mapping:
    return {"joint": name, "resistance_mm2K_W": resistance_mm2K_W}


def film(face: str, film_W_m2K: float, fluid_C: float = 0.0, **more: Any) -> Mapping:
    return {"face": face, "film_W_m2K": film_W_m2K, "fluid_C": fluid_C, **more}


def case_of(
    layers: Sequence[Mapping],
    heat: Sequence[Mapping] = (),
    cooling: Sequence[Mapping] = (),
    folder: Path | None = None,
    **more: Any,
) -> Case:
    """A checked case. Lists and tuples are both written as YAML sequences."""
    whole = {"title": "a test", "layers": list(layers), "heat": list(heat), "cooling": list(cooling), **more}
    return parse_case(json.dumps(whole, indent=1), "test.yaml", folder)


def solve_on(case: Case, grid: Grid) -> Field:
    """The solved and checked field of a case on a grid."""
    model = build_model(case, grid)
    return Field.of(model, steady_state(model))


def solve_case(case: Case, cells: int = 4000, multiplier: int = 2) -> Field:
    """As `solve_on`, on the grid that the project plans for about so many cells at multiplier 2."""
    return solve_on(case, plan_grid(case, cells).grid(multiplier))


def even_grid(case: Case, widest_mm: Sequence[float]) -> Grid:
    """Even cells between outlines, none wider than asked along x, y, z."""
    axes = []
    for lines, widest in zip(outlines(case), widest_mm, strict=True):
        edges = merge_lines(np.array([line.place for line in lines]))
        counts = [max(1, int(np.ceil(gap / (1e-3 * widest) - 1e-9))) for gap in np.diff(edges)]
        faces = [np.linspace(low, high, n + 1)[:-1] for low, high, n in zip(edges[:-1], edges[1:], counts, strict=True)]
        axes.append(Axis(np.concatenate([*faces, edges[-1:]])))
    return Grid(*axes)


def uneven_grid(case: Case, rng: np.random.Generator, most: int = 4) -> Grid:
    """Random cells, up to `most` between any two outlines, their widths within a factor of about ten."""
    axes = []
    for lines in outlines(case):
        edges = merge_lines(np.array([line.place for line in lines]))
        faces = [edges[:1]]
        for low, high in pairwise(edges):
            share = np.cumsum(rng.uniform(0.1, 1.0, rng.integers(1, most + 1)))
            faces.append(low + (high - low) * share[:-1] / share[-1])
            faces.append(np.array([high]))
        axes.append(Axis(np.concatenate(faces)))
    if case.dimensions == 2:
        axes[1] = Axis(axes[1].faces[[0, -1]])
    return Grid(*axes)


def rise(field: Field, zone: str, fluid_C: float = 0.0) -> float:
    """Mean rise [K] of a zone over a fluid."""
    return next(found.mean_C for found in field.zones if found.zone == zone) - fluid_C
