"""Benches made up by the model itself: what a table of runs would look like if the truth were so, with a seed.

Somebody mounts the cooler some times for every option, and notes some runs of each mount. How a mount sits moves all
sensors and tilts them; runs of a mount scatter, and cores; coolant and load are never quite the same; what is noted
is noted with errors, and sensors show whole steps. How far each scatters is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from thermsim.bench.corrections import Warming
from thermsim.bench.next_runs.table_text import table_text
from thermsim.bench.runs import BenchSettings, Cuts, Run, Runs, Usual
from thermsim.bench.simulated.planted import AFTER, BEFORE, FAULTS, FaultName, Passing
from thermsim.bench.simulated.truth import Option, Truth, hidden_truth, places
from thermsim.bench.statistics.whole_steps import shown
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import ThermsimError
from thermsim.nearest_words import did_you_mean

Array = NDArray[np.float64]

USUAL_SCORE = 30_000.0
SCORE_NOISE = 0.001
COOLANT_NOISE_K, POWER_NOISE = 0.1, 0.005  # of what is noted
LAG_S = 20.0  # by which the coolant is noted before the readings, from none to twice that
ROOM_C, FANS_RPM = 23.0, 900.0
SCORE_BY_LOAD = 1.0 / 3.0  # exponent: power grows about as the third power of the clock


@dataclass(frozen=True)
class Habits:
    """How a bench is run, and how far everything on it scatters; standard deviations unless told otherwise.

    one_mount_K : of one mount; None draws it for every bench: 0.7 K times or over 1.6
    tilt : of sensors one half of the die apart, over that of the mount
    run_K, core_K : of the runs of a mount together, and of single readings
    coolant_K, load, room_K : largest deviation of coolant [K], load (share) and room [K] from run to run, all alike
    on_load_s : on load before a run is read, from and to
    cuts : how sensors cut to whole steps; step_K : of a reading whose case gives none
    """

    one_mount_K: float | None = None
    tilt: float = 0.3
    run_K: float = 0.28
    core_K: float = 0.3
    coolant_K: float = 4.0
    load: float = 0.03
    room_K: float = 1.5
    on_load_s: tuple[float, float] = (600.0, 1800.0)
    cuts: Cuts = "down"
    step_K: float = 1.0


USUAL_HABITS = Habits()


@dataclass(frozen=True, eq=False)
class SimulatedBench:
    """A bench that nobody has run.

    runs : as they would be read; csv : the table as text, with what it is in its first lines
    truth : what is really so; gains_K : what each option really bought over the base [K]
    one_mount_K : how far mounts really scatter [K]
    fault : what was planted, None for an honest bench; spoilt : names of the runs that it spoilt
    """

    runs: Runs
    csv: str = field(repr=False)
    truth: Truth = field(repr=False)
    seed: int
    one_mount_K: float
    gains_K: Mapping[str, float]
    fault: FaultName | None = None
    spoilt: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.csv


def simulate_bench(
    case: Case,
    options: Sequence[str] | None = None,
    *,
    mounts: int = 3,
    runs: int = 1,
    seed: int,
    habits: Habits = USUAL_HABITS,
    fault: FaultName | None = None,
    given: Mapping[Option, Mapping[str, float]] | None = None,
    really: Mapping[Option, Case] | None = None,
) -> SimulatedBench:
    """Make up a bench: draw what is so within the tolerances, and what runs of it would show.

    Parameters
    ----------
    options : that are run after the base; all of the case unless given
    mounts, runs : of every option, and of every mount
    seed : of all that is drawn, recorded in the table
    habits : how far mounts, runs and circumstances scatter
    fault : one of `thermsim.bench.simulated.planted.FAULTS`, planted in one run or from one run on
    given, really : what is so, instead of being drawn: see `hidden_truth`

    Raises
    ------
    what `hidden_truth` and `runs_of` raise
    """
    truth = hidden_truth(case, options, seed, given, really)
    return runs_of(truth, mounts=mounts, runs=runs, seed=seed, habits=habits, fault=fault)


def runs_of(
    truth: Truth, *, mounts: int = 3, runs: int = 1, seed: int, habits: Habits = USUAL_HABITS,
    fault: FaultName | None = None,
) -> SimulatedBench:  # fmt: skip
    """Runs of one truth; thousands of benches of a truth take no further solve.

    Raises ThermsimError: less than one mount or run; a fault that is not known; readings that no option has.
    """
    if mounts < 1 or runs < 1:
        raise ThermsimError(f"{mounts} mounts of {runs} runs are no bench", "give one or more of both")
    if fault is not None and fault not in FAULTS:
        raise ThermsimError(f"no fault is called {fault!r}{did_you_mean(fault, FAULTS)}", f"take one of {FAULTS}")
    if not truth.readings:
        raise ThermsimError("no reading is there in every option", "leave out the option that takes them away")
    drawn = _Draw(truth, habits, np.random.default_rng([seed, mounts, runs]))
    passings = drawn.passings(mounts, runs)
    chance = np.random.default_rng([seed, mounts, runs, 1])  # apart, so that all else is as without the fault
    at = int(chance.integers(len(passings) if fault in BEFORE else (len(passings) + 1) // 2))
    numbers: tuple[int, ...] = ()
    if fault is not None and fault in BEFORE:
        passings[at] = BEFORE[fault](passings[at], drawn.warming.rise_K)
        numbers = (at,)
    readings = drawn.readings(passings)
    if fault is not None and fault in AFTER:
        numbers = AFTER[fault](readings, at, chance)
    found = drawn.noted(passings, readings)
    gains = {name: truth.gain_K(name) for name in truth.options if name is not None}
    csv = table_text(found.runs, truth.readings, _about(truth, seed))
    spoilt = tuple(found.runs[number].name for number in numbers)
    return SimulatedBench(
        found, csv, truth, seed, drawn.one_mount_K, gains, fault, spoilt
    )  # fmt: skip


@dataclass
class _Draw:
    """One bench being drawn."""

    truth: Truth
    habits: Habits
    rng: np.random.Generator
    one_mount_K: float = field(init=False)
    warming: Warming = field(init=False)

    def __post_init__(self) -> None:
        given = self.habits.one_mount_K
        self.one_mount_K = float(0.7 * 1.6 ** self.rng.normal()) if given is None else given
        self.warming = Warming.of(self.truth.case, self.truth.responses[None])

    def passings(self, mounts: int, runs: int) -> list[Passing]:
        """Every run as it goes, mounts numbered through all options."""
        found = []
        for place, option in enumerate(self.truth.options):
            for mount in range(mounts):
                for _ in range(runs):
                    on_load_s = float(self.rng.uniform(*self.habits.on_load_s))
                    lag_K = self.warming.rate_K_s(on_load_s) * self._even(LAG_S, LAG_S)
                    found.append(
                        Passing(
                            option, 1 + mount + place * mounts, self._even(self.truth.coolant_C, self.habits.coolant_K),
                            self._even(1.0, self.habits.load), on_load_s, lag_K,
                        )
                    )  # fmt: skip
        return found

    def readings(self, passings: Sequence[Passing]) -> Array:
        """(runs, readings) what sensors show before they cut to steps [C]."""
        where = places(self.truth.case, self.truth.readings)
        where = where - where.mean(axis=0)
        sits: dict[int, Array] = {}
        rows = []
        for run in passings:
            if run.mount not in sits:
                even, *tilt = self.rng.normal(size=3)
                sits[run.mount] = self.one_mount_K * (even + self.habits.tilt * (where @ np.array(tilt)))
            full = self.truth.shows(run.option, run.coolant_C, run.load)
            row = run.coolant_C + run.settled * (full - run.coolant_C) + sits[run.mount]
            scatter = self.habits.run_K * self.rng.normal() + self.habits.core_K * self.rng.normal(size=len(row))
            rows.append(row + scatter)
        return np.array(rows)

    def noted(self, passings: Sequence[Passing], readings: Array) -> Runs:
        """What is written down of them."""
        settings = BenchSettings(cuts=self.habits.cuts, usual=Usual(fans_rpm=FANS_RPM))
        given = {one.reading: one.step_K or self.habits.step_K for one in self.truth.case.readings}
        steps = np.array([given[name] for name in self.truth.readings])
        values = np.stack([shown(row, steps, self.habits.cuts) for row in readings])
        runs = [self._run(number, run, row) for number, (run, row) in enumerate(zip(passings, values, strict=True))]
        return Runs("simulated runs", tuple(runs), settings)

    def _run(self, number: int, run: Passing, row: Array) -> Run:
        coolant_C = run.coolant_C - run.lag_K + COOLANT_NOISE_K * self.rng.normal()
        made_W = self.truth.makes_W(run.option, run.coolant_C, run.load) * (1.0 + POWER_NOISE * self.rng.normal())
        score = USUAL_SCORE * run.score * run.load**SCORE_BY_LOAD * (1.0 + SCORE_NOISE * self.rng.normal())
        return Run(
            f"r{number + 1:02d}", run.option, str(run.mount), number + 2, round(run.on_load_s / 60.0) * 60.0,
            round(coolant_C, 1) if run.notes_coolant else None, round(self._even(ROOM_C, self.habits.room_K), 1),
            round(made_W, 1), round(score), run.fans_rpm, None, "",
            dict(zip(self.truth.readings, (round(value, 6) for value in row.tolist()), strict=True)),
        )  # fmt: skip

    def _even(self, middle: float, half: float) -> float:
        return float(middle + half * self.rng.uniform(-1.0, 1.0))


def _about(truth: Truth, seed: int) -> list[str]:
    """What the table says of itself."""
    drawn = "within the tolerances of the case" if truth.seed is not None else "as the case says"
    return [
        "Nobody has measured this: made up by the model of thermsim, for trying out what runs can tell.",
        f"Case: {truth.case.title}. What is really so was drawn {drawn}; seed {seed}.",
    ]
