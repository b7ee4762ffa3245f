"""`same_height_by`: the part that makes up for what an option does to the height. Expected values by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples import CORNCRAKE
from stacks import case_of, film, part

from thermsim.case.geometry.heights import height_mm
from thermsim.case.load import parse_case, read_case
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import CaseError
from thermsim.plausibility.dimensions import height_of, levels_of

CASES = Path(__file__).parents[2] / "cases"
BASE = CORNCRAKE[: CORNCRAKE.index("options:")] if "options:" in CORNCRAKE else CORNCRAKE


def text(changes: str, by: str = "lid") -> str:
    return f"{BASE}options:\n  - option: tried\n    changes: {changes}\n    same_height_by: {by}\n"


def changed(changes: str, by: str = "lid") -> Case:
    return with_option(parse_case(text(changes, by), "f"), "tried")


def fault(changes: str, by: str = "lid") -> str:
    with pytest.raises(CaseError) as caught:
        parse_case(text(changes, by), "f")
    assert len(caught.value.faults) == 1
    (one,) = caught.value.faults
    line = text(changes, by).split("\n")[one.line - 1]
    assert line[one.column - 1 :] == by  # the place is the name that stands there
    assert one.message.startswith("option 'tried': ")
    return one.message


def thickness(case: Case, name: str) -> float:
    return next(one.thickness_mm.value for one in case.parts if one.part == name)


@pytest.mark.parametrize(
    ("changes", "lid_mm"),
    [
        ("{die.thickness_mm: 0.46}", 2.65),  # 2.45 + (0.66 - 0.46)
        ("{die: {thickness_mm: 0.86}}", 2.25),
        ("{die.thickness_mm: 0.46, plate.thickness_mm: 2.5}", 3.15),
        ("{solder.film_um: 40}", 2.65),  # 0.24 mm of solder less 0.04 mm
        ("{solder.film_um: {low: 20, high: 140, towards: +x}}", 2.61),  # a wedge counts by its mean, 80 um
        ("{solder: {resistance_mm2K_W: 5}}", 2.69),  # a joint given by its resistance alone counts nothing
        ("{solder.conductivity_W_mK: 30}", 2.45),
    ],
)
def test_the_part_makes_up_for_the_change(changes: str, lid_mm: float) -> None:
    case = changed(changes)
    assert thickness(case, "lid") == lid_mm  # to the last digit: no round-off is written
    assert height_mm(case) == pytest.approx(height_mm(parse_case(BASE)), abs=1e-9)


def test_the_new_thickness_has_no_tolerance_of_the_old_and_a_place() -> None:
    case = changed("{die.thickness_mm: 0.46}")
    number = next(n for n, one in enumerate(case.layers) if getattr(one, "part", "") == "lid")
    assert next(one for one in case.parts if one.part == "lid").thickness_mm.plus_minus == 0.0
    line, column = case.mark("layers", number, "thickness_mm")
    assert text("{die.thickness_mm: 0.46}").split("\n")[line - 1][column - 1 :] == "lid"


def test_layers_that_are_removed_count_too() -> None:
    """Without 0.24 mm of solder and 2.45 mm of lid the plate of 3 mm becomes 5.69 mm."""
    probes = "lid centre: remove, " if "lid centre" in BASE else ""
    case = changed(f"{{solder: remove, {probes}lid: remove}}", by="plate")
    assert thickness(case, "plate") == pytest.approx(5.69, abs=1e-9)


def test_a_part_that_is_not_there() -> None:
    assert "did you mean `lid`" in fault("{die.thickness_mm: 0.46}", "lidd")
    assert "is a joint" in fault("{die.thickness_mm: 0.46}", "solder")
    assert "removed by the option itself" in fault("{solder: remove, lid: remove}", "lid")


def test_a_part_that_would_vanish() -> None:
    message = fault("{die.thickness_mm: 3.11}")
    assert "add 2.45 mm" in message and "'lid'" in message


def test_a_part_whose_thickness_the_option_gives() -> None:
    assert "`lid.thickness_mm` gives the thickness" in fault("{die.thickness_mm: 0.46, lid.thickness_mm: 2.65}")
    assert "already" in fault("{die.thickness_mm: 0.46, lid: {thickness_mm: 2.65}}")


def test_other_faults_of_the_option_are_told_as_before() -> None:
    with pytest.raises(CaseError) as caught:
        parse_case(text("{die.thickness_mm: -1}"), "f")
    assert "must be above 0" in str(caught.value)


@pytest.mark.parametrize("path", sorted(CASES.glob("*.yaml")), ids=lambda path: path.stem)
def test_heights_are_those_that_inspect_adds_up(path: Path) -> None:
    case = read_case(path)
    for one in (case, *(with_option(case, option.option) for option in case.options)):
        assert height_mm(one) == pytest.approx(height_of(levels_of(one)).height_mm, abs=1e-9)


@pytest.mark.parametrize("dimensions", [2, 3])
@pytest.mark.parametrize(
    "joint",
    [
        {"film_um": {"edge": 90, "centre": 30}, "conductivity_W_mK": 5},
        {"film_um": {"low": 20, "high": 140, "towards": "+x"}, "conductivity_W_mK": 5},
        {"material": "gallium film"},
        {"material": "gallium film", "resistance_mm2K_W": 3},
        {"resistance_mm2K_W": 3},
        {"film_um": {"file": "film.csv"}, "conductivity_W_mK": 5},
    ],
)
def test_joints_count_as_inspect_counts_them(joint: dict[str, object], dimensions: int, tmp_path: Path) -> None:
    (tmp_path / "film.csv").write_text("30,50,70\n" * (dimensions * 2 - 3), encoding="utf-8")
    size: object = [10, 8] if dimensions == 3 else 10
    layers = [part("die", size, 0.5, 120.0), {"joint": "film", **joint}, part("lid", size, 2.0, 390.0)]
    case = case_of(layers, (), [film("top", 5000.0)], tmp_path, dimensions=dimensions)
    assert height_mm(case) == pytest.approx(height_of(levels_of(case)).height_mm, abs=1e-9)


def test_the_shipped_options_keep_their_height() -> None:
    demo = with_option(read_case(CASES / "crooked-film.yaml"), "thinner die, same height")
    assert thickness(demo, "lid") == 2.65
    case = read_case(CASES / "longer-thinner.yaml")
    found = [thickness(with_option(case, one.option), "lid") for one in case.options]
    assert found == [2.45, 2.65]
