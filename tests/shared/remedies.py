"""Messages that tell what to do, and the doing of it: one row a kind of message.

A row provokes the message, says words that must stand in it, and does what the message says: an edit of the case, a
command line, a call. Where the message quotes what to type, that is taken from the message itself.
"""

from __future__ import annotations

import ast
import contextlib
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path
from unittest.mock import patch

import click
from samples import CORNCRAKE

import thermsim
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.commands.main import commands
from thermsim.errors import CaseError, ThermsimError
from thermsim.plausibility.measure import measure
from thermsim.plausibility.slip import Slip

PACKAGE = Path(thermsim.__file__).parent
# The sample with fewer zones and no options, which is read in a quarter of the time; and with one option.
SMALL = "\n".join(
    line
    for line in CORNCRAKE[: CORNCRAKE.index("options:")].split("\n")
    if not any(f"zone: {name}, corner" in line for name in ("C1", "C2", "C3", "C4", "C6", "C7", "cache"))
)
SMALL += "accuracy_K: 0.1\n"
OPTION = "plate straight on die"
ONE_OPTION = f"{SMALL}options:\n  - option: {OPTION}\n    changes:\n      lid: remove\n      paste: remove\n"
Edits = tuple[tuple[str, str], ...]


# What a message quotes that can be typed in place of what is wrong.
QUOTED = re.compile(
    r"did you mean `([^`]*)`|write `([^`]*)`|write (\{[^}]*\}|[-+.\w]*\d)(?:$|;)|"
    r"(?:point|names it|decimals|between them): ([-+.\w]+)$"
)


class DeadRemedyError(AssertionError):
    """A message that does not come, or a remedy that does not work."""


def edited(text: str, edits: Edits) -> str:
    for old, new in edits:
        if old not in text:
            raise DeadRemedyError(f"nothing reads {old!r} to be changed")
        text = text.replace(old, new, 1)
    return text


def refused(act: Callable[[], object]) -> Exception | None:
    """The error that is told where something is refused."""
    try:
        act()
    except (ThermsimError, click.ClickException, ValueError) as error:
        return error
    return None


def refusal(act: Callable[[], object]) -> str | None:
    """Its words."""
    error = refused(act)
    return error.format_message() if isinstance(error, click.ClickException) else error and str(error)


@dataclass(frozen=True)
class OfCase:
    """A case that is refused.

    broken : edits of a sound case; told : words of the refusal
    mended : edits of the broken one, `{0}` is what the first group of `told` (a pattern then) found; None for what the
    message itself quotes: `did you mean` and `write`, at the place of the fault
    """

    broken: Edits
    told: str
    mended: Edits | None = None
    base: str = SMALL
    files: dict[str, str | bytes] = field(default_factory=dict)
    then: dict[str, str | bytes] = field(default_factory=dict)  # files as they are mended
    limits: dict[str, int] = field(default_factory=dict)  # names of numbers of the package, smaller for a quick try

    def read(self, text: str, folder: Path) -> Case:
        return parse_case(text, "case.yaml", folder)

    def tried(self, folder: Path) -> str:
        with contextlib.ExitStack() as stack:
            for name, value in self.limits.items():
                stack.enter_context(patch(f"thermsim.{name}", value))
            return self._tried(folder)

    def _tried(self, folder: Path) -> str:
        write(folder, self.files)
        text = edited(self.base, self.broken)
        error = refused(lambda: self.read(text, folder))
        message = None if error is None else str(error)
        found = found_in(self.told, message)
        write(folder, self.then)
        if self.mended is None:
            text = quoted(text, error) if not self.then else text
        else:
            text = edited(text, tuple((old, filled(new, found)) for old, new in self.mended))
        still = refusal(lambda: self.read(text, folder))
        if still is not None:
            raise DeadRemedyError(f"{message}\n  is mended as it says, and then\n{still}")
        return str(message)


@dataclass(frozen=True)
class OfOption(OfCase):
    """An option of the sample that cannot be worked out, or that a case does not have."""

    base: str = ONE_OPTION
    option: str = "even"

    def read(self, text: str, folder: Path) -> Case:
        return with_option(super().read(text, folder), self.option)


