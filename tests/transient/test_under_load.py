"""Warm-ups under a load that changes: against matrix exponentials, superposed steps, and the whole model."""

from __future__ import annotations

import numpy as np
import pytest
from on_a_loop import BLOCK, LOADED_K, RATES
from scipy.linalg import expm
from stacks import solve_on

from thermsim.case.load import parse_case
from thermsim.errors import ThermsimError
from thermsim.loads.load import Load, load_of_steps
from thermsim.model.build import build_model
from thermsim.model.grid.plan import plan_grid
from thermsim.transient.grid import films_of
from thermsim.transient.whole import whole_curves
from thermsim.warming.held_still import model_of, reader_of
from thermsim.warming.loaded import remarks_of_load
from thermsim.warming.outcome import Warmup
from thermsim.warming.planned import planned
from thermsim.warming.told_times import told_times, unseen_until_s
from thermsim.warming.warmup import warmup

BLOCKS = [{"at_s": 0, "share": 1.0}, {"at_s": 300, "share": 0.0}, {"at_s": 600, "share": 0.5}]

# Two zones of a die under a lid, all of them linear.
DIE = """
title: a die under a lid
layers:
  - part: die
    material: {conductivity_W_mK: 120, density_kg_m3: 2330, heat_capacity_J_kgK: 712}
    size_mm: [10, 8]
    thickness_mm: 0.66
  - {joint: paste, resistance_mm2K_W: 8}
  - part: lid
    material: {conductivity_W_mK: 390, density_kg_m3: 8933, heat_capacity_J_kgK: 385}
    size_mm: [20, 20]
    thickness_mm: 2.4
heat:
  - in: die
    zones:
      - {zone: core, corner_mm: [1, 1], size_mm: [4, 6], power_W: 40}
      - {zone: io, corner_mm: [6, 1], size_mm: [3, 6], power_W: 10}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
"""
LEAK = "in: die\n    leakage: {at_C: 60, share: 0.3, doubling_K: 25}"
SHIFTS = (0.0, 1e3, 1e2, 30.0, 10.0, 3.0, 1.0, 0.3)


def two_nodes(times: list[float]) -> dict[float, np.ndarray]:
    """Block and coolant [C] under the blocks above, by scipy's matrix exponential."""
    found: dict[float, np.ndarray] = {}
    for time in times:
        state, begins = np.zeros(2), 0.0
        for ends, share in ((300.0, 1.0), (600.0, 0.0), (np.inf, 0.5)):
            stays = min(ends, time) - begins
            end = share * LOADED_K
            if stays > 0.0:
                state = end + expm(stays * RATES) @ (state - end)
            begins = ends
        found[time] = state + 25.0
    return found


@pytest.fixture(scope="module")
def block() -> Warmup:
    times = [10.0, 305.0, 600.0, 610.0]
    return warmup(
        parse_case(BLOCK, "block.yaml"), 1.0, 1200.0, load=BLOCKS, also_s=times, first_cells=60, settled_K=0.5,
        accuracy_K=0.02,
    )  # fmt: skip


def test_blocks_of_300_s_on_a_loop(block: Warmup) -> None:
    exact = two_nodes([10.0, 300.0, 305.0, 600.0, 610.0, 1200.0])
    for one, number in ((("zone", "all", "mean"), 0), (("coolant",), 1)):
        curve = block.curves[one]
        for time, nodes in exact.items():
            at = int(np.flatnonzero(np.isclose(block.times_s, time, rtol=1e-12))[0])
            assert float(curve.value[at]) == pytest.approx(nodes[number], abs=float(curve.half_width[at]) + 1e-4)
            assert float(curve.half_width[at]) < 0.02
        assert curve.loaded is not None
        assert curve.loaded.value == pytest.approx(25.0 + 0.5 * LOADED_K[number], abs=0.002)
    assert block.times_s[block.curves["zone", "all", "mean"].highest] == pytest.approx(300.0)


def test_settled_is_told_of_the_end_of_the_last_step_and_a_rest_is_not_told(block: Warmup) -> None:
    settled = block.curves["zone", "all", "mean"].settled_s
    assert settled is not None
    end = 25.0 + 0.5 * 26.25
    off = {time: abs(nodes[0] - end) for time, nodes in two_nodes([settled[0] - 3.0, settled[1] + 0.5]).items()}
    assert off[settled[0] - 3.0] > 0.5 > off[settled[1] + 0.5]
    assert block.rest.seconds is None and block.rest.why is not None


