"""What the documentation shows works: its code blocks run, its commands exist, its case is valid."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from thermsim.case.load import parse_case
from thermsim.commands.main import commands
from thermsim.mesh.predict import predict
from thermsim.report.data.compare_result import COMPARE_KEYS
from thermsim.report.data.keys import markdown

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)


def test_python_blocks_run_in_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    import matplotlib

    matplotlib.use("Agg")
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {"__name__": "__main__"}
    assert blocks("python")
    for block in blocks("python"):
        exec(compile(block, "README.md", "exec"), names)


def test_the_case_of_the_readme_is_valid_and_solves() -> None:
    for block in blocks("yaml"):
        assert predict(parse_case(block, "README.md"), accuracy_K=5.0).status == "accuracy held"


def test_shell_blocks_with_thermsim_commands_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(ROOT / "cases", tmp_path / "cases")
    monkeypatch.chdir(tmp_path)
    lines = [line for block in blocks("sh") for line in block.splitlines() if line.startswith("thermsim ")]
    assert lines
    for line in lines:
        words = shlex.split(line)[1:]
        extra = ["--accuracy", "2"] if words[0] in ("predict", "afford") else []
        extra = ["--accuracy", "5"] if words[0] == "sweep" else extra
        extra = (
            ["--accuracy", "5", "--samples", "256", "--option", "gallium film, 30 um"]
            if words[0] == "compare"
            else extra
        )
        done = CliRunner().invoke(commands, [*words, *extra])
        assert done.exit_code == 0, f"{line}\n{done.output}\n{done.exception}"


def test_every_command_and_case_is_documented() -> None:
    for name in commands.commands:
        assert f"`thermsim {name}" in README
    for path in (ROOT / "cases").glob("*.yaml"):
        assert f"`cases/{path.name}`" in README


def test_there_are_two_set_up_commands() -> None:
    section = README.split("\n## Set up\n", 1)[1].split("\n## ", 1)[0]
    lines = [line for block in re.findall(r"```sh\n(.*?)```", section, flags=re.DOTALL) for line in block.splitlines()]
    assert len(lines) == 2
    assert "predict cases/crooked-film.yaml" in lines[0]
    assert "pytest" in lines[1]


def test_the_keys_of_a_result_stand_in_the_readme() -> None:
    assert markdown().strip() in README
    assert markdown(COMPARE_KEYS).strip() in README


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.md")), ids=lambda path: path.name)
def test_no_path_of_this_machine(path: Path) -> None:
    assert str(ROOT.parent) + "/" not in path.read_text(encoding="utf-8")
