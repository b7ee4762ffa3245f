"""What a bench shows: the fate of every run, what each change bought, and how it is spread over the readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from thermsim.bench.bought import Bought
from thermsim.bench.fates import Fate, Fates
from thermsim.bench.runs import Runs
from thermsim.bench.verdicts.verdict import Explanation
from thermsim.case.vocabulary.schema import Case
from thermsim.judgement.pattern import Pattern
from thermsim.printable import Printable

Pair = tuple[str | None, str | None]


@dataclass(frozen=True, eq=False)
class Judgement(Printable):
    """What `judge` found.

    case, runs : what was judged
    fates : of every run, and what they were put to
    bought : what each change bought; None where no two runs can be compared, or all are of one option
    patterns : of each change, in the order of `bought.changes`
    explained : by (option, against), what would explain a gain that is not as predicted
    why_not : why nothing is told of any change; empty where something is
    remarks : what else must be said
    """

    case: Case
    runs: Runs
    fates: Fates
    bought: Bought | None
    patterns: tuple[Pattern, ...]
    explained: Mapping[Pair, tuple[Explanation, ...]]
    why_not: str
    remarks: tuple[str, ...]

    @property
    def is_comparable(self) -> bool:
        """Whether any two runs can be compared."""
        return len(self.fates.kept) > 1

    def fate(self, run: str) -> Fate:
        """Of one run, by its name. Raises KeyError for one that is not in the table."""
        for one in self.fates.fates:
            if one.run.name == run:
                return one
        raise KeyError(run)

    def __repr__(self) -> str:
        kept = len(self.fates.kept)
        count = 0 if self.bought is None else len(self.bought.changes)
        changes = "1 change" if count == 1 else f"{count} changes"
        return f"Judgement of {len(self.runs.runs)} runs of {self.case.title}: {kept} comparable, {changes}"