@dataclass(frozen=True)
class OfSlip:
    """A likely slip that `inspect` tells, gone when what it says is done. Its words are `message; remedy`."""

    broken: Edits
    told: str
    mended: Edits
    base: str = SMALL
    option: str | None = None
    files: dict[str, str | bytes] = field(default_factory=dict)
    then: dict[str, str | bytes] = field(default_factory=dict)

    def slips(self, text: str, folder: Path) -> list[Slip]:
        case = parse_case(text, "case.yaml", folder)
        return list(measure(case if self.option is None else with_option(case, self.option)).slips)

    def tried(self, folder: Path) -> str:
        write(folder, self.files)
        text = edited(self.base, self.broken)
        before = self.slips(text, folder)
        said = [words for words in map(words_of, before) if re.search(self.told, words)]
        if not said:
            raise DeadRemedyError(f"{self.told!r} is told by none of {[words_of(one) for one in before]}")
        found = re.search(self.told, said[0])
        write(folder, self.then)
        after = self.slips(edited(text, tuple((old, filled(new, found)) for old, new in self.mended)), folder)
        places = {(one.place, one.message) for one in before}
        new = [words_of(one) for one in after if re.search(self.told, words_of(one)) or
               (one.severity != "notice" and (one.place, one.message) not in places)]  # fmt: skip
        if new:
            raise DeadRemedyError(f"{said[0]}\n  is mended as it says, and then\n{new[0]}")
        return said[0]


@dataclass(frozen=True)
class OfCommand:
    """A command line that is refused, or that warns, and the one that works instead."""

    line: str
    told: str
    instead: str
    files: dict[str, str | bytes] = field(default_factory=dict)
    then: dict[str, str | bytes] = field(default_factory=dict)  # files as they are mended

    def told_in(self, folder: Path) -> str:
        """What it says, without the trying: quick, where nothing is solved before it is refused."""
        write(folder, self.files)
        with contextlib.chdir(folder):
            message, _ = typed(self.line)
        found_in(self.told, message)
        return message

    def tried(self, folder: Path) -> str:
        message = self.told_in(folder)
        with contextlib.chdir(folder):
            found = found_in(self.told, message)
            write(folder, self.then)
            after, refused = typed(filled(self.instead, found))
        if refused or re.search(self.told, after):
            raise DeadRemedyError(f"{message}\n  then {self.instead!r} says\n{after}")
        return message


@dataclass(frozen=True)
class OfCall:
    """A call from Python that is refused, and what works instead; it takes what the groups of `told` find too."""

    broken: Callable[[Path], object]
    told: str
    mended: Callable[..., object]

    def tried(self, folder: Path) -> str:
        message = refusal(lambda: self.broken(folder))
        found = found_in(self.told, message)
        still = refusal(lambda: self.mended(folder, *found.groups()))
        if still is not None:
            raise DeadRemedyError(f"{message}\n  is mended as it says, and then\n{still}")
        return str(message)


Row = OfCase | OfOption | OfSlip | OfCommand | OfCall


def write(folder: Path, files: dict[str, str | bytes]) -> None:
    for name, text in files.items():
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())


def typed(line: str) -> tuple[str, bool]:
    """What a command line prints and tells, as one line, and whether it was refused. Words in `|` bars hold blanks."""
    words = [part.strip('"') for part in re.findall(r'"[^"]*"|\S+', line)]
    out = io.StringIO()
    refused = None
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        refused = refusal(lambda: commands(words, standalone_mode=False))
    return " ".join(f"{out.getvalue()} {refused or ''}".split()), refused is not None


def words_of(slip: Slip) -> str:
    return f"{slip.place}: {slip.message}; {slip.remedy}"


def found_in(told: str, message: str | None) -> re.Match[str]:
    found = None if message is None else re.search(told, message)
    if found is None:
        raise DeadRemedyError(f"{told!r} does not stand in what is told: {message}")
    return found


def filled(new: str, found: re.Match[str] | None) -> str:
    for number, group in enumerate(found.groups() if found is not None else ()):
        new = new.replace(f"{{{number}}}", group or "")
    return new


def quoted(text: str, error: Exception | None) -> str:
    """The text with what the messages quote written at the places they name, from the last to the first."""
    if isinstance(error, CaseError):
        for fault in reversed(error.faults):
            wanted = QUOTED.search(fault.message)
            if wanted is None:
                raise DeadRemedyError(f"nothing is quoted that could be typed: {fault}") from None
            word = next(group for group in wanted.groups() if group)
            lines = text.split("\n")
            line, start = lines[fault.line - 1], fault.column - 1
            stands = re.match(r"'[^']*'|\"[^\"]*\"|[^,\]}:#]+(?::(?! )[^,\]}#]*)?(?:,\d+)?", line[start:])
            if re.match(r"\w+: \S", word):  # a key with its value, in place of another one
                stands = re.match(r"\w+: *(?:\{[^}]*\}|\[[^\]]*\]|[^,}#]*)", line[start:])
            assert stands is not None, fault
            lines[fault.line - 1] = line[:start] + word + line[start + len(stands[0].rstrip()) :]
            text = "\n".join(lines)
    return text


