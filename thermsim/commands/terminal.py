"""What all commands of the terminal share: the case they are given, one line of progress, tables or JSON."""

from __future__ import annotations

import io
import math
import os
import shutil
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, TypeVar

import click

from thermsim.errors import WriteError
from thermsim.progress import Progress

if TYPE_CHECKING:
    from rich.console import Console
    from rich.status import Status
    from rich.text import Text

    from thermsim.case.vocabulary.schema import Case

Command = TypeVar("Command", bound=Callable[..., Any] | click.Command)

COMPILES_AFTER_S = 3.0
ASKS_AGAIN_S = 0.2  # between looks at whether numba compiles: it holds its lock for part of a second at a time


WIDEST_HELP = 100  # columns
NARROW = 60  # columns below which an option's words stand under it rather than beside it


class HelpText(click.HelpFormatter):
    """Help that keeps to the width of the terminal, down to 40 columns; click's own stops at 50."""

    def write_dl(self, rows: Iterable[tuple[str, str]], col_max: int = 30, col_spacing: int = 2) -> None:
        super().write_dl(list(rows), col_max if self.width >= NARROW else self.width // 4, col_spacing)


class HelpContext(click.Context):
    """A context whose help is as wide as the terminal, up to a width that is easy to read."""

    def make_formatter(self) -> click.HelpFormatter:
        return HelpText(width=min(shutil.get_terminal_size().columns, WIDEST_HELP) - 2)


class Commands(click.Group):
    """Commands whose list says of each the whole sentence; click's own cuts it where the line ends."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, one.get_short_help_str(limit=10_000)) for name, one in self.commands.items()])


class FiniteRange(click.FloatRange):
    """A number within limits, with or without a unit; neither `inf` nor `nan`, which Python reads as numbers.

    unit : that of the number; one of its kind may be typed behind it, as in a case file
    """

    def __init__(self, min: float | None = None, max: float | None = None, unit: str = "") -> None:
        super().__init__(min, max)
        self.unit = unit

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if isinstance(value, str) and self.unit:
            value = self._in_unit(value, param, ctx)
        found = super().convert(value, param, ctx)
        if not math.isfinite(found):
            self.fail(f"{value} is no finite number", param, ctx)
        return found

    def _in_unit(self, typed: str, param: click.Parameter | None, ctx: click.Context | None) -> float:
        from thermsim.case.typed.number_text import NotUnderstoodError, value_in

        try:
            return value_in(typed, "" if param is None else param.opts[-1], self.unit)
        except NotUnderstoodError as told:
            self.fail(f"{typed!r}: {told.reason or f'write a number in {self.unit}'}", param, ctx)


CASE = click.argument("case_file", metavar="CASE", type=click.Path(path_type=Path))
OPTION = click.option("--option", "option", metavar="NAME", help="Take this option of the case instead of its base.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON for programs instead of tables.")
MEMORY = click.option(
    "--memory", metavar="GB", type=FiniteRange(min=0.01), help="What grids may take (4, or most of what is free)."
)


SECONDS = FiniteRange(min=1e-7, unit="s")  # a time after a load came on


def accuracy_option(of: str) -> Callable[[Command], Command]:
    """`--accuracy`, with what it is of in this command."""
    return click.option("--accuracy", metavar="KELVIN", type=FiniteRange(min=1e-4, unit="K"), help=of)


def out_option(of: str) -> Callable[[Command], Command]:
    """`--out`, with what this command writes."""
    return click.option("--out", "folder", metavar="DIR", type=click.Path(path_type=Path), help=of)


def replace_option(of: str) -> Callable[[Command], Command]:
    """`--replace`, with what the folder loses by it."""
    return click.option("--replace", is_flag=True, help=of)


def case_of(path: Path, option: str | None) -> Case:
    """The case of a file, with one of its options made where one is asked for. Raises CaseError."""
    from thermsim.case.load import read_case
    from thermsim.case.options import with_option

    case = read_case(path)
    return case if option is None else with_option(case, option)


def tell_slips(case: Case) -> None:
    """Likely slips before a failure: what the solver complains of is often none of the physics."""
    told = [words for _, words in _grave_slips(case)]
    if told:
        click.echo("Likely slips of this case, which may be the reason:", err=True)
    for words in told:
        click.echo(f"  {words}", err=True)


def warn_of_slips(case: Case, options: bool = False) -> None:
    """Dangers and likely slips of a case (and of each of its options), on the side so that a result stays clean."""
    from thermsim.case.options import with_option

    told: set[str] = set()
    named = [
        ("", case),
        *((f"{one.option}: ", with_option(case, one.option)) for one in case.options_to_take if options),
    ]
    for name, one in named:
        for message, words in _grave_slips(one, name):
            if message not in told:
                told.add(message)
                click.echo(words, err=True)


def _grave_slips(case: Case, name: str = "") -> list[tuple[str, str]]:
    """What is more than a notice: the message alone, and a line with severity, place and remedy."""
    from thermsim.plausibility.likely_slips import slips_of

    return [
        (slip.message, f"{slip.severity.upper()}: {name}{slip.place}: {slip.message}; {slip.remedy}")
        for slip in slips_of(case)
        if slip.severity != "notice"
    ]


def console() -> Console:
    """A console that leaves a broken pipe to `main`; rich's own would end with exit code 1, as if all had failed."""
    from rich.console import Console

    class Terminal(Console):
        def on_broken_pipe(self) -> None:
            raise BrokenPipeError

    return Terminal()


def print_json(document: Any) -> None:
    """In letters where the terminal has them all, else with what JSON writes for a letter."""
    import json

    has_all_letters = (sys.stdout.encoding or "ascii").lower().startswith("utf")
    click.echo(json.dumps(document, indent=2, allow_nan=False, ensure_ascii=not has_all_letters))


def tell(found: Any, document: Callable[[Any], Any], as_json: bool) -> None:
    """A result as tables, or as the document that `document` makes of it."""
    if as_json:
        print_json(document(found))
        return
    from thermsim.report.text.shown import show

    show(found, console())


def tell_files(written: list[Path], folder: Path, as_json: bool, first: str | None = None) -> None:
    """How many files there are now; on the side where a document is printed. first : the one to open"""
    click.echo(f"{len(written)} files in {folder}" + (f": open {folder / first}" if first else ""), err=as_json)


def replace_letters() -> None:
    """A letter that the code page of the terminal or file lacks becomes a question mark, never a failure."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def nobody_reads() -> None:
    """The reader of a pipe went away (`| head`): no fault; keep the interpreter from flushing into it again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@contextmanager
def printing() -> Iterator[None]:
    """What is printed to a reader who may leave early: what follows is done all the same."""
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        nobody_reads()


def needs_folder(folder: Path | None, **given: bool) -> None:
    """Refuse options that act on the folder of `--out` where there is none."""
    for name in [name for name, is_given in given.items() if is_given and folder is None]:
        raise click.UsageError(f"--{name} acts on the folder of a result: give it by --out DIR")


def write_new(file: Path, text: str) -> None:
    """Write a file that is to be filled in or changed. Raises WriteError where there is one already."""
    try:
        with file.open("x", encoding="utf-8", newline="\n") as new:
            new.write(text)
    except FileExistsError:
        raise WriteError(f"{file} exists already", "choose another name: nothing is overwritten") from None
    except OSError as problem:
        raise WriteError(
            f"{file} cannot be written: {problem.strerror}", "choose a folder that you may write to"
        ) from None


_heard = False  # whether the interrupt key was pressed


def hear_interrupts() -> None:
    """From now on the interrupt key is remembered besides raising KeyboardInterrupt.

    Python, and compiled code that cannot raise, drop an exception that reaches them while they clean an object up or
    load a table ("Exception ignored in ..."), and the key is then as good as not pressed: progress asks again. Their
    report of it would only frighten: what the key does is said once, at the end.
    """

    def heard(number: int, frame: object) -> None:
        global _heard
        _heard = True
        raise KeyboardInterrupt

    def excepthook(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if not issubclass(kind, KeyboardInterrupt):
            sys.__excepthook__(kind, error, trace)

    def unraisablehook(dropped: sys.UnraisableHookArgs) -> None:
        if not issubclass(dropped.exc_type, KeyboardInterrupt):
            sys.__unraisablehook__(dropped)

    signal.signal(signal.SIGINT, heard)
    sys.excepthook, sys.unraisablehook = excepthook, unraisablehook


class _Running:
    """A line of words and the time that has gone by, which moves at every refresh however long a solve takes."""

    def __init__(self, text: str, since: float) -> None:
        self.text, self.since = text, since

    def __rich__(self) -> Text:
        from rich.text import Text

        gone = f"{time.monotonic() - self.since:.0f} s"
        return Text(f"{self.text} ({gone})" if self.text else gone)


class ProgressLine:
    """One line on the terminal that tells how far a study is; nothing where nobody watches.

    The first grid takes a fraction of a second unless the solver is compiled for this machine, which happens once:
    while that takes long, it is said, even where nobody watches.
    """

    def __init__(self, quiet: bool) -> None:
        self.quiet = quiet or not sys.stderr.isatty()
        self.status: Status | None = None
        self.since = time.monotonic()
        self._arm(COMPILES_AFTER_S)

    def _arm(self, seconds: float) -> None:
        self.timer = threading.Timer(seconds, self._compiling)
        self.timer.daemon = True

    def __enter__(self) -> Progress:
        if not self.quiet:
            from rich.console import Console

            self.status = Console(stderr=True).status(_Running("", self.since))
            self.status.start()
        self.timer.start()
        return self._say

    def __exit__(self, *_: object) -> None:
        self.timer.cancel()
        if self.status is not None:
            self.status.stop()

    def _say(self, text: str) -> None:
        if _heard:
            raise KeyboardInterrupt
        if self.status is not None:
            self.status.update(_Running(text, self.since))

    def _compiling(self) -> None:
        if is_compiling():
            click.echo("compiling the solver for this machine: at first use only, some 15 seconds", err=True)
        else:  # a long first grid, or the search for a limit
            self._arm(ASKS_AGAIN_S)
            self.timer.start()


def is_compiling() -> bool:
    """Whether numba compiles just now, in another thread than this one; it is not loaded for the question."""
    numba = sys.modules.get("numba.core.compiler_lock")
    if numba is None:
        return False
    lock = numba.global_compiler_lock._lock  # numba's own `is_locked` tells of the thread that asks
    if lock.acquire(blocking=False):
        lock.release()
        return False
    return True
