"""The floors of the house: a file imports only from its own room and from rooms that stand below it.

The rooms and their order stand in one place, the table "Floors" of DEVELOPERS.md. Imports inside functions and for
types count like any other, and there is no exemption.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import pytest

HOUSE = Path(__file__).parents[2] / "thermsim"
GROUND = ("errors", "units", "rounding", "progress", "printable")  # single files below all rooms
MOST_FILES = 13  # of one room: what can still be seen at a glance
FILES = sorted(HOUSE.rglob("*.py"))
MODULES = {
    ".".join(path.relative_to(HOUSE.parent).with_suffix("").parts).removesuffix(".__init__"): path for path in FILES
}


def order() -> dict[str, int]:
    """Rooms and single files of the table in DEVELOPERS.md, from the ground up, with their floors."""
    text = (HOUSE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.split("\n## Floors\n", 1)[1].split("\n## ", 1)[0]
    names = re.findall(r"^\| `([\w/.]+)` \|", table, flags=re.MULTILINE)
    return {name.strip("/").removesuffix(".py").replace("/", "."): floor for floor, name in enumerate(names)}


def room(module: str) -> str:
    """The folder that a module lies in, or the module itself where it lies in none."""
    inside = module.removeprefix("thermsim").removeprefix(".")
    is_folder = MODULES[module].name == "__init__.py"
    return inside if is_folder or "." not in inside else inside.rpartition(".")[0]


def imported(path: Path) -> set[str]:
    """Modules of the house that a file imports: at its top, inside functions, and for types."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports relatively"
            base = node.module or ""
            found |= {f"{base}.{alias.name}" if f"{base}.{alias.name}" in MODULES else base for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name in MODULES} - {"thermsim"}  # of the package itself only its version


@pytest.mark.parametrize(
    "module", sorted(name for name, path in MODULES.items() if path.parent != HOUSE or path.stem in GROUND)
)
def test_imports_only_from_rooms_below(module: str) -> None:
    if not MODULES[module].read_text(encoding="utf-8"):
        return  # a folder of rooms, not a room
    floors, own = order(), room(module)
    assert own in floors, f"the room `{own}` has no floor in DEVELOPERS.md"
    for name in imported(MODULES[module]):
        other = room(name)
        assert other in floors, f"{module} imports {name}, which stands on no floor"
        assert other == own or floors[other] < floors[own], f"{module} imports {name}, which stands above it"


def at_run_time(path: Path) -> dict[str, set[str]]:
    """Names that a file takes from each module of the house, but those it takes for types only."""
    found: dict[str, set[str]] = defaultdict(set)

    def visit(node: ast.AST) -> None:
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            return
        if isinstance(node, ast.ImportFrom) and node.module in MODULES:
            found[node.module] |= {alias.name for alias in node.names}
        for child in ast.iter_child_nodes(node):
            visit(child)

    visit(ast.parse(path.read_text(encoding="utf-8")))
    return found


def functions(names: set[str]) -> set[str]:
    """Those that are neither classes nor constants."""
    return {name for name in names if name.islower()}


def test_reports_do_not_solve() -> None:
    """No report takes a function from the solver, or from a module that solves: it prints what a study has found."""
    taken = {module: at_run_time(path) for module, path in MODULES.items()}

    def solves(module: str, way: tuple[str, ...] = ()) -> bool:
        calls = [other for other, names in taken[module].items() if functions(names) and other not in way]
        return any(room(other) == "solver" or solves(other, (*way, module)) for other in calls)

    assert solves("thermsim.mesh.predict")  # the rule can see one that does
    for module in (one for one in MODULES if one.startswith("thermsim.report.")):
        for other, names in taken[module].items():
            if not other.startswith("thermsim.report.") and functions(names):
                assert not solves(other), f"{module} takes {functions(names)} from {other}, which solves"


def test_every_floor_is_lived_on() -> None:
    assert set(order()) <= {room(module) for module in MODULES}


def test_there_are_no_cycles() -> None:
    done: set[str] = set()

    def visit(name: str, way: tuple[str, ...]) -> None:
        assert name not in way, " -> ".join((*way, name))
        if name not in done:
            for other in sorted(imported(MODULES[name]) - {name}):
                visit(other, (*way, name))
            done.add(name)

    for name in MODULES:
        visit(name, ())


def test_a_room_can_be_seen_at_a_glance() -> None:
    rooms = defaultdict(list)
    for path in FILES:
        if path.name != "__init__.py":
            rooms[path.parent].append(path.name)
    crowded = {folder.relative_to(HOUSE.parent).as_posix(): len(files) for folder, files in rooms.items()}
    assert not {folder: count for folder, count in crowded.items() if count > MOST_FILES}


def test_only_the_vocabulary_of_cases_knows_pydantic() -> None:
    users = {path.relative_to(HOUSE).parts[0] for path in FILES if "pydantic" in path.read_text(encoding="utf-8")}
    assert users == {"case"}


def test_start_up_is_light() -> None:
    heavy = ("numba", "scipy", "matplotlib", "pydantic", "numpy", "yaml", "rich", "jinja2")
    for path in [
        HOUSE / "__init__.py",
        HOUSE / "errors.py",
        HOUSE / "printable.py",
        *(HOUSE / "commands").glob("*.py"),
    ]:
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            loaded = [found for found in names if found.split(".")[0] in heavy]
            assert not loaded, f"{path.name} loads {loaded} at start-up"


def test_what_predicts_loads_no_linear_algebra() -> None:
    """numba alone would ask for scipy's, though no kernel uses it: a tenth of the time of a whole prediction."""
    code = "import sys; import thermsim.mesh.predict; print(sorted(sys.modules))"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=HOUSE.parent)
    assert "'numba.np.arraymath'" in told.stdout  # it has asked already
    assert "'scipy.linalg'" not in told.stdout
