"""Measured runs of a chip on its bench: what was noted of each, and how notes are to be read.

A *run* is one load kept up until its readings were noted; a *mount* is once that the cooler was put on. Runs of one
mount share how it sits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from thermsim.printable import Printable

Shows = Literal["highest", "last", "mean"]
Cuts = Literal["nearest", "down"]


@dataclass(frozen=True)
class NotedTo:
    """How closely the circumstances of a run are noted, each as a standard deviation.

    coolant_K : of a coolant [K]; power_percent : of a power [%]; lag_s : how long before the readings the coolant was
        noted [s]
    """

    coolant_K: float = 0.1
    power_percent: float = 0.5
    lag_s: float = 20.0


@dataclass(frozen=True)
class Usual:
    """What holds for a run that does not note it; None where the case does not say either.

    fans_rpm : of the radiator [1/min]; pump_percent : of its full speed [%]
    """

    fans_rpm: float | None = None
    pump_percent: float | None = None


@dataclass(frozen=True)
class BenchSettings:
    """How the runs of a bench were noted.

    shows : what a reading is of its run: the highest, the last value, or the mean
    cuts : whether a reading is rounded to the nearest step or cut off to the one below
    noted_to, usual : see there
    one_mount_K : standard deviation of the mean reading of one mount about that of many mounts [K]; None where the case
        does not say
    """

    shows: Shows = "highest"
    cuts: Cuts = "nearest"
    noted_to: NotedTo = NotedTo()
    usual: Usual = Usual()
    one_mount_K: float | None = None


@dataclass(frozen=True)
class Settled:
    """How a run ended that was logged over time.

    after_s : from when on every reading stayed near its end [s], counted from the start of the load; None where the log
        ends before that can be said
    ends_s : length of the log [s]
    drift_K_min : the fastest that a reading still moved at the end [K/min], with its sign
    reading : which one that is
    """

    after_s: float | None
    ends_s: float
    drift_K_min: float
    reading: str


@dataclass(frozen=True)
class Run:
    """One measured run; whatever was not noted is None, and a reading that was not noted is absent.

    name : of the run; option : the change that was in place, None for the base
    mount : what the mount is called; the same for all runs between two times that the cooler was taken off
    line : of the table that tells of it
    on_load_s : how long the load had been on when the readings were noted [s]: the longer, the more has settled
    coolant_C, room_C : when the readings were noted [C]; package_W : all heat of the chip [W]
    score : of the work that was done meanwhile, in any unit, more is better
    fans_rpm : of the radiator [1/min]; pump_percent : of its full speed [%]
    note : in words
    readings : [C], by the name of the case's reading, in the order of the case
    settled : how it ended, of a run that was logged over time
    """

    name: str
    option: str | None
    mount: str
    line: int
    on_load_s: float | None = None
    coolant_C: float | None = None
    room_C: float | None = None
    package_W: float | None = None
    score: float | None = None
    fans_rpm: float | None = None
    pump_percent: float | None = None
    note: str = ""
    readings: Mapping[str, float] = field(default_factory=dict)
    settled: Settled | None = None


@dataclass(frozen=True)
class Runs(Printable):
    """All runs of a bench, in the order of their table.

    source : name of the table, as it stands in messages
    remarks : what was noticed in reading them that does not stop anything, in words
    """

    source: str
    runs: tuple[Run, ...]
    settings: BenchSettings = BenchSettings()
    remarks: tuple[str, ...] = ()

    @property
    def options(self) -> tuple[str | None, ...]:
        """Every option that was run, once, in the order of its first run; None for the base."""
        return tuple(dict.fromkeys(run.option for run in self.runs))

    def of(self, option: str | None) -> tuple[Run, ...]:
        """Runs of one option; of the base for None."""
        return tuple(run for run in self.runs if run.option == option)