def test_a_warm_up_takes_watts_of_several_zones() -> None:
    case = parse_case(DIE, "die.yaml")
    found = warmup(case, 0.05, 20.0, load=[{"at_s": 0, "zones_W": {"core": 40, "io": 10}}], first_cells=40, grids=3)
    for place in ("core", "io"):
        curve, typed = found.curves["zone", place, "mean"], found.curves["zone", place, "power"]
        assert float(curve.value[-1]) == pytest.approx(curve.loaded_C, abs=0.02)
        assert float(typed.value[-1]) == pytest.approx({"core": 40.0, "io": 10.0}[place])


def test_nothing_is_settled_before_the_last_step_that_comes_after_all_times_told() -> None:
    """What is near its end at 290 s leaves it again at 300 s, when all goes off until 600 s."""
    case = parse_case(BLOCK, "block.yaml")
    steps = [{"at_s": 0, "share": 1.0}, {"at_s": 300, "share": 0.0}, {"at_s": 600, "share": 1.0}]
    found = warmup(case, 1.0, 290.0, load=steps, first_cells=12, grids=3)
    mean = found.curves["zone", "all", "mean"]
    assert float(mean.value[-1]) == pytest.approx(mean.loaded_C, abs=0.5) and mean.settled_s is None
    assert any("changes last at 600 s" in remark for remark in found.remarks)
    many = Load(np.arange(100.0), np.tile([[1.0], [0.0]], (50, 1)), (), True)
    assert unseen_until_s(many, 500.0) == 99.0  # told at one of the samples only, it may look as if it stood still


def test_steps_are_superposed_step_responses() -> None:
    """Duhamel's theorem (1833): of a linear stack each change of the load answers by itself."""
    case = parse_case(DIE, "die.yaml")
    field = solve_on(case, plan_grid(case, 300).grid(1))
    steps = planned(case, 1e-3, 20.0, None, [{"at_s": t, "share": s} for t, s in ((0, 0.5), (2, 1.5), (3.5, 0.0))]).load
    assert steps is not None
    plain, under = reader_of(case, field, 1e-3, 1), reader_of(case, field, 1e-3, 1, load=steps)
    small = model_of(plain, SHIFTS)
    times = np.array([0.01, 1.0, 2.0, 2.001, 3.0, 3.5, 3.7, 9.0])
    found = under.curves(small, times)
    for one, rest in ((("zone", "core", "mean"), 25.0), (("zone", "io", "mean"), 25.0), (("flow", "0"), 0.0)):
        rise = np.zeros(len(times))
        for begins, change in ((0.0, 0.5), (2.0, 1.0), (3.5, -1.5)):
            later = times > begins
            rise[later] += change * (plain.curves(small, times[later] - begins)[one] - rest)
        assert found[one] - rest == pytest.approx(rise, rel=1e-9, abs=1e-9)
    assert under.imbalance(small, times) < 1e-9


def test_watts_of_all_zones_are_the_load_itself() -> None:
    """A share of 1, the watts of the package, and the watts of its zones are one load, told in three ways."""
    for text in (DIE, DIE.replace("fluid_C: 25", "fluid_C: loop") + BLOCK[BLOCK.index("coolant_loop") :]):
        case = parse_case(text, "die.yaml")
        field = solve_on(case, plan_grid(case, 300).grid(1))
        plain, times = reader_of(case, field, 1e-3, 1), np.array([1e-3, 0.1, 10.0])
        wanted = plain.curves(model_of(plain, SHIFTS), times)
        at = np.array([0.0])
        for load in (
            Load(at, np.array([[50.0]]), (), False),
            Load(at, np.array([[40.0, 10.0]]), ("core", "io"), False),
        ):
            reader = reader_of(case, field, 1e-3, 1, load=load)
            small = model_of(reader, SHIFTS)
            found = reader.curves(small, times)
            for one, value in found.items():
                assert value == pytest.approx(wanted[one], abs=0.02), one
            assert reader.imbalance(small, times) < 1e-9


