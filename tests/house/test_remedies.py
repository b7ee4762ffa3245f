"""Remedies name what is there: functions that `thermsim` exports, options that its commands have, keys of a case."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import pytest

import thermsim
from thermsim.commands.main import commands

PACKAGE = Path(thermsim.__file__).parent
ROOMS = {path.name for path in PACKAGE.iterdir() if path.is_dir()}


@cache
def messages() -> tuple[tuple[str, str], ...]:
    """Text that a person may read, with its place: every string of the package but for docstrings."""
    return tuple(_messages())


def _messages() -> Iterator[tuple[str, str]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        documents = {
            id(node.body[0].value)
            for node in ast.walk(tree)
            if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef))
            and node.body
            and isinstance(node.body[0], ast.Expr)
        }
        inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
        for node in ast.walk(tree):
            if isinstance(node, ast.JoinedStr):
                text = "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documents | inside:
                text = node.value
            else:
                continue
            yield f"{path.relative_to(PACKAGE)}:{node.lineno}", text


def test_there_are_messages() -> None:
    assert len(messages()) > 3000 and any("thermsim.inputs(" in text for _, text in messages())


def test_functions_that_messages_name_are_exported() -> None:
    """`name(...)` in a message, and `thermsim.name`, unless it is a module that is asked for by `python -m`."""
    named = re.compile(r"`(?:thermsim\.)?([a-z_]\w*)\(|\bthermsim\.([a-z_A-Z]\w*)\b(?!\.)")
    missing = []
    for place, text in messages():
        for found in named.finditer(text):
            name = found[1] or found[2]
            is_file = re.fullmatch(r"thermsim(\.\w+)+", text) or (found[2] is not None and name in ROOMS)
            if name not in thermsim.__all__ and not is_file:
                missing.append(f"{place}: {found.group()}")
    assert not missing, "\n".join(missing)


def test_everything_exported_is_there() -> None:
    for name in thermsim.__all__:
        assert getattr(thermsim, name) is not None


def test_options_that_messages_name_exist() -> None:
    known = {"--help", "--volume"}
    for command in commands.commands.values():
        known |= {word for option in command.params if isinstance(option, click.Option) for word in option.opts}
    missing = [
        f"{place}: {word}"
        for place, text in messages()
        for word in re.findall(r"(?<![\w-])--[a-z][a-z-]+", text)
        if word not in known and "dask" not in text
    ]
    assert not missing, "\n".join(missing)


@pytest.mark.parametrize("name", ["start", "inspect", "predict", "compare"])
def test_commands_that_messages_name_exist(name: str) -> None:
    assert name in commands.commands
