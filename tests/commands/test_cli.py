"""The command line as a person types it: exit codes, JSON, files, and no traceback for any mistake."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from thermsim.commands.main import main

CASES = Path(__file__).parents[2] / "cases"
SLAB = str(CASES / "bare-slab.yaml")


def thermsim(*arguments: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    """A command in this process, which has loaded all it needs; `as_a_process` where that is what is tried."""
    output, errors = (io.TextIOWrapper(io.BytesIO(), "utf-8", newline="\n", write_through=True) for _ in range(2))
    code = 0
    with contextlib.chdir(folder or Path.cwd()), pytest.MonkeyPatch.context() as patch:
        for name, value in (("stdout", output), ("stderr", errors), ("argv", ["thermsim", *arguments])):
            patch.setattr(sys, name, value)
        try:
            main()
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else int(left.code is not None)
    written = (stream.buffer.getvalue().decode("utf-8") for stream in (output, errors))  # type: ignore[attr-defined]
    return subprocess.CompletedProcess(arguments, code, *written)


def as_a_process(*arguments: str, folder: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "thermsim", *arguments],
        capture_output=True,
        text=True,
        encoding=more.get("PYTHONIOENCODING", "utf-8"),
        cwd=folder,
        env={**os.environ, "PYTHONUTF8": "1", "PYTHONPATH": str(CASES.parent), **more},
        check=False,
    )


def test_help_names_every_command() -> None:
    shown = as_a_process("--help")
    assert shown.returncode == 0
    for command in ("start", "inspect", "predict", "materials"):
        assert command in shown.stdout


def test_a_starter_case_runs_as_it_is(tmp_path: Path) -> None:
    assert thermsim("start", "mine.yaml", folder=tmp_path).returncode == 0
    assert thermsim("inspect", "mine.yaml", folder=tmp_path).returncode == 0
    predicted = thermsim("predict", "mine.yaml", "--accuracy", "2", folder=tmp_path)
    assert predicted.returncode == 0, predicted.stderr
    assert "hottest" in predicted.stdout
    again = thermsim("start", "mine.yaml", folder=tmp_path)
    assert again.returncode == 9
    assert "nothing is overwritten" in again.stderr


def test_json_goes_alone_to_standard_output() -> None:
    """By hand: 125 000 W/m2 x (0.005/400 + 1/5000) m2K/W = 26.5625 K over 25 C."""
    done = thermsim("predict", SLAB, "--json")
    answer = json.loads(done.stdout)
    assert answer["zones"][0]["mean_C"] == pytest.approx(51.5625, abs=1e-8)
    assert answer["heat_balance_relative"] < 1e-9
    assert answer["status"] == "accuracy held"


def test_out_writes_the_whole_result(tmp_path: Path) -> None:
    done = thermsim("predict", SLAB, "--out", str(tmp_path / "out"))
    assert done.returncode == 0, done.stderr
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"result.json", "zones.csv", "field.npz", "field.vtr", "versions.json", "case"} <= names
    assert {"stack.png", "active-face.png", "section.png", "ladder.png", "mesh.png"} <= names


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("title: x\nlayers: []\n", 3, "layers"),
        ("title: [unclosed\n", 3, "mine.yaml:"),
        ("", 3, "mine.yaml:1:1"),
    ],
)
def test_a_faulty_case_is_refused_with_its_place(text: str, code: int, words: str, tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(text, encoding="utf-8")
    done = thermsim("predict", "mine.yaml", folder=tmp_path)
    assert done.returncode == code
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_runaway_has_its_own_exit_code(tmp_path: Path) -> None:
    text = (
        Path(SLAB).read_text(encoding="utf-8").replace("at: bottom", "at: bottom\n    leakage: {per_K: 0.2, at_C: 25}")
    )
    (tmp_path / "hot.yaml").write_text(text, encoding="utf-8")
    done = thermsim("predict", "hot.yaml", folder=tmp_path)
    assert done.returncode == 5
    assert "runaway" in done.stderr
    assert "W" in done.stderr


def test_likely_slips_are_told_before_a_failure(tmp_path: Path) -> None:
    """Milliwatts typed as watts: the cooling is not what is wrong."""
    text = (
        Path(SLAB)
        .read_text(encoding="utf-8")
        .replace("power_W: 50", "power_W: 50000")
        .replace("at: bottom", "at: bottom\n    leakage: {per_K: 0.009, at_C: 25}")
    )
    assert "50000" in text
    (tmp_path / "hot.yaml").write_text(text, encoding="utf-8")
    done = thermsim("predict", "hot.yaml", folder=tmp_path)
    assert done.returncode == 5
    assert "did you mean 50 W" in done.stderr
    assert done.stderr.index("did you mean 50 W") < done.stderr.index("runaway")


def test_a_folder_is_refused_before_anything_is_solved(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    # This case fails while it is solved (exit 5): a refusal of the folder comes first.
    text = (
        Path(SLAB).read_text(encoding="utf-8").replace("at: bottom", "at: bottom\n    leakage: {per_K: 0.2, at_C: 25}")
    )
    (tmp_path / "hot.yaml").write_text(text, encoding="utf-8")
    assert thermsim("predict", "hot.yaml", "--out", "file", folder=tmp_path).returncode == 9


def test_a_result_is_replaced_by_another_only_if_told(tmp_path: Path) -> None:
    out = str(tmp_path / "out")
    quick = ("--accuracy", "5", "--out", out)
    film = str(CASES / "slice.yaml")
    assert thermsim("predict", SLAB, *quick).returncode == 0
    refused = thermsim("predict", film, *quick)
    assert refused.returncode == 9
    assert "A bare slab" in refused.stderr
    assert "--replace" in refused.stderr
    assert thermsim("predict", film, *quick, "--replace").returncode == 0


def test_a_body_without_way_out_is_named(tmp_path: Path) -> None:
    """A chip whose only neighbour under it was cut away by a void: it touches nothing."""
    text = """\
