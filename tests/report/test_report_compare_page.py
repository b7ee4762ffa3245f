"""The page of a comparison fetches nothing and can be read without eyes; its files appear all or not at all."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from compare_samples import BOTH, OWN, comparison

from thermsim.case.load import parse_case
from thermsim.errors import WriteError
from thermsim.report.data.compare_result import CSV_HEAD, document
from thermsim.report.files import compare_export, export
from thermsim.report.page import report_page
from thermsim.report.page.page_tables import grids, uncertain
from thermsim.report.words.comparison import exact

FILES = {
    "report.html", "result.json", "gains.csv", "gains.png", "shares.png", "ladders.png", "versions.json",
    "case/case.yaml",
}  # fmt: skip


# ---- the page ---------------------------------------------------------------------------------------------------


class Page(HTMLParser):
    """What can be checked of a page without a browser."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


@cache
def page_text() -> str:
    found = comparison()
    return report_page.html(found, report_page.pictures(found))


def test_page_is_whole_and_fetches_nothing() -> None:
    page = Page(page_text())
    assert page.open == []
    assert page_text().startswith("<!doctype html>")
    assert not page.all("script") and not page.all("link") and not page.all("iframe")
    for image in page.all("img"):
        assert str(image["src"]).startswith(("data:image/svg+xml;base64,", "data:image/png;base64,"))
    assert all(str(link["href"]).startswith("#") for link in page.all("a"))
    assert "http" not in re.sub(r'src="data:[^"]*"', "", page_text())


def test_page_can_be_read_without_eyes() -> None:
    page = Page(page_text())
    assert page.all("html")[0]["lang"] == "en"
    assert len(page.all("h1")) == 1
    assert all(image["alt"] for image in page.all("img"))
    assert len(page.all("caption")) == len(page.all("table")) > 5
    assert all(cell.get("scope") in ("col", "row") for cell in page.all("th"))
    known = {attributes.get("id") for _, attributes in page.tags}
    assert {str(link["href"])[1:] for link in page.all("a")} <= known
    assert {section["aria-labelledby"] for section in page.all("section")} <= known
    alt = next(str(image["alt"]) for image in page.all("img"))
    assert "thicker lid: 4.3 K, from 2.9 to 5.6 K, worth it" in alt


def test_page_says_what_matters_in_this_order() -> None:
    text = page_text()
    parts = [
        "verdicts",
        "gains",
        "next",
        "sanity",
        "cautions",
        "doubts",
        "ladders",
        "maps",
        "others",
        "temperatures",
        "mesh",
        "inputs",
        "made",
    ]
    places = [text.index(f'<h2 id="{part}"') for part in parts]
    assert places == sorted(places)
    assert "no film &lt;at&gt; all" in text and "<at>" not in text
    assert "thermal shutdown" in text and "cannot be undone" in text
    assert "<code>worth it</code>" in text and "`" not in re.sub(r'src="data:[^"]*"', "", text)
    assert "lid.thickness_mm: 3 +- 0.1, measured" in text  # what the option changes


def test_inputs_are_listed_with_tolerance_or_as_exact() -> None:
    rows = {row[0]: row for row in uncertain(comparison()).rows if row[1] in ("all", "thicker lid")}
    assert rows[BOTH][1:5] == ("all", "9", "1", "W") and rows[BOTH][6] == "assumed"
    assert rows[OWN][1:5] == ("thicker lid", "3", "0.1", "mm") and rows[OWN][6] == "measured"
    base = dict(exact(comparison()))["base, as in the file"]
    assert "lid.thickness_mm 1.5 mm" in base and not any(line.startswith(BOTH) for line in base)


def test_grids_table_holds_the_differences() -> None:
    found = comparison(worth_K=None)
    (table,) = grids(found)
    assert len(table.rows) == len(found.base.steps)
    warmest = [max(step.answers["reading", "R big"], step.answers["reading", "R small"]) for step in
               (found.base.steps[-1], found.options[0].prediction.steps[-1])]  # fmt: skip
    assert table.rows[-1][1:3] == (f"{warmest[0]:.3f}", f"{warmest[0] - warmest[1]:.3f}")


# ---- files ------------------------------------------------------------------------------------------------------


