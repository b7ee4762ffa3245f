"""What is said of command lines, and what to type instead: one row a kind of message."""

from __future__ import annotations

import json
from pathlib import Path
from unittest.mock import patch

from remedies import OfCall, OfCommand, Row

from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case
from thermsim.report.files import compare_export, export, sweep_export, warmup_export
from thermsim.report.page import proof_page

TINY = """\
title: A chip in a slice
dimensions: 2
depth_mm: 10
layers:
  - {part: chip, material: silicon, size_mm: 10, thickness_mm: 0.7}
  - {joint: paste, resistance_mm2K_W: {value: 8, plus_minus: 5}}
  - {part: plate, material: copper, size_mm: 20, thickness_mm: 3}
heat:
  - in: chip
    zones:
      - {zone: core, corner_mm: 4, size_mm: 2, power_W: 20}
      - {zone: edge, corner_mm: 6, size_mm: 4, power_W: 5}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
readings:
  - {reading: sensor, zone: core}
limits: {reading_C: 90}
accuracy_K: 1
options:
  - option: thinner
    changes: {chip.thickness_mm: 0.4}
"""
CASE = {"case.yaml": TINY}
NO_OPTION = TINY[: TINY.index("options:")]
WHOLE = {
    "case.yaml": """\
title: A chip on a plate
layers:
  - {part: chip, material: silicon, size_mm: [10, 10], thickness_mm: 0.7}
  - {joint: paste, resistance_mm2K_W: 8}
  - {part: plate, material: copper, size_mm: [20, 20], thickness_mm: 3}
heat:
  - {in: chip, zones: [{zone: core, corner_mm: [4, 4], size_mm: [2, 2], power_W: 20}]}
cooling:
  - {face: top, film_W_m2K: 9000, fluid_C: 25}
"""
}


def command(line: str, told: str, instead: str, **more: dict[str, str | bytes]) -> OfCommand:
    return OfCommand(line, told, instead, {**CASE, **more.get("files", {})}, more.get("then", {}))


OPTIONS: list[OfCommand] = [
    command(
        "predict case.yaml --replace",
        "--replace acts on the folder of a result: give it by --out DIR",
        "predict case.yaml",
    ),
    command("compare case.yaml --workers 2 --dask here:1", "give one of them", "inspect case.yaml"),
    command(
        "warmup case.yaml --from 0.01 --until 0.02 --accuracy 5",
        r"no temperature is settled within the 0.02 s followed: follow it until about 5 times the longest time constant"
        r", `--until (\S+)`",
        "warmup case.yaml --from 0.01 --until {0} --accuracy 5",
    ),
    command(
        "warmup case.yaml --points",
        "--points says what the lines of a log are: give --load, or `log` in the case",
        "warmup case.yaml --points --load power.csv --from 0.1 --accuracy 5",
        files={"power.csv": "time_s,package_W\n0,10\n1,9\n2,8\n"},
    ),
    command(
        "warmup case.yaml --all-options --option thinner",
        "--all-options takes every option: leave out --option, or name the few you want",
        "warmup case.yaml --all-options --from 1 --until 10 --accuracy 5",
    ),
    command(
        "compare case.yaml --out new --resume --replace",
        "--resume goes on with the journal in DIR, --replace begins anew: give one of them",
        "inspect case.yaml",
    ),
    command(
        "prove --out case.yaml",
        "case.yaml cannot be written: .*choose another folder",
        "materials",
    ),
    command(
        "compare case.yaml --base thinner --option thinner",
        "'thinner' is the base: name other options, or none for all",
        "inspect case.yaml",
    ),
    command("predict case.yaml --option thiner", "did you mean `(thinner)`", "predict case.yaml --option {0}"),
    command(
        "compare case.yaml --out new --resume",
        "no journal in new to go on with .*check the name, or leave out --resume",
        "inspect case.yaml",
    ),
    OfCommand(
        "compare case.yaml",
        "add them, such as `(options: .*)`",
        "inspect case.yaml --option thinner",
        {"case.yaml": NO_OPTION},
        {"case.yaml": f"{NO_OPTION}options: [{{option: thinner, changes: {{chip.thickness_mm: 0.35}}}}]\n"},
    ),
    command("compare case.yaml --samples 9999999", "more than the \\d+ that .*ask for fewer", "inspect case.yaml"),
    command(
        "compare case.yaml --accept-danger thiner",
        "did you mean `thinner`.*judged are: `(thinner)`",
        "inspect case.yaml --option {0}",
    ),
    OfCommand(
        "predict case.yaml --memory 0.01", "allow more: `--memory ([0-9.]+)`", "predict case.yaml --memory {0}", WHOLE
    ),
    OfCommand(
        "predict case.yaml --memory 0.056 --accuracy 0.001",
        "Ask for less: `(--accuracy [0-9.]+)`, or do with it: no grid that a study may take is expected to hold it",
        "predict case.yaml --memory 0.056 {0}",
        WHOLE,
    ),
    OfCommand(
        "predict case.yaml --memory 0.056 --accuracy 0.03",
        "or allow the grid that should hold it: `(--memory [0-9.]+)`",
        "predict case.yaml --accuracy 0.03 {0}",
        WHOLE,
    ),
    command("predict case.yaml --memory 9e6", "or allow ([0-9.]+) GB", "predict case.yaml --memory {0}"),
    command(
        "inspect case.yaml",
        "see which value gives the readings of a test: `thermsim sweep CASE (--vary .*? 9)`",
        "sweep case.yaml {0}",
    ),
    command(
        "inspect case.yaml --picture stack.jpg",
        "let the name end in (.png) or .svg",
        "inspect case.yaml --picture stack{0}",
    ),
    command("start case.yaml", "choose another name: nothing is overwritten", "start other.yaml"),
    command(
        "judge case.yaml --mounts 2", "--mounts says how many a plan holds: give --plan with it", "inspect case.yaml"
    ),
    command(
        "start new.yaml --like slice --sheet", "different beginnings: give one of them", "start new.yaml --like slice"
    ),
    command("start none/case.yaml", "choose a folder that you may write to", "start other.yaml"),
    command("materials coper", "did you mean '(copper)'", "materials {0}"),
    command("materials granite", "the catalogue has: '(silicon)'", "materials {0}"),
    command(
        "prove --cases .",
        "no case files of the proof in .*name the folder `cases` of the sources with --cases",
        "materials",
    ),
]

