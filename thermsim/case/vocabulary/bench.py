"""Measured runs in words: which tables hold them, and how they were noted."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from thermsim.case.vocabulary.quantities import Entry, Name


class NotedTo(Entry):
    """How closely the circumstances of a run are noted, each as a standard deviation."""

    coolant_K: Annotated[float, Field(ge=0.0, le=10.0)] = 0.1
    """the coolant"""
    power_percent: Annotated[float, Field(ge=0.0, le=20.0)] = 0.5
    """the power, in percent of it"""
    lag_s: Annotated[float, Field(ge=0.0, le=600.0)] = 20.0
    """how long before the readings the coolant was noted"""


class Usual(Entry):
    """What holds for a run whose line does not say it."""

    fans_rpm: Annotated[float, Field(ge=0.0)] | None = None
    """of the radiator"""
    pump_percent: Annotated[float, Field(ge=0.0, le=100.0)] | None = None
    """of its full speed"""


class Bench(Entry):
    """Measured runs of the chip, and how they were noted."""

    runs: Name | None = None
    """the table of runs (CSV), beside the case"""
    log: dict[Name, Name] = Field(default_factory=dict)
    """time logs (CSV) of runs, by the name of the run: `{r01: r01.csv}`"""
    columns: dict[Name, Name] = Field(default_factory=dict)
    """what headings of these tables stand for: `{Core 0: C0}`, or `{Vcore: not read}`"""
    shows: Literal["highest", "last", "mean"] = "highest"
    """what a reading is of its run; of a log the mean is that of its settled end"""
    cuts: Literal["nearest", "down"] = "nearest"
    """whether readings are rounded to the nearest step, or cut off to the one below"""
    noted_to: NotedTo = NotedTo()
    """how closely circumstances are noted"""
    usual: Usual = Usual()
    """what holds for a run that does not say it"""