@pytest.fixture
def plain_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page that takes no time to draw, where only files are looked at."""
    monkeypatch.setattr(compare_export, "html", lambda *_: "<!doctype html>")


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_files_and_what_they_hold(tmp_path: Path) -> None:
    found = comparison()
    written = compare_export.write(found, tmp_path / "deep" / "out")
    folder = tmp_path / "deep" / "out"
    assert {path.relative_to(folder).as_posix() for path in written} == set(files_in(folder)) == FILES
    made = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    assert made == document(found)
    with (folder / "gains.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert tuple(lines[0]) == CSV_HEAD
    assert (lines[0]["option"], lines[0]["temperature"]) == ("thicker lid", "warmest reading")
    assert [float(lines[0][key]) for key in ("gain_K", "low_K", "high_K", "coverage")] == [4.27, 2.91, 5.58, 0.9]
    assert len(lines) == 6
    assert all(
        (folder / name).read_bytes().startswith(b"\x89PNG") for name in ("gains.png", "shares.png", "ladders.png")
    )


@pytest.mark.usefixtures("plain_page")
@pytest.mark.parametrize("where", ["page", "late move"])
@pytest.mark.parametrize("stop", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_all_or_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop: BaseException, where: str) -> None:
    compare_export.write(comparison(), tmp_path)
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    stood = files_in(tmp_path)
    move, count = Path.replace, 0

    def failing_move(self: Path, target: Path) -> Path:
        nonlocal count
        count += 1
        if count == 10:
            raise stop
        return move(self, target)

    def failing_page(*_: object) -> str:
        raise stop

    if where == "page":
        monkeypatch.setattr(compare_export, "html", failing_page)
    else:
        monkeypatch.setattr(Path, "replace", failing_move)
    with pytest.raises(WriteError if isinstance(stop, OSError) else KeyboardInterrupt):
        compare_export.write(comparison(seconds=9.0), tmp_path)
    assert files_in(tmp_path) == stood
    assert not list(tmp_path.glob(".thermsim-*"))


@pytest.mark.usefixtures("plain_page")
def test_only_the_same_comparison_is_replaced(tmp_path: Path) -> None:
    found = comparison()
    compare_export.write(found, tmp_path)
    compare_export.check_target(found.case, tmp_path)
    compare_export.write(found, tmp_path)
    edited = parse_case(found.case.source_text.replace("value: 9,", "value: 8,"), "package.yaml")
    assert edited.title == found.case.title and edited.source_text != found.case.source_text
    with pytest.raises(WriteError, match="as its file was before"):
        compare_export.check_target(edited, tmp_path)
    compare_export.check_target(edited, tmp_path, replace=True)
    fewer = replace(found, options=found.options[:1])
    with pytest.raises(WriteError, match="another comparison"):
        compare_export.write(fewer, tmp_path)
    with pytest.raises(WriteError, match="another comparison"):
        compare_export.check_target(found.case, tmp_path, base="thicker lid")
    compare_export.write(fewer, tmp_path, replace=True)
    assert set(files_in(tmp_path)) == FILES


@pytest.mark.usefixtures("plain_page")
def test_a_stale_picture_goes_and_a_foreign_file_stays(tmp_path: Path) -> None:
    compare_export.write(comparison(), tmp_path)
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    plain = comparison(*(replace(one, contributions=()) for one in comparison().options))
    compare_export.write(plain, tmp_path)
    assert set(files_in(tmp_path)) == (FILES - {"shares.png"}) | {"notes.txt"}


@pytest.mark.usefixtures("plain_page")
def test_prediction_and_comparison_do_not_replace_one_another_unasked(tmp_path: Path) -> None:
    found = comparison()
    export.write(found.base, tmp_path)
    with pytest.raises(WriteError, match="a prediction of"):
        compare_export.check_target(found.case, tmp_path)
    compare_export.write(found, tmp_path, replace=True)
    assert set(files_in(tmp_path)) == FILES
    with pytest.raises(WriteError, match="a comparison of options"):
        export.write(found.base, tmp_path)
    export.write(found.base, tmp_path, replace=True)
    assert not {"report.html", "gains.csv"} & set(files_in(tmp_path))


def test_a_file_that_thermsim_did_not_write_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "report.html").write_text("mine", encoding="utf-8")
    for replacing in (False, True):
        with pytest.raises(WriteError, match=r"report\.html, which thermsim did not write"):
            compare_export.write(comparison(), tmp_path, replace=replacing)
    assert files_in(tmp_path) == {"report.html": b"mine"}