# ------------------------------------------------------------------------------- what the package can tell

# Errors of Python's own that no user of a case or command meets.
OF_PYTHON = ("TypeError", "AssertionError", "KeyError", "NotImplementedError", "AttributeError", "RuntimeError")
ADVICE = re.compile(
    r"^[;:,.]? ?(?:write|leave|put|give|name|check|take|ask for|allow|decimals|that is|change|keep|narrow|did you)\b"
    r"(?! of\b| \[)"
    r"|did you mean|`--[a-z]"
)
LONGEST = 400  # letters of a message; a longer text is a file
REMEDY = " remedy: "  # between what is wrong and its remedy, as an error writes them


def templates() -> Iterator[tuple[str, str]]:
    """Texts of the package that tell what to do, with their place; `{}` where a value is filled in.

    Errors with their remedy, slips with theirs, faults of cases; and pieces of such texts that are put together
    elsewhere.
    """
    for path in sorted(PACKAGE.rglob("*.py")):
        room = path.relative_to(PACKAGE).as_posix()
        tree = ast.parse(path.read_text(encoding="utf-8"))
        seen = {id(inner) for node in ast.walk(tree) for inner in _never_told(node)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and (told := _told_by(node, room)):
                seen |= {id(inner) for part in told for inner in ast.walk(part)}
                for words in product(*map(_texts, told)):
                    text = (REMEDY if _name(node).endswith("Error") else "; ").join(words)
                    if len(text.replace("{}", "").split()) > 1:  # else all of it comes from somewhere else
                        yield f"{room}:{node.lineno}", text
        for node in ast.walk(tree):
            if isinstance(node, (ast.JoinedStr, ast.Constant)) and id(node) not in seen:
                seen |= {id(inner) for inner in ast.walk(node)}
                yield from (
                    (f"{room}:{node.lineno}", text)
                    for text in _texts(node)
                    if ADVICE.search(text) and len(text) < LONGEST
                )


def _never_told(node: ast.AST) -> Iterator[ast.AST]:
    """Docstrings, and the help of commands."""
    if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)):
        for one in node.body:
            if isinstance(one, ast.Expr):
                yield from ast.walk(one)
    elif isinstance(node, ast.Call) and _name(node).endswith(("option", "argument")):
        yield from ast.walk(node)


def _name(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")


def _told_by(call: ast.Call, room: str) -> list[ast.expr]:
    """Arguments of a call that tells a remedy, or a fault of a case, whose words are the remedy."""
    name = _name(call)
    if name.endswith("Error"):
        if name in OF_PYTHON or (name == "ValueError" and not room.startswith("case/vocabulary")):
            return []
        remedy = [one.value for one in call.keywords if one.arg == "remedy"]
        with_remedy = [*call.args, *remedy] if len(call.args) + len(remedy) == 2 else []
        return call.args[:1] if name in ("ValueError", "_RefusedError", "UsageError") else with_remedy
    if name == "Slip":
        return call.args[2:]
    if name in ("Fault", "fault", "add", "refuse") and room.startswith("case/"):
        return call.args[-1:]
    return []


def _texts(node: ast.AST) -> list[str]:
    """The ways in which an argument may read; `{}` for what another place says."""
    if isinstance(node, ast.JoinedStr):
        return ["".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)]
    if isinstance(node, ast.Constant):
        return [node.value] if isinstance(node.value, str) else ["{}"]
    if isinstance(node, ast.IfExp):
        return [*_texts(node.body), *_texts(node.orelse)]
    if isinstance(node, ast.BoolOp):
        return [text for value in node.values for text in _texts(value)]
    if isinstance(node, ast.BinOp):
        return [left + right for left in _texts(node.left) for right in _texts(node.right)]
    return ["{}"]


def is_told(template: str, corpus: str) -> bool:
    """Whether a text of the package stands in what was told (messages, one a line)."""
    parts = " ".join(template.lower().split()).split("{}")
    longest = max(parts, key=len)
    wanted = re.compile(".*?".join(map(re.escape, parts)))
    return any(wanted.search(line) for line in corpus.lower().split("\n") if longest in line)
