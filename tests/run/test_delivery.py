"""Folders of results after a kill at any moment: the next use finds them whole, and nothing hidden stays.

What is expected follows from the file system alone: names and contents before and after.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from thermsim.report.files import delivery

OWN = ("a.txt", "b/b.txt", "stale.txt")
NEW = {"a.txt": "new a", "b/b.txt": "new b", "c.txt": "new c"}
OLD = {"a.txt": "old a", "b/b.txt": "old b", "stale.txt": "old", "foreign.txt": "of somebody else"}

KILLED = """
import os, sys
from pathlib import Path
from thermsim.report.files import delivery
folder, stop = Path(sys.argv[1]), int(sys.argv[2])
calls = 0
def count():
    global calls
    calls += 1
    if calls > stop:
        os._exit(9)
def counted(function):
    def called(*given, **named):
        count()
        return function(*given, **named)
    return called
Path.replace = counted(Path.replace)
Path.mkdir = counted(Path.mkdir)
Path.write_text = counted(Path.write_text)
def write(new):
    for name, text in NEW.items():
        (new / name).parent.mkdir(parents=True, exist_ok=True)
        (new / name).write_text(text, encoding="utf-8")
delivery.deliver(folder, OWN, lambda: None, write)
"""


def put(folder: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")


def content(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8")
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_killed_between_any_two_steps_the_next_use_finds_all_old_or_all_new(tmp_path: Path) -> None:
    program = tmp_path / "program.py"
    program.write_text(f"NEW, OWN = {NEW!r}, {OWN!r}\n{KILLED}", encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    all_new = NEW | {"foreign.txt": OLD["foreign.txt"]}
    seen = set()
    for stop in range(40):
        folder = tmp_path / f"{stop}"
        put(folder, OLD)
        code = subprocess.run([sys.executable, str(program), str(folder), str(stop)], env=environment).returncode
        delivery.try_out(folder, lambda: None)
        found = content(folder)
        assert found in (OLD, all_new)
        assert not list(folder.glob(".*"))
        seen.add("new" if found == all_new else "old")
        if code == 0:
            break
    assert code == 0 and seen == {"old", "new"} and stop > 8


def test_what_a_living_process_writes_is_left_alone(tmp_path: Path) -> None:
    with delivery.work_folder(tmp_path) as work:
        (work / "begun").touch()
        delivery.try_out(tmp_path, lambda: None)
        assert (work / "begun").exists()
        with delivery.work_folder(tmp_path):
            pass
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "name", [".thermsim-", ".thermsim-x-y-z", ".thermsim-other_machine-1-5-ab12", ".thermsim-abcd"]
)
def test_what_nobody_can_tell_the_owner_of_is_left_alone(name: str, tmp_path: Path) -> None:
    (tmp_path / name).mkdir()
    delivery.try_out(tmp_path, lambda: None)
    assert (tmp_path / name).exists()
