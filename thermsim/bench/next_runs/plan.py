"""Which runs to make next, in which order: as lines of a table that is to be filled in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from thermsim.bench.next_runs.table_text import table_text
from thermsim.bench.runs import Run, Runs
from thermsim.comparison.choice import AS_IN_FILE
from thermsim.errors import ThermsimError
from thermsim.rounding import two_digits_up

Option = str | None
COOLANT_NOTED_S = 180.0  # of load, after which a chip has settled over a coolant that is noted; common practice


@dataclass(frozen=True)
class Plan:
    """Runs to make next, in their order, without readings.

    readings : names of the columns to fill in; on_load_s : on load, before a run is read
    words : why in this order, and what to keep alike
    """

    runs: tuple[Run, ...]
    readings: tuple[str, ...]
    on_load_s: float
    words: tuple[str, ...]

    @property
    def csv(self) -> str:
        """The table, with what to keep alike in its first lines."""
        return table_text(self.runs, self.readings, self.words)

    def __str__(self) -> str:
        return self.csv


def plan(
    made: Runs | None,
    options: Sequence[Option],
    readings: Sequence[str],
    *,
    mounts: int,
    on_load_s: float = COOLANT_NOTED_S,
    runs: int = 1,
    goes_back: bool | None = None,
) -> Plan:
    """The order of runs that settles options best: one mount of each in turn, every other turn backwards.

    What drifts evenly (a sensor, a coolant that fouls, a hand that learns) then moves all options alike. Where an
    option cannot be undone, nothing can be taken in turns: all mounts of each option are made before the next. What is
    in place comes first.

    Parameters
    ----------
    made : runs that were made already; mounts and runs are numbered on from them
    options : None for the base; readings : of the case
    mounts, runs : more, of every option, and of every mount
    on_load_s : on load before a run is read, as `warmup` tells it: the loop must settle, unless the coolant is noted
    goes_back : whether every option can be undone; as the runs that were made show it unless given (False without any)

    Raises
    ------
    ThermsimError : no option, or less than one mount or run
    """
    if not options or mounts < 1 or runs < 1:
        raise ThermsimError(
            f"{mounts} mounts of {len(options)} options are no plan", "name options, and one mount or more of each"
        )
    turns = _went_back(made) if goes_back is None else goes_back
    measured = [] if made is None else _measured(made)
    in_place = next((run.option for run in reversed(measured) if run.option in options), options[0])
    options = [in_place, *(option for option in options if option != in_place)]
    if turns:
        order = [option for turn in range(mounts) for option in (options[::-1] if turn % 2 else options)]
    else:
        order = [option for option in options for _ in range(mounts)]
    first_mount, first_run = _next(made)
    found: list[Run] = []
    names = set() if made is None else {run.name for run in made.runs}
    for place, option in enumerate(order):
        for _ in range(runs):
            while f"r{first_run:02d}" in names:
                first_run += 1
            name = f"r{first_run:02d}"
            names.add(name)
            found.append(Run(name, option, str(first_mount + place), len(found) + 2, on_load_s))
    return Plan(
        tuple(found),
        tuple(readings),
        on_load_s,
        _words(options, turns, len({run.option for run in measured}) > 1, on_load_s),
    )


def _went_back(made: Runs | None) -> bool:
    """Whether an option was run again after another one."""
    if made is None:
        return False
    states = [run.option for run in _measured(made)]
    changes = [after for before, after in pairwise(states) if before != after]
    return len(changes) >= len(set(states))


def _measured(made: Runs) -> list[Run]:
    """Those that were made: a line without readings is still to come, and shows nothing."""
    return [run for run in made.runs if run.readings]


def _next(made: Runs | None) -> tuple[int, int]:
    """Numbers of the next mount and the next run."""
    if made is None:
        return 1, 1
    numbers = [int(run.mount) for run in made.runs if run.mount.isdecimal()]
    return max([*numbers, len({run.mount for run in made.runs})]) + 1, len(made.runs) + 1


def _words(options: Sequence[Option], turns: bool, changed: bool, on_load_s: float) -> tuple[str, ...]:
    names = [option or AS_IN_FILE for option in options]
    rest = f"{two_digits_up(on_load_s / 60.0).removesuffix('.0')} minutes on load"
    if_gone = (
        " The runs show no change undone so far: leave out what cannot be made again, and take turns where all can."
    )
    order = (
        f"{' and '.join(names)} in turns, every other turn backwards: what drifts then moves all of them alike."
        if turns
        else f"All mounts of {names[0]} first, then the next: what cannot be undone cannot be taken in turns."
        f"{if_gone if changed else ''}"
    )
    return (
        order,
        f"A new mount number each time that the cooler is taken off; read every run after {rest}, and note how long it "
        "was.",
        "Note the coolant when the readings are noted, and the package power; keep fans, pump and load as they were.",
    )
