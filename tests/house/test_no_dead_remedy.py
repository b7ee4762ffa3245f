"""No dead remedy: what a message tells to do is done, and then it works; and no message is left untried."""

from __future__ import annotations

from functools import cache, partial
from pathlib import Path

import pytest
import remedies_of_answers
import remedies_of_benches
import remedies_of_built_options
import remedies_of_calls
import remedies_of_cases
import remedies_of_commands
import remedies_of_journals
import remedies_of_loads
import remedies_of_places
import remedies_of_responses
import remedies_of_runs
import remedies_of_runs_to_come
import remedies_of_slips
import remedies_of_solving
import remedies_of_stands_and_shares
import remedies_of_studies
import remedies_of_tables
import remedies_of_typed
from mistakes import ONE_MISTAKE
from remedies import QUOTED, SMALL, DeadRemedyError, Row, edited, is_told, quoted, refusal, refused, templates
from samples import CORNCRAKE

from thermsim.case.load import parse_case

ROWS: dict[str, list[Row]] = {
    "cases": remedies_of_cases.ROWS,
    "places": remedies_of_places.ROWS,
    "slips": remedies_of_slips.ROWS,
    "built options": remedies_of_built_options.ROWS,
    "stands and shares": remedies_of_stands_and_shares.ROWS,
    "calls": remedies_of_calls.ROWS,
    "responses": remedies_of_responses.ROWS,
    "files": remedies_of_commands.FILES,
    "numbers as typed": remedies_of_typed.ROWS,
    "solving": remedies_of_solving.ROWS,
    "answers": remedies_of_answers.ROWS,
    "journals": remedies_of_journals.ROWS,
    "loads": remedies_of_loads.ROWS,
    "studies": remedies_of_studies.ROWS,
    "tables": remedies_of_tables.ROWS,
    "benches": remedies_of_benches.ROWS,
    "runs to come": remedies_of_runs_to_come.ROWS,
    "runs": remedies_of_runs.ROWS,
}
LEAST_TEXTS = 250  # that the package tells: fewer would mean that the search for them went blind


@cache
def tried(kind: str, folder: Path) -> tuple[list[str], list[str]]:
    """What was told, and what turned out dead."""
    told, dead = [], []
    for number, row in enumerate(ROWS[kind]):
        here = folder / f"{kind}-{number}" / "work"
        here.mkdir(parents=True)
        try:
            told.append(" ".join(row.tried(here).split()))
        except DeadRemedyError as problem:
            dead.append(f"{kind}, row {number} ({row.told}): {problem}")
    return told, dead


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("remedies")


@pytest.mark.parametrize("kind", ROWS)
def test_every_remedy_works(kind: str, folder: Path) -> None:
    _, dead = tried(kind, folder)
    assert not dead, "\n\n".join(dead)


@cache
def commands_told(folder: Path) -> list[str]:
    """What command lines are told, each in a folder of its own."""
    told = []
    for number, row in enumerate(remedies_of_commands.ROWS):
        here = folder / f"told-{number}"
        here.mkdir()
        told.append(row.told_in(here))
    return told


@pytest.mark.slow
def test_every_command_that_a_message_gives_works(folder: Path) -> None:
    dead = []
    for number, row in enumerate(remedies_of_commands.ROWS):
        here = folder / f"typed-{number}"
        here.mkdir()
        try:
            row.tried(here)
        except DeadRemedyError as problem:
            dead.append(f"{row.line}: {problem}")
    assert not dead, "\n\n".join(dead)


def test_every_text_that_tells_a_remedy_is_tried(folder: Path) -> None:
    """Whoever adds a message adds a row to one of the tables `tests/shared/remedies_of_*.py`."""
    told = "\n".join(line for kind in ROWS for line in tried(kind, folder)[0])
    told += "\n" + "\n".join(commands_told(folder))
    found = list(templates())
    assert len(found) > LEAST_TEXTS
    missing = [f"{place}: {text}" for place, text in found if not is_told(text, told)]
    assert not missing, "no row tells\n" + "\n".join(missing)


def test_what_a_mistake_is_told_to_become_is_read() -> None:
    """Every mistake whose message quotes what to type, typed."""
    dead, count = [], 0
    for old, new, _, told in ONE_MISTAKE:
        text = edited(SMALL if old in SMALL else CORNCRAKE, ((old, new),))
        error = refused(partial(parse_case, text, "case.yaml", Path()))
        if QUOTED.search(str(error)):
            count += 1
            if still := refusal(partial(parse_case, quoted(text, error), "case.yaml", Path())):
                dead.append(f"{told}\n  then {still}")
    assert count > 5 and not dead, "\n".join(dead)


def test_a_message_without_a_row_is_found() -> None:
    """The control: a text that nobody was told is missed, one that was told is not."""
    told = "die remedy: give it a film\nother"
    assert is_told("{} remedy: give it a film", told)
    assert not is_told("{} remedy: give it a lid", told)
    assert not is_told("die{}other", told)  # no message reaches over lines
