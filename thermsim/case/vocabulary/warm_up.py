"""How a case is followed in time: from when until when, and what load it carries over time."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from thermsim.case.vocabulary.quantities import Entry, Name

GIVEN_AS = ("share", "package_W", "zones_W")  # what a step of a load may say of its power

Positive = Annotated[float, Field(gt=0.0)]
Watts = Annotated[float, Field(ge=0.0)]


class LoadStep(Entry):
    """A load that begins at one time and lasts until the next step."""

    at_s: Annotated[float, Field(ge=0.0)]
    """when it begins; the first at 0"""
    share: Annotated[float, Field(ge=0.0)] | None = None
    """of all power of the case, 0 for none; leakage comes with it"""
    package_W: Watts | None = None
    """watts of the whole package as a meter tells them, leakage in them, spread as the powers of the case are"""
    zones_W: dict[Name, Watts] | None = None
    """watts of single zones, leakage in them; all others make none"""

    @model_validator(mode="after")
    def _one_way(self) -> LoadStep:
        if sum(getattr(self, key) is not None for key in GIVEN_AS) != 1:
            raise ValueError("a step of a load is a `share`, or `package_W`, or `zones_W`: give one of these")
        return self


class WarmUp(Entry):
    """What `thermsim warmup` follows; without `load` and `log` all power of the case from 0 on."""

    from_s: Positive | None = None
    """first time that is told; 0.001 unless given"""
    until_s: Positive | None = None
    """last time; 1000, or the end of the log, unless given"""
    settled_K: Positive | None = None
    """how near to its end an answer is called settled; 1 unless given"""
    load: Annotated[list[LoadStep], Field(min_length=1)] | None = None
    """steps that follow one another; the last of them lasts"""
    log: Name | None = None
    """CSV beside the case file: a column `time_s`, and `package_W` or a column of watts for each zone"""
    samples: Literal["averages", "points"] = "averages"
    """whether a line of the log holds until the next one, as averages do, or lines are joined by straight lines"""

    @model_validator(mode="after")
    def _one_load(self) -> WarmUp:
        if self.load is not None and self.log is not None:
            raise ValueError("a load is given as steps in `load`, or as a `log`: leave one of them out")
        if self.log is None and "samples" in self.model_fields_set:
            raise ValueError("`samples` says what the lines of a `log` are: leave it out, or give the `log`")
        return self