SWEEPS: list[OfCommand] = [
    command(f"sweep case.yaml {wrong}", told, f"sweep case.yaml {right}")
    for wrong, told, right in (
        ("--vary chip.thickness 0.3 0.7 2", "did you mean `(chip.thickness_mm)`", "--vary {0} 0.3 0.7 2"),
        ("--vary chip.thickness_mm 0.3 0.7 1", "ask for (2) at least", "--vary chip.thickness_mm 0.3 0.7 {0}"),
        ("--vary chip.thickness_mm 0.3 inf 2", "give two numbers", "--vary chip.thickness_mm 0.3 0.7 2"),
        ("--vary chip.thickness_mm 0.7 0.3 2", "give the lower end first", "--vary chip.thickness_mm 0.3 0.7 2"),
        ("--vary chip.thickness_mm -1 0.7 2", "it must be above 0", "--vary chip.thickness_mm 0.1 0.7 2"),
        ("--vary top.fluid_C -5 30 2 --log", "begin above 0, or leave out --log", "--vary top.fluid_C -5 30 2"),
        ("--vary chip.thickness_mm 0.3 0.7 90000", "ask for fewer", "--vary chip.thickness_mm 0.3 0.7 2"),
        (
            "--vary chip.thickness_mm 0.3 0.7 200 --vary top.fluid_C 20 30 200",
            "ask for fewer values",
            "--vary chip.thickness_mm 0.3 0.7 2 --vary top.fluid_C 20 30 2",
        ),
        (
            "--vary top.fluid_C 20 30 2 --vary top.fluid_C 20 30 2",
            "vary two different quantities",
            "--vary top.fluid_C 20 30 2",
        ),
        (
            "--vary top.fluid_C 20 30 2 --vary core.power_W 2 3 2 --vary edge.power_W 2 3 2",
            "give --vary once or twice",
            "--vary top.fluid_C 20 30 2 --vary core.power_W 2 3 2",
        ),
        (
            "--vary chip.thickness_mm 0.3 0.7 2 --same-height plat",
            "its parts: `chip`, `(plate)`",
            "--vary chip.thickness_mm 0.3 0.7 2 --same-height {0}",
        ),
        (
            "--vary chip.thickness_mm 0.3 0.7 2 --same-height chip",
            "let another part keep it",
            "--vary chip.thickness_mm 0.3 0.7 2 --same-height plate",
        ),
        (
            "--vary top.fluid_C 20 30 2 --same-height plate",
            "leave out --same-height, or vary a thickness",
            "--vary top.fluid_C 20 30 2",
        ),
        (
            "--vary chip.thickness_mm 0.3 7 3 --same-height plate",
            "chip.thickness_mm below ([0-9.]+) works",
            "--vary chip.thickness_mm 0.3 3.6 2 --same-height plate",
        ),
        (
            "--vary chip.size_mm.0 5 10 2",
            "chip.size_mm.0 from (\\S+) up works",
            "--vary chip.size_mm.0 {0} 12 2",
        ),
        ("--vary chip.size_mm.0 5 6 2", "change the ranges", "--vary chip.size_mm.0 10 12 2"),
        (
            "--vary chip.thickness_mm 0.3 0.7 2 --watch zoe",
            "there are: .*`(zone core, highest)`",
            '--vary chip.thickness_mm 0.3 0.7 2 --watch "{0}"',
        ),
    )
]


