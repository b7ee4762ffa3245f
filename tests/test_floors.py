"""The floors of the house: a file imports only from floors below its own, or from its own folder."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent / "thermsim"
FLOOR = {
    "errors": 0,
    "units": 0,
    "materials": 0,
    "case": 1,
    "model": 2,
    "solver": 3,
    "field": 4,
    "ladder": 4,
    "faces": 4,
    "summit": 4,
    "study": 5,
    "report": 5,
    "bench": 6,
    "proof": 6,
    "cli": 7,
    "studies": 7,
    "terminal": 7,
    "__main__": 8,
}
FILES = sorted(path for path in HOUSE.rglob("*.py") if path.relative_to(HOUSE).parts[0] != "__init__.py")


def room(path: Path) -> str:
    return path.relative_to(HOUSE).parts[0].removesuffix(".py")


def imported(path: Path) -> set[str]:
    """Dotted names under thermsim that a file imports, for types too, at the top and inside functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("thermsim"):
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.startswith("thermsim")}
    return {name.removeprefix("thermsim.") for name in found}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.relative_to(HOUSE).as_posix())
def test_imports_only_from_floors_below(path: Path) -> None:
    own = room(path)
    for name in imported(path):
        other = name.split(".")[0]
        if other in ("thermsim", "__version__", "_version"):
            continue
        assert other in FLOOR, f"{path.name} imports {name}, which stands on no floor"
        below = FLOOR[other] < FLOOR[own]
        same_folder = other == own
        same_floor = FLOOR[other] == FLOOR[own]
        assert below or same_folder or same_floor, (
            f"{path.name} (floor {FLOOR[own]}) imports {name} (floor {FLOOR[other]})"
        )


def test_there_are_no_cycles() -> None:
    """At the top of files: what is imported inside a function is looked up when it runs."""
    modules = {".".join(path.relative_to(HOUSE).with_suffix("").parts): path for path in FILES}
    edges = {name: set() for name in modules}
    for name, path in modules.items():
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("thermsim."):
                base = str(node.module).removeprefix("thermsim.")
                targets = [base] + [f"{base}.{alias.name}" for alias in node.names]
                edges[name] |= {target for target in targets if target in modules and target != name}
    done: set[str] = set()

    def visit(name: str, way: tuple[str, ...]) -> None:
        assert name not in way, " -> ".join((*way, name))
        if name not in done:
            for other in sorted(edges[name]):
                visit(other, (*way, name))
            done.add(name)

    for name in modules:
        visit(name, ())


def test_only_the_reader_of_cases_knows_pydantic() -> None:
    users = {room(path) for path in FILES if "pydantic" in path.read_text(encoding="utf-8")}
    assert users == {"case"}


def test_start_up_is_light() -> None:
    heavy = ("numba", "scipy", "matplotlib", "pydantic", "numpy")
    for name in ("cli.py", "__init__.py", "errors.py"):
        for node in ast.parse((HOUSE / name).read_text(encoding="utf-8")).body:
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not [found for found in names if found.split(".")[0] in heavy], f"{name} loads {names} at start-up"