def test_one_step_of_all_power_is_the_plain_warm_up_to_the_last_bit() -> None:
    case = parse_case(DIE, "die.yaml")
    plain = warmup(case, 0.01, 10.0, first_cells=60, grids=3)
    step = warmup(case, 0.01, 10.0, first_cells=60, grids=3, load=[{"at_s": 0, "share": 1.0}])
    for one, curve in plain.curves.items():
        assert np.array_equal(curve.value, step.curves[one].value)
    assert step.load is None and step.rest == plain.rest


def test_the_same_bits_on_any_number_of_threads() -> None:
    import numba

    case = parse_case(DIE, "die.yaml")
    load = Load(
        np.arange(5.0),
        np.array([[40.0, 10.0], [5.0, 0.0], [40.0, 0.0], [0.0, 10.0], [1.0, 2.0]]),
        ("core", "io"),
        False,
    )
    before, found = numba.get_num_threads(), []
    try:
        for threads in (1, min(2, numba.config.NUMBA_NUM_THREADS)):
            numba.set_num_threads(threads)
            field = solve_on(case, plan_grid(case, 300).grid(1))
            reader = reader_of(case, field, 1e-2, 1, load=load)
            curves = reader.curves(model_of(reader, SHIFTS[:4]), np.array([0.5, 1.0, 2.5, 4.5]))
            found.append([curve.tobytes() for curve in curves.values()])
    finally:
        numba.set_num_threads(before)
    assert found[0] == found[1]


def test_leakage_that_is_switched_is_that_of_the_whole_model() -> None:
    """A straight law of leakage is followed by the small model at every share; the whole model is the referee."""
    case = parse_case(DIE.replace("in: die", "in: die\n    leakage: {at_C: 25, per_K: 0.01}"), "die.yaml")
    field = solve_on(case, plan_grid(case, 300).grid(1))
    steps = [{"at_s": 0, "share": 1.0}, {"at_s": 2, "share": 0}, {"at_s": 3, "share": 0.5}]
    load = planned(case, 1e-2, 6.0, None, steps).load
    assert load is not None
    times = np.array([0.01, 0.5, 2.0, 2.05, 3.0, 3.2, 6.0])
    reader = reader_of(case, field, 1e-2, 1, load=load)
    found = reader.curves(model_of(reader, SHIFTS), times)
    films = films_of(case, field.model, 1e-2, 1)
    whole = whole_curves(case, field.model, films, field.guess, times, 0.05, load=load)
    for number, (one, value) in enumerate(found.items()):
        doubt = float(whole.time_doubt[number].max())
        assert value == pytest.approx(whole.values[number] + whole.left[number], abs=3.0 * doubt + 0.01), one


@pytest.mark.slow
def test_what_bends_is_followed_through_the_steps() -> None:
    """Exponential leakage: the whole model on the first grid, whose difference is added; against it on the third."""
    case = parse_case(DIE.replace("in: die", LEAK), "die.yaml")
    steps = [{"at_s": 0, "share": 1.0}, {"at_s": 2, "share": 0.25}]
    found = warmup(case, 0.05, 6.0, load=steps, first_cells=100, grids=3, accuracy_K=1.0)
    assert found.held_K is not None and found.held_K > 0.2
    films = films_of(case, found.field.model, 0.05, 3)
    some = np.unique(np.linspace(0, len(found.times_s) - 1, 9).astype(int))
    whole = whole_curves(
        case, found.field.model, films, found.field.guess, found.times_s[some], 0.5, load=found.load
    )  # fmt: skip
    for number, (one, curve) in enumerate(found.curves.items()):
        apart = np.abs(whole.values[number] + whole.left[number] - curve.value[some])
        assert np.all(apart <= curve.half_width[some] + whole.time_doubt[number] + 1e-6), one