title: Cut off
layers:
  - {part: base, material: copper, size_mm: [20, 20], thickness_mm: 2}
  - part: gap
    material: epoxy
    size_mm: [20, 20]
    thickness_mm: 0.5
    inserts: [{material: void, corner_mm: [5, 5], size_mm: [10, 10]}]
  - part: chip
    material: silicon
    size_mm: [6, 6]
    thickness_mm: 0.7
heat: [{in: chip, zones: [{zone: chip, power_W: 5}]}]
cooling: [{face: bottom, film_W_m2K: 1000, fluid_C: 20}]
"""
    (tmp_path / "cut.yaml").write_text(text, encoding="utf-8")
    done = thermsim("predict", "cut.yaml", folder=tmp_path)
    assert done.returncode in (3, 4)
    assert "chip" in done.stderr
    assert "Traceback" not in done.stderr


def test_unknown_options_and_materials_give_the_nearest_word(tmp_path: Path) -> None:
    done = thermsim("predict", str(CASES / "crooked-film.yaml"), "--option", "galium film, 30 um")
    assert done.returncode == 3
    assert "gallium film, 30 um" in done.stderr
    done = thermsim("materials", "coper")
    assert done.returncode == 3
    assert "copper" in done.stderr


def test_too_little_memory_is_said_before_anything_is_solved() -> None:
    done = thermsim("predict", str(CASES / "crooked-film.yaml"), "--memory", "0.01")
    assert done.returncode == 8
    needed = re.search(r"`--memory ([0-9.]+)`", done.stderr)
    assert needed
    assert "GB" in done.stderr
    again = thermsim("predict", str(CASES / "crooked-film.yaml"), "--memory", needed[1])
    assert again.returncode == 0, again.stderr


@pytest.mark.slow
def test_first_use_says_that_it_compiles_and_needs_no_cache_folder(tmp_path: Path) -> None:
    first = as_a_process("predict", SLAB, NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    assert first.returncode == 0, first.stderr
    assert "compiling" in first.stderr
    again = as_a_process("predict", SLAB, NUMBA_CACHE_DIR=str(tmp_path / "cache"))
    assert again.stdout == first.stdout or "compiling" not in again.stderr


@pytest.mark.parametrize(
    ("command", "written"),
    [
        (["predict", SLAB], "result.json"),
        (["sweep", SLAB, "--vary", "top.fluid_C", "20", "30", "2"], "sweep.json"),
    ],
    ids=["predict", "sweep"],
)
def test_a_reader_of_a_pipe_who_leaves_loses_no_files(command: list[str], written: str, tmp_path: Path) -> None:
    """The reading end is closed before a line is printed, as `| head -0` would."""
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "thermsim", *command, "--out", str(tmp_path / "out")],
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUTF8": "1", "PYTHONPATH": str(CASES.parent)},
        check=False,
    )
    os.close(writing)
    assert done.returncode == 0
    assert "thermsim:" not in done.stderr and "Traceback" not in done.stderr and "roken" not in done.stderr
    assert (tmp_path / "out" / written).exists()


def test_an_interrupt_while_files_are_written_names_the_journal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from thermsim.commands.main import commands
    from thermsim.comparison import compare
    from thermsim.errors import InterruptedStudyError
    from thermsim.report.files import compare_export

    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(compare, "compare", lambda *_, **__: None)
    monkeypatch.setattr(compare_export, "write", interrupted)
    asked = ["compare", str(CASES / "crooked-film.yaml"), "--out", str(tmp_path / "out")]
    with pytest.raises(InterruptedStudyError) as told:
        commands(asked, standalone_mode=False)
    assert "study.sqlite" in told.value.remedy and "--resume" in told.value.remedy


INTERRUPTED = """
import thermsim.commands.main as commands
from thermsim.__main__ import main
commands.commands = lambda **_: exec("raise KeyboardInterrupt")
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no program ends by a signal")
def test_an_interrupt_inside_of_executed_text_ends_with_the_code_of_an_interrupt(tmp_path: Path) -> None:
    """Libraries make functions from text; `python -m` would end by the signal where the key is heard in there."""
    (tmp_path / "interrupted.py").write_text(INTERRUPTED, encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(tmp_path), *sys.path])}
    command = [sys.executable, "-m", "interrupted"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 130 and done.stderr == "thermsim: stopped; nothing half-written is left\n"


@pytest.mark.parametrize("page", ["ascii", "cp1252"])
def test_a_code_page_that_lacks_a_letter_is_no_failure(page: str, tmp_path: Path) -> None:
    text = Path(SLAB).read_text(encoding="utf-8")
    (tmp_path / "mine.yaml").write_text(re.sub(r"title: .*", "title: \u03a9 \u00e9 \u2500", text), encoding="utf-8")
    done = as_a_process("inspect", "mine.yaml", folder=tmp_path, PYTHONUTF8="0", PYTHONIOENCODING=page)
    assert done.returncode == 0 and "Traceback" not in done.stderr
    told = as_a_process("inspect", "mine.yaml", "--json", folder=tmp_path, PYTHONUTF8="0", PYTHONIOENCODING=page)
    assert json.loads(told.stdout)["title"] == "\u03a9 \u00e9 \u2500"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["predict", SLAB, "--replace"], "--out DIR"),
        (["compare", SLAB, "--resume"], "--out DIR"),
        (["compare", SLAB, "--workers", "2", "--dask", "here:1"], "give one of them"),
    ],
)
def test_options_that_cannot_go_together_are_refused(words: list[str], told: str) -> None:
    done = thermsim(*words)
    assert done.returncode == 2 and told in done.stderr


