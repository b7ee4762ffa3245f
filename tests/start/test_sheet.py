"""A sheet of measurements becomes the case that it describes; what is wrong is told with line and cell, all at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from thermsim.case.load import parse_case, read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.commands.main import commands
from thermsim.comparison.decision import scatter_of_comparison
from thermsim.errors import CaseError
from thermsim.start.sheet import SHEET, case_text

FILLED = {
    "part;substrate;laminate;;;;;;": "part;substrate;laminate;40;36;1,2;;;",
    "part;die;silicon;;;;;;": "part;die;silicon;14,2;11;780 um;0,77;0,78;",
    "part;lid;copper;;;;;;": "part;lid;copper;30;28;2,01;2,00;;16",
    "part;plate;copper;;;;;;": "part;plate;copper;40;40;3;;;",
    "heat;die;;": "heat;die;120,5;3",
    "cooling;top;water block;": "cooling;top;0,05 K/W;28",
    "bare board;": "bare board;26",
}


def filled(*edits: tuple[str, str]) -> str:
    text = SHEET
    for old, new in (*FILLED.items(), *edits):
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def made(folder: Path, text: str | bytes, name: str = "sheet.csv") -> Case:
    data = text if isinstance(text, bytes) else text.encode()
    (folder / name).write_bytes(data)
    return parse_case(case_text(folder / name))


def faults(folder: Path, text: str | bytes) -> list[str]:
    with pytest.raises(CaseError) as error:
        made(folder, text)
    return [str(fault).split("sheet.csv:")[1] for fault in error.value.faults]


def test_the_case_is_what_was_measured(tmp_path: Path) -> None:
    case = made(tmp_path, filled())
    substrate, die, lid, _ = case.parts
    assert [side.value for side in die.size_mm] == [14.2, 11.0]
    # The mean of 0.78, 0.77 and 0.78; of what a caliper of +-0.02 leaves alone, the half width is not below that.
    assert die.thickness_mm.value == pytest.approx(2.33 / 3)
    assert die.thickness_mm.plus_minus >= 0.02
    assert (substrate.thickness_mm.value, substrate.thickness_mm.plus_minus) == (1.2, 0.02)
    assert lid.weighed_g is not None and lid.weighed_g.value == 16.0
    assert case.heat[0].power_W is not None and case.heat[0].power_W.value == 120.5
    assert case.cooling[0].cooler_K_W is not None and case.cooling[0].cooler_K_W.value == 0.05
    assert (case.worth_K, case.one_mount_K, case.limits.reading_C) == (3.0, 0.8, 95.0)
    assert [joint.joint for joint in case.joints] == ["solder", "paste"]


def test_the_scatter_asked_for_is_that_of_a_case() -> None:
    """Two independent mounts differ by the root of 2 times as much, 19 times in 20 by 1.96 times that (quadrature)."""
    assert scatter_of_comparison(1.0) == pytest.approx(1.96 * 2**0.5, rel=1e-4)
    words = " ".join(SHEET.replace("\n#", "").split())
    assert "standard deviation of the mean reading of one mount in K" in words
    assert "differ by up to 2.8 times as much, 19 times in 20" in words


def test_a_sheet_with_the_half_width_of_before_is_told_what_to_write(tmp_path: Path) -> None:
    (told,) = faults(tmp_path, filled(("one mount;0.8", "scatter;1,5")))
    assert "write the row `one mount` with 0.7653" in told


@pytest.mark.parametrize("between", [";", "\t", ","])
def test_any_separator_says_the_same(tmp_path: Path, between: str) -> None:
    """In a sheet of commas a number with a decimal comma stands in quotes, as a table program writes it."""
    lines = filled().splitlines()
    cells = [[f'"{cell}"' if "," in cell and between == "," else cell for cell in line.split(";")] for line in lines]
    text = "\r\n".join(between.join(row) for row in cells)
    assert made(tmp_path, b"\xef\xbb\xbf" + text.encode(), "other.csv") == made(tmp_path, filled())


def test_every_mistake_is_told_with_line_and_cell(tmp_path: Path) -> None:
    text = filled(
        ("14,2;11", "14,2;eleven"),
        ("laminate", "laminat"),
        ("heat;die;120,5", "heat;dye;120,5"),
        ("part;plate", "prt;plate"),
        ("cooling;top", "cooling;tap"),
        ("16", "-16"),
        ("2,01;2,00", "2,01;two"),
    )
    lines = text.splitlines()
    wanted = [
        (next(n for n, line in enumerate(lines, 1) if words in line), cell, told)
        for words, cell, told in (
            ("substrate;", 3, "did you mean `laminate`?"),
            ("part;die", 5, "eleven"),
            ("part;lid", 9, "above 0"),
            ("part;lid", 7, "write the number in mm"),
            ("prt;", 1, "did you mean `part`?"),
            ("heat;dye", 2, "'dye'"),
            ("cooling;tap", 2, "top"),
        )
    ]
    found = faults(tmp_path, text)
    for line, cell, told in wanted:
        assert any(one.startswith(f"{line}:{cell}: ") and told in one for one in found), (line, cell, told, found)


@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (("14,2;11;", "14,2;;"), "`size_mm`"),
        (("120,5;3", ""), "the power is missing"),
        (("14,2;11;780 um;0,77;0,78;", ";;;;;"), "is missing"),
        (("caliper;0.02", "caliper;0.02;1"), "one more"),
        (("part;plate;copper;40;40;3;;;", "joint;more;silicone paste;"), "the top layer must be a part"),
    ],
)
def test_what_is_missing_or_too_much_is_told(tmp_path: Path, edit: tuple[str, str], told: str) -> None:
    assert any(told in one for one in faults(tmp_path, filled(edit)))


def test_a_caliper_that_is_no_number_is_told_once(tmp_path: Path) -> None:
    found = faults(tmp_path, filled(("caliper;0.02", "caliper;0.0.2")))
    assert [one.split(" ")[0] for one in found] == ["5:2:"]


def test_an_empty_sheet_tells_what_to_fill_in(tmp_path: Path) -> None:
    found = faults(tmp_path, SHEET)
    assert sum("is missing" in one for one in found) >= 6 and not any("Traceback" in one for one in found)


def test_a_file_of_another_kind_is_told(tmp_path: Path) -> None:
    assert "save the sheet as CSV" in faults(tmp_path, b"PK\x03\x04\x14\x00")[0]
    assert faults(tmp_path, "")


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16", "utf-16-le"])
def test_a_sheet_is_read_in_any_encoding_of_table_programs(tmp_path: Path, encoding: str) -> None:
    text = filled(("title;My chip", "title;M\xfcllers 0,78 \xb5m"))
    assert made(tmp_path, text.encode(encoding)).title == "M\xfcllers 0,78 \xb5m"


def test_a_comma_that_may_part_thousands_is_told(tmp_path: Path) -> None:
    """Beside decimal commas `14,000` is 14; in a sheet of points it is told, not guessed."""
    with_points = [(value, value.replace(",", ".")) for value in FILLED.values() if "," in value]
    (told,) = faults(tmp_path, filled(*with_points, ("top;0.05 K/W", "top;14,000")))
    assert "that may be 14.000 or 14000" in told


def test_the_command_writes_sheet_and_case(tmp_path: Path) -> None:
    def start(*words: object) -> str:
        run = CliRunner().invoke(commands, ["start", *map(str, words)])
        return run.output if run.exit_code == 0 else f"refused: {run.output} {run.exception}"

    sheet, case = tmp_path / "sheet.csv", tmp_path / "case.yaml"
    assert "--from-measurements" in start(sheet, "--sheet")
    assert sheet.read_text() == SHEET
    assert start(case, "--from-measurements", sheet).startswith("refused") and not case.exists()
    sheet.write_text(filled())
    assert f"thermsim predict {case}" in start(case, "--from-measurements", sheet)
    assert read_case(case).title == "My chip"
    assert "Other kinds: --like soldered-desktop, --like slice" in start(tmp_path / "y.yaml", "--like", "bare-die")
    assert "give one of them" in start(tmp_path / "x.yaml", "--like", "slice", "--sheet")
