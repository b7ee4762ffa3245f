"""Film maps finer than the cells: what gathers the heat to their thin places is in the doubt."""

from __future__ import annotations

from pathlib import Path

import pytest
from stacks import case_of, film, part

from thermsim.mesh.predict import predict

STREAKS = 1000
WIDTH = 20.0  # [mm]


def test_streaks_that_no_grid_shows_are_in_the_doubt(tmp_path: Path) -> None:
    """Streaks of 20 um, 20 and 1000 um thick: 0.1357 p q (1/k1 + 1/k2) (dg/g)^2 more than the mean conductance gives.

    That is the constriction of strips of even flux, p = 40 um: the series of Mikic for stripes, from memory. Our own
    finite differences of one period five times as wide, of 100 cells, give 0.549 K where this gives 0.549 K.
    """
    (tmp_path / "film.csv").write_text(",".join(["20,1000"] * (STREAKS // 2)))
    layers = [
        part("die", WIDTH, 0.6, 120),
        {"joint": "tim", "film_um": {"file": "film.csv"}, "conductivity_W_mK": 5},
        part("lid", WIDTH, 2, 380),
    ]
    heat = [{"in": "die", "at": "bottom", "zones": [{"zone": "all", "power_W": 400.0}]}]
    case = case_of(layers, heat, [film("top", 50_000, 20)], tmp_path, dimensions=2, depth_mm=10)
    found = predict(case, accuracy_K=0.1, grids=3)
    thin, thick = 5 / 20e-6, 5 / 1000e-6  # [W/m2K]
    mean, half = (thin + thick) / 2, (thin - thick) / 2
    even = 20 + 2e6 * (0.6e-3 / 120 + 1 / mean + 2e-3 / 380 + 1 / 50_000)
    gathers = 2e6 * 0.1357 * 40e-6 * (1 / 120 + 1 / 380) * (half / mean) ** 2
    mean_C = found.doubts["zone all, mean"]
    assert mean_C.finest == pytest.approx(even, abs=0.05)
    assert gathers == pytest.approx(0.110, abs=0.001)
    assert abs(mean_C.value - even - gathers) <= mean_C.half_width
    assert (
        gathers <= float(found.steps[-1].seen.unseen_sum) <= 2.0 * gathers
    )  # where most heat flows, more than in the mean
    assert any("the film map of tim changes within" in remark for remark in found.remarks)
