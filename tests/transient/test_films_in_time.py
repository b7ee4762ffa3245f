"""Films cut into levels are finest where they touch what is heated."""

from __future__ import annotations

import numpy as np
import pytest
from stacks import case_of, film, part

from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.model.storage import storing_films
from thermsim.transient.grid import film_shares, heated_heights

STORES = {"density_kg_m3": 5000, "heat_capacity_J_kgK": 500}


@pytest.mark.parametrize("heated", ["lower", "upper"])
@pytest.mark.parametrize("off_m", [-5e-19, 0.0, 5e-19])
def test_the_finest_level_touches_the_heated_part_however_heights_are_rounded(heated: str, off_m: float) -> None:
    """A height is a sum of thicknesses, and its last digit depends on the order of what stands above one another."""
    parts = [
        part(name, [4, 4], thick, {"conductivity_W_mK": 50} | STORES)
        for name, thick in (("lower", 1.123), ("upper", 0.678))
    ]
    solder = {"joint": "solder", "film_um": 100, "conductivity_W_mK": 5} | STORES
    heat = {"in": heated, "at": "volume", "zones": [{"zone": "all", "power_W": 1.0}]}
    case = case_of([parts[0], solder, parts[1]], [heat], [film("top", 1000)])
    (one,) = storing_films(case, build_model(case, plan_grid(case, 60).grid(1)))
    place = min((height for height, _ in heated_heights(case)), key=lambda height: abs(height - 1.123e-3))
    shares = film_shares(case, one, place + off_m, 1e-3, 1)
    assert len(shares) > 1 and float(shares.sum()) == pytest.approx(1.0)
    assert np.all(np.diff(shares) > 0.0) if heated == "lower" else np.all(np.diff(shares) < 0.0)