def test_a_danger_of_an_unknown_option_is_not_accepted() -> None:
    demo = str(CASES / "crooked-film.yaml")
    done = thermsim("compare", demo, "--accept-danger", "galium film, 30 um")
    assert done.returncode == 3 and "did you mean 'gallium film, 30 um'" in done.stderr.replace("`", "'")


@pytest.mark.parametrize("columns", [40, 47, 80, 200])
def test_help_stays_whole_at_every_width(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """No line wider than the terminal, down to 40 columns, and no word of it lost."""
    from click.testing import CliRunner

    from thermsim.commands.main import commands

    def shown(*words: str) -> str:
        return CliRunner().invoke(commands, [*words, "-h"], prog_name="thermsim").output

    for name in ("", *commands.commands):
        words = [name] if name else []
        monkeypatch.setenv("COLUMNS", "1000")
        whole = shown(*words)
        monkeypatch.setenv("COLUMNS", str(columns))
        text = shown(*words)
        assert max(map(len, text.splitlines())) <= columns, name
        assert sorted(text.split()) == sorted(whole.split()), name


def test_commands_that_solve_a_case_take_the_same_options() -> None:
    """Where an option makes sense it is there, by the same name and with the same words for its value."""
    from thermsim.commands.main import commands

    taken = {
        name: {one.opts[0]: one for one in command.params if one.param_type_name == "option"}
        for name, command in commands.commands.items()
    }
    solving = [name for name, options in taken.items() if "--accuracy" in options]
    assert {"predict", "compare", "sweep", "afford", "warmup"} <= set(solving)
    for name in solving:
        assert {"--json", "--option", "--accuracy", "--memory"} <= set(taken[name]), name
        assert ("--out" in taken[name]) == ("--replace" in taken[name]), name
    for option in ("--json", "--accuracy", "--memory", "--out", "--replace"):
        kinds = {(one[option].type.name, one[option].metavar) for one in taken.values() if option in one}
        assert len(kinds) == 1, (option, kinds)


def test_afford_takes_one_option_and_a_bound_of_memory(tmp_path: Path) -> None:
    from remedies_of_commands import TINY

    (tmp_path / "case.yaml").write_text(TINY, encoding="utf-8")
    done = thermsim("afford", "case.yaml", "--option", "thinner", "--json", folder=tmp_path)
    assert [one["option"] for one in json.loads(done.stdout)["afford"]] == ["thinner"]
    refused = thermsim("afford", "case.yaml", "--memory", "0.01", folder=tmp_path)
    assert refused.returncode == 8 and "--memory" in refused.stderr


def test_an_interrupt_that_the_interpreter_drops_is_heard_and_not_printed() -> None:
    """Python cannot raise out of the end of an object's life; any other fault that it drops there is told as ever."""
    text = """
import os, signal
from thermsim.commands import terminal

class Ends:
    def __init__(self, last):
        self.last = last
    def __del__(self):
        self.last()

terminal.hear_interrupts()
Ends(lambda: (os.kill(os.getpid(), signal.SIGINT), sum(range(100)))) and None
print("heard", terminal._heard)
Ends(lambda: {}["no such key"]) and None
"""
    ended = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True, timeout=60)
    assert ended.stdout == "heard True\n"
    assert "KeyboardInterrupt" not in ended.stderr
    assert "no such key" in ended.stderr


def test_the_line_of_progress_moves_while_a_solve_takes_long(monkeypatch: pytest.MonkeyPatch) -> None:
    from thermsim.commands import terminal

    shown = terminal._Running("314 of 1000 solves, about 2 min left", since=100.0)
    for now, told in ((100.0, "0 s"), (112.4, "12 s"), (190.0, "90 s")):
        monkeypatch.setattr("time.monotonic", lambda now=now: now)
        assert str(shown.__rich__()) == f"314 of 1000 solves, about 2 min left ({told})"