def tiny(folder: Path) -> Case:
    (folder / "case.yaml").write_text(TINY, encoding="utf-8")
    return read_case(folder / "case.yaml")


def held(folder: Path, **files: object) -> Path:
    """A folder with such results of thermsim in it."""
    out = folder / "out"
    (out / "case").mkdir(parents=True, exist_ok=True)
    for name, content in {"versions": {"thermsim": "1"}, **files}.items():
        (out / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    return out


def predicted(folder: Path, **more: bool) -> None:
    there = {"title": "another", "option": None}
    export.check_target(tiny(folder), held(folder, result=there), replace=more.get("replace", False))


def compared(folder: Path, **more: bool) -> None:
    there = {"title": "another", "base": "x", "options": []}
    compare_export.check_target(tiny(folder), held(folder, result=there), replace=more.get("replace", False))


def swept(folder: Path, **more: bool) -> None:
    there = {"title": "another", "option": None}
    sweep_export.check_sweep_target(
        tiny(folder), ["chip.thickness_mm"], None, held(folder, sweep=there), more.get("replace", False)
    )


def warmed(folder: Path, **more: bool) -> None:
    out = held(folder, warmup={"title": "another", "option": None})
    warmup_export.check_warmup_target(tiny(folder), out, more.get("replace", False))


def edited_since(folder: Path, **more: bool) -> None:
    out = held(folder, result={"title": "A chip in a slice", "option": None})
    (out / "case" / "case.yaml").write_text(TINY + "#", encoding="utf-8")
    export.check_target(tiny(folder), out, replace=more.get("replace", False))


def foreign(folder: Path, name: str) -> None:
    out = folder / "mine"
    out.mkdir(exist_ok=True)
    (out / "result.json").write_text("{}", encoding="utf-8")
    export.check_target(tiny(folder), folder / name)


def over_itself(folder: Path, name: str) -> None:
    out = held(folder)
    export.check_target(tiny(out / "case"), folder / name)


def on_a_file(folder: Path, name: str) -> None:
    (folder / "file").write_text("", encoding="utf-8")
    export.check_target(tiny(folder), folder / name)


def below_a_file(folder: Path, name: str) -> None:
    (folder / "file").write_text("", encoding="utf-8")
    export.check_target(tiny(folder), folder / name / "out")


def proof_to(folder: Path, name: str) -> None:
    (folder / "file").write_text("", encoding="utf-8")
    with (patch.object(proof_page, "pictures", lambda _: {}), patch.object(proof_page, "html", lambda *_: ""),
          patch.object(proof_page, "as_json", lambda _: "")):  # fmt: skip
        proof_page.write({}, folder / name)


FILES: list[Row] = [
    OfCall(warmed, "another warm-up\n.*choose another folder, or add --replace", lambda f: warmed(f, replace=True)),
    OfCall(
        predicted,
        "holds the result of another.*\n.*choose another folder, or add --replace",
        lambda f: predicted(f, replace=True),
    ),
    OfCall(
        compared,
        "another comparison, of another\n.*choose another folder, or add --replace",
        lambda f: compared(f, replace=True),
    ),
    OfCall(swept, "holds another sweep\n.*choose another folder, or add --replace", lambda f: swept(f, replace=True)),
    OfCall(
        edited_since,
        "choose another folder to hold both side by side, or add --replace",
        lambda f: edited_since(f, replace=True),
    ),
    OfCall(lambda f: foreign(f, "mine"), "choose another folder, or move the file away", lambda f: foreign(f, "other")),
    OfCall(
        lambda f: over_itself(f, "out"),
        "the case itself reads .*\n.*choose another folder",
        lambda f: over_itself(f, "other"),
    ),
    OfCall(lambda f: on_a_file(f, "file"), "is a file\n.*name a folder", lambda f: on_a_file(f, "folder")),
    OfCall(
        lambda f: below_a_file(f, "file"),
        "choose another folder, or free space and rights there|is a file",
        lambda f: below_a_file(f, "folder"),
    ),
    OfCall(lambda f: proof_to(f, "file"), "choose a folder that you may write to", lambda f: proof_to(f, "folder")),
]

ROWS: list[OfCommand] = [*OPTIONS, *SWEEPS]
