"""What the documentation shows works: code blocks run, commands exist, cases are valid, generated parts are made."""

from __future__ import annotations

import re
import runpy
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

import thermsim
from thermsim.case.load import parse_case
from thermsim.commands.main import commands
from thermsim.mesh.predict import predict

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
GENERATOR = runpy.run_path(str(ROOT / "docs" / "generated_parts.py"))
# Coarse answers are enough to see that a command runs.
QUICK = {
    "predict": ["--accuracy", "2"],
    "afford": ["--accuracy", "2"],
    "sweep": ["--accuracy", "5"],
    "warmup": ["--accuracy", "5", "--from", "1"],
    "step-response": ["--accuracy", "20", "--from", "10"],
    "compare": ["--accuracy", "5", "--samples", "64", "--option", "gallium film, 30 um"],
}


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def blocks(path: Path, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", path.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)


def pages_with(language: str) -> list[Path]:
    found = [path for path in PAGES if blocks(path, language)]
    assert found
    return found


def is_costly(block: str) -> bool:
    """A comparison of the demo takes half a minute, step responses of its stack a third of that."""
    return "thermsim.compare(demo" in block or "second-run" in block


def run_blocks(path: Path, found: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    import matplotlib

    matplotlib.use("Agg")
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {"__name__": "__main__", "thermsim": thermsim}
    for block in found:
        exec(compile(block, path.name, "exec"), names)


@pytest.mark.parametrize("path", pages_with("python"), ids=name_of)
def test_python_blocks_run_in_their_order(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run_blocks(path, [block for block in blocks(path, "python") if not is_costly(block)], monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize("path", [path for path in PAGES if any(map(is_costly, blocks(path, "python")))], ids=name_of)
def test_costly_python_blocks_run(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run_blocks(path, [block for block in blocks(path, "python") if is_costly(block)], monkeypatch)


@pytest.mark.parametrize("path", pages_with("yaml"), ids=name_of)
def test_cases_are_valid_and_solve(path: Path) -> None:
    for block in blocks(path, "yaml"):
        assert predict(parse_case(block, path.name), accuracy_K=5.0).status == "accuracy held"


# These take a minute together: in the fast tests it is only seen that they are understood.
COSTLY = [
    "thermsim afford cases/crooked-film.yaml",
    "thermsim compare cases/crooked-film.yaml",
    "thermsim predict cases/crooked-film.yaml --samples 256",
    "thermsim warmup cases/second-run.yaml --until 1h",
]


def shown_commands(path: Path) -> list[str]:
    """Every line of a page that begins with `thermsim` in a shell block, in its order."""
    return [line for block in blocks(path, "sh") for line in block.splitlines() if line.startswith("thermsim ")]


def arguments(line: str) -> list[str]:
    words = shlex.split(line)[1:]
    return [*words, *QUICK.get(words[0], [])]


@pytest.fixture
def beside_the_cases(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(ROOT / "cases", tmp_path / "cases")
    monkeypatch.chdir(tmp_path)


def runs(line: str) -> None:
    done = CliRunner().invoke(commands, arguments(line))
    assert done.exit_code == 0, f"{line}\n{done.output}\n{done.exception}"


@pytest.mark.usefixtures("beside_the_cases")
@pytest.mark.parametrize("path", [path for path in pages_with("sh") if shown_commands(path)], ids=name_of)
def test_shell_blocks_with_thermsim_commands_run(path: Path) -> None:
    for line in shown_commands(path):
        if line not in COSTLY:
            runs(line)
            continue
        name, *rest = arguments(line)
        commands.commands[name].make_context(name, rest)  # tells what it does not understand


@pytest.mark.slow
@pytest.mark.usefixtures("beside_the_cases")
@pytest.mark.parametrize("line", COSTLY)
def test_costly_commands_that_are_shown_run(line: str) -> None:
    assert any(line in shown_commands(path) for path in pages_with("sh"))
    runs(line)


def test_every_command_and_case_is_documented() -> None:
    readme = PAGES[0].read_text(encoding="utf-8")
    cases = (ROOT / "docs" / "reference" / "cases.md").read_text(encoding="utf-8")
    for name in commands.commands:
        assert f"`thermsim {name}" in readme
    for path in (ROOT / "cases").glob("*.yaml"):
        assert f"`cases/{path.name}`" in cases


def test_the_readme_is_short_and_has_two_set_up_commands() -> None:
    readme = PAGES[0].read_text(encoding="utf-8")
    assert len(readme.encode()) < 9000
    section = readme.split("\n## Set up\n", 1)[1].split("\n## ", 1)[0]
    lines = [line for block in re.findall(r"```sh\n(.*?)```", section, flags=re.DOTALL) for line in block.splitlines()]
    assert len(lines) == 2
    assert "predict cases/crooked-film.yaml" in lines[0]
    assert "pytest" in lines[1]


def test_every_generated_part_is_shown_once_and_up_to_date() -> None:
    """`python docs/generated_parts.py` renews them."""
    texts = [path.read_text(encoding="utf-8") for path in PAGES]
    assert sorted(name for text in texts for name in GENERATOR["PART"].findall(text)) == sorted(GENERATOR["PARTS"])
    assert [name_of(path) for path, text in zip(PAGES, texts, strict=True) if GENERATOR["renewed"](text) != text] == []


def test_the_python_page_lists_what_is_public() -> None:
    named = re.findall(r":: thermsim\.(\w+)", GENERATOR["PARTS"]["python interface"]())
    assert sorted(named) == sorted(set(thermsim.__all__) - {"__version__"})


@pytest.mark.parametrize("path", [*PAGES, ROOT / "DEVELOPERS.md", *(ROOT / "benchmarks").glob("*.md")], ids=name_of)
def test_no_path_of_this_machine(path: Path) -> None:
    assert str(ROOT.parent) + "/" not in path.read_text(encoding="utf-8")
