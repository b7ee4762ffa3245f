"""An empty table of runs for a case, to be printed and filled in: its options, mounts and readings stand there."""

from __future__ import annotations

from thermsim.bench.columns import bench_of
from thermsim.bench.next_runs.table_text import table_text
from thermsim.bench.runs import Run
from thermsim.case.vocabulary.schema import Case
from thermsim.comparison.choice import AS_IN_FILE
from thermsim.errors import CaseError

MOUNTS = 2  # of each option in an empty table: fewer tell nothing of how they scatter
ABOUT = """\
Measured runs of: {title}
One line a run. Lines that begin with # are not read; add lines, leave some out, put columns in any order.
An empty cell is what was not noted, never 0. A number may have a decimal comma, or a unit beside it: 90 F.
  option        what was in place: {base} is the base; the others are the options of the case
  mount         once that the cooler was put on: the same number for all runs until it comes off again
  on_load_min   how long the load had been on when the readings were noted, in minutes
  coolant_C, room_C   when the readings were noted
  package_W     power that the chip says it takes; score: of its work, more is better, in any unit
  fans_rpm, pump_percent, note   what else may have changed
  {readings}   the readings in C; the case says whether they are the highest, the last or the mean of the run
A unit may stand in a heading: coolant [F], package [mW].
All mounts of one option stand before those of the next, as where an option cannot be undone. Where all can, take turns:
  base, option, option, base. Then what drifts moves all of them alike.
Then, in the case: bench: {{runs: {file}}}"""


def empty_table(case: Case, file: str) -> str:
    """The text of a table of runs with a line for each mount, all of its readings empty.

    file : what the table will be called, as the case will name it

    Raises
    ------
    CaseError : the case has no readings
    """
    bench = bench_of(case)
    if faults := bench.check():
        raise CaseError(faults)
    options = [one for one in (None, *(option.option for option in case.options)) for _ in range(MOUNTS)]
    runs = [Run(f"r{number:02d}", option, str(number), number) for number, option in enumerate(options, start=1)]
    first, last = bench.readings[0], bench.readings[-1]
    readings = first if first == last else f"{first} to {last}"
    title = " ".join(case.title.split())
    about = ABOUT.format(title=title, base=AS_IN_FILE, readings=readings, file=file).splitlines()
    return table_text(runs, bench.readings, about, separator=";")