def test_a_long_log_of_what_bends_tells_how_far_it_may_be_off_or_is_refused_beyond_the_typed_power() -> None:
    """Silicon conducts worse when hot: held between rest and the typed load, which the load must not exceed then."""
    text = DIE.replace("{conductivity_W_mK: 120, density_kg_m3: 2330, heat_capacity_J_kgK: 712}", "silicon")
    case = parse_case(text, "die.yaml")
    times = np.arange(0.0, 60.0)
    watts = 25.0 + 24.0 * np.sin(times)[:, None] ** 3
    log = Load(times, watts, (), False, ends_s=60.0, source="power.csv")
    found = warmup(case, 0.05, load=log, first_cells=100, grids=3)
    assert found.held_K is None and found.times_s[-1] == 60.0
    assert all(curve.loaded is None and curve.settled_s is None for curve in found.curves.values())
    core = found.curves["zone", "core", "mean"]
    assert 0.0 < core.between_doubt.max() < 5.0
    hottest = float(times[np.argmax(watts)]) + 1.0
    assert abs(float(found.times_s[core.highest]) - hottest) <= 13.0  # of nine periods one of the higher ones
    with pytest.raises(ThermsimError, match="times what the case types for the package"):
        warmup(case, 0.05, load=Load(times, 1.5 * watts, (), False, ends_s=60.0), first_cells=100, grids=3)


def test_a_load_beyond_the_typed_one_is_followed_where_properties_change() -> None:
    """What is held still at 6 W says nothing of 120 W, which begin when these have settled; the end is exact."""
    text = BLOCK[: BLOCK.index("coolant_loop")].replace("1250, fluid_C: loop", "9000, fluid_C: 25").replace("250", "6")
    text = text.replace("{conductivity_W_mK: 1.0e5, density_kg_m3: 7500, heat_capacity_J_kgK: 500}", "silicon")
    case = parse_case(text.replace("[100, 100]", "[10, 10]").replace("at: volume", "at: bottom"), "block.yaml")
    steps = [{"at_s": 0, "package_W": 6.0}, {"at_s": 10, "package_W": 120.0}]
    found = warmup(case, 9.0, 40.0, load=steps, first_cells=12, grids=3, accuracy_K=9.0)
    curve = found.curves["zone", "all", "mean"]
    assert curve.loaded is not None and found.held_K is not None and found.held_K > 10.0
    assert float(curve.value[-1]) == pytest.approx(curve.loaded.value, abs=float(curve.half_width[-1]))


def test_told_times_keep_clear_of_changes_and_meet_each_of_few() -> None:
    case = parse_case(DIE, "die.yaml")
    load = planned(case, 1e-3, 100.0, None, [{"at_s": 0, "share": 1.0}, {"at_s": 10, "share": 0.5}]).load
    times = told_times([load], 1e-3, 100.0)
    assert np.isin([10.0, 100.0], times).all() and times[0] == 1e-3 and np.all(np.diff(times) > 0.0)
    assert not np.any((times > 10.0) & (times < 10.0 + 0.999e-3))
    assert np.sum((times > 10.0) & (times < 11.0)) > 20
    assert load_of_steps(case, planned_steps()) is None


def test_heat_beside_zones_that_a_load_of_zones_leaves_out_is_told() -> None:
    """A core of 4 x 6 of 10 x 8 mm2 makes 30 W of 50 W: 20 W are made where the load says nothing."""
    text = DIE.replace("in: die\n", "in: die\n    power_W: 50\n")
    text = text.replace("power_W: 40}", "power_W: 30}").replace(text[text.index("      - {zone: io") :], "cooling:\n")
    case = parse_case(text + DIE[DIE.index("  - {face: top") :], "die.yaml")
    model = build_model(case, plan_grid(case, 60).grid(1))
    of_zones = Load(np.array([0.0]), np.array([[30.0]]), ("core",), False)
    (told,) = remarks_of_load(case, of_zones, 1.0, model)
    assert "20 W that the case makes where no zone is" in told
    assert remarks_of_load(case, Load(np.array([0.0]), np.array([[30.0]]), (), False), 1.0, model) == []
    whole = parse_case(DIE, "die.yaml")
    both = Load(np.array([0.0]), np.array([[40.0, 10.0]]), ("core", "io"), False)
    assert remarks_of_load(whole, both, 1.0, build_model(whole, plan_grid(whole, 60).grid(1))) == []


def planned_steps() -> list:  # type: ignore[type-arg]
    from thermsim.case.vocabulary.warm_up import LoadStep

    return [LoadStep(at_s=0.0, share=1.0), LoadStep(at_s=5.0, share=1.0)]
