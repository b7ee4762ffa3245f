"""What is told of mesh and time, against random uniform stacks whose rises are exact: see `chains_in_time`."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from all_modes import curves_of_all_modes
from chains_in_time import ChainInTime, random_chain_in_time
from counts import counts
from numpy.typing import NDArray

from thermsim.mesh.predict import FEWEST_GRIDS
from thermsim.model.grid.plan import plan_grid
from thermsim.transient.grid import time_plan
from thermsim.warming.family import Family
from thermsim.warming.told_times import spread_times
from thermsim.warming.warmup import warmup

Array = NDArray[np.float64]

FROM_S, UNTIL_S = 1e-3, 1e2
CELLS = 60  # of the first grid
SEED = 20_269_301


def drawn(number: int) -> ChainInTime:
    return random_chain_in_time(np.random.default_rng([SEED, number]))


@pytest.mark.parametrize("number", [3, 8])
def test_the_contour_inverts_as_mpmath_does(number: int) -> None:
    """Reference: the method of Talbot as mpmath has it."""
    chain = drawn(number)
    times = np.array([1e-3, 0.3, 20.0])
    for transform in (chain.plane, chain.at_probe):

        def of(s: mpmath.mpc, transform: object = transform) -> complex:
            return complex(transform(np.array([complex(s)]))[0])  # type: ignore[operator]

        exact = [float(mpmath.invertlaplace(of, float(at), method="talbot", degree=14)) for at in times]
        found = chain.rises(times)[("zone", "heat", "mean") if transform == chain.plane else ("probe", "anywhere")]
        assert found == pytest.approx(exact, rel=1e-6)


def of_both(chain: ChainInTime) -> tuple[Array, Array]:
    """True errors and doubts [K] of all temperatures at all times at the default accuracy."""
    found = warmup(chain.case, FROM_S, UNTIL_S, first_cells=CELLS)
    exact = chain.rises(found.times_s)
    off = np.array([np.abs(found.curves[asked].value - rise) for asked, rise in exact.items()])
    return off, np.array([found.curves[asked].half_width for asked in exact])


def test_a_thin_film_beside_a_heated_face_stores_what_counts() -> None:
    """18 um of a filling that hold 1.4 % of what the heated part does: 6 % of the rise after a millisecond."""
    off, told = of_both(drawn(6))
    assert np.all(off <= told)


@pytest.mark.parametrize("stacks", counts(12, 200))
def test_doubts_of_mesh_and_time_hold_the_true_error_of_many_stacks(stacks: int) -> None:
    off, told = (np.array(both) for both in zip(*(of_both(drawn(number)) for number in range(stacks)), strict=True))
    # In one dimension the end of each curve is exact: how wide a doubt is counts at the worst time of each answer.
    covered, width = float(np.mean(off <= told)), float(np.median(told.max(axis=2) / off.max(axis=2)))
    worst = np.max(off / told, axis=(1, 2))
    print(f"\n{off.size} rises of {stacks} stacks: covered {100 * covered:.2f} %, doubt over error {width:.1f}")
    print(f"worst error {worst.max():.2f} doubts, of stack {worst.argmax()}; beyond: {np.flatnonzero(worst > 1.0)}")
    assert covered >= 0.95
    assert width < 10.0


def over_time_doubt(chain: ChainInTime) -> list[float]:
    """For each of the fewest grids: the largest error of the small model over what is told of it."""
    times = spread_times(FROM_S, UNTIL_S)
    plan = time_plan(chain.case, plan_grid(chain.case, CELLS), FROM_S)
    family = Family(chain.case, times, chain.case.accuracy_K)
    found = []
    for multiplier in plan.multipliers[:FEWEST_GRIDS]:
        family.climb(plan, multiplier, FROM_S)
        shape = family.reader.system.shape
        levels = np.broadcast_to(np.arange(shape[2]), shape)
        told = dict(zip(family.asked, family.tables[-1], strict=True))
        found.append(
            max(
                float(np.abs(told[one][:-1] - exact).max()) / family.time_doubts[one]
                for one, exact in curves_of_all_modes(family.reader, times, levels).items()
                if not one.is_heat
            )
        )
    return found


@pytest.mark.slow
def test_shifts_beyond_the_first_time_tell_of_modes_that_none_between_shows() -> None:
    """80 um of poor conductors: residuals at all shifts between 1/t of both ends were what the solver leaves, and the
    third grid was 1.7 mK off at the first time where 0.8 mK were told."""
    assert max(over_time_doubt(drawn(39))) <= 1.0


@pytest.mark.parametrize("stacks", counts(8, 200))
def test_doubt_of_time_alone_misses_at_most_one_model_of_a_hundred(stacks: int) -> None:
    """Reference: all modes of the same cells."""
    over = np.array([over_time_doubt(drawn(number)) for number in range(stacks)])
    print(f"\n{over.size} models: error over doubt of time up to {over.max():.2f}, median {np.median(over):.2f}")
    print(f"misses: {np.argwhere(over > 1.0).tolist()}")
    assert np.mean(over > 1.0) <= 0.01
