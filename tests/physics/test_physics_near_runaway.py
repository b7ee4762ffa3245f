"""Uniform stacks up to their limit of thermal runaway, against `slab_chains`: Kirchhoff's transform, scalar roots."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from counts import counts
from slab_chains import Chain, random_chain
from stacks import even_grid

from thermsim.errors import RunawayError
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.readout.field import Field
from thermsim.solver.runaway_limit import limit_of
from thermsim.solver.steady import steady_state

ZONE = ("zone", "heat", "mean")


def chains(seed: int, count: int, tables: float) -> Iterator[tuple[Chain, float]]:
    """Stacks with a plain limit, and shares of it between 0.5 and 0.999, half of them above 0.98."""
    random = np.random.default_rng(seed)
    found = 0
    while found < count:
        chain = random_chain(random, tables)
        of_limit = max(0.5, 1.0 - 0.5 * 10.0 ** (-2.7 * random.random()))
        if chain.limit is not None:
            found += 1
            yield chain, of_limit


@pytest.fixture(scope="module")
def tabled() -> list[tuple[Chain, float]]:
    return list(chains(20731, 12, tables=1.0))


@pytest.mark.parametrize("number", range(12))
def test_tables_are_exact_up_to_the_limit_on_any_grid(tabled: list[tuple[Chain, float]], number: int) -> None:
    """Straight lines and their kinks are integrated exactly, so three cells a part give the temperature to 1e-5 K."""
    chain, of_limit = tabled[number]
    assert chain.limit is not None
    limit, _ = chain.limit
    for share in (of_limit, 0.999):
        case = chain.case(share * limit)
        model = build_model(case, even_grid(case, [10.0, 10.0, 0.4]))
        steady = steady_state(model)
        field = Field.of(model, steady)
        off = abs(field.zones[0].mean_C - chain.face_at(share * limit))
        assert off <= 1e-6 + 2.0 * steady.error_K
        assert steady.error_K < 1e-5
    assert limit_of(model).share * 0.999 == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("past", [1.002, 1.5, 20.0])
def test_beyond_the_limit_it_is_told_where_the_limit_is(past: float) -> None:
    for chain, _ in chains(20761, 3, tables=1.0):
        assert chain.limit is not None
        case = chain.case(past * chain.limit[0])
        with pytest.raises(RunawayError) as told:
            steady_state(build_model(case, even_grid(case, [10.0, 10.0, 0.4])))
        assert told.value.share is not None and told.value.share_doubt is not None
        assert abs(told.value.share * past - 1.0) <= told.value.share_doubt * past


@pytest.mark.parametrize("count", counts(40, 160))
def test_random_stacks_next_to_their_limit(count: int) -> None:
    """Every one converges, none is called a runaway, and the doubt holds what it should."""
    missed = []
    for number, (chain, of_limit) in enumerate(chains(20771, count, tables=0.5)):
        assert chain.limit is not None
        share = of_limit * chain.limit[0]
        told = predict(chain.case(share), first_cells=1000).doubts[ZONE]
        off = abs(told.value - chain.face_at(share))
        if off > told.half_width + 1e-6:
            missed.append((number, of_limit, off, told.half_width, told.note))
    assert len(missed) <= 0.05 * count, missed
