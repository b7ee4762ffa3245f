"""What is said of step responses, of their networks and of options that part: one row a kind of message."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from remedies import OfCall, Row
from remedies_of_answers import warmed
from remedies_of_solving import EXACT, ON_LOOP, bounded
from remedies_of_solving import tiny as case_of

from thermsim.report.files.response_export import _refuse, read_network, write_response
from thermsim.response.network import ModalNetwork
from thermsim.response.parting import parting
from thermsim.response.step_response import StepResponse, step_response
from thermsim.warming.warmup import warmup


def responded(**more: Any) -> StepResponse:
    return step_response(case_of(base=EXACT), **{"from_s": 1.0, "until_s": 2.0, "first_cells": 60, **more})


@cache
def response() -> StepResponse:
    return responded()


def network() -> ModalNetwork:
    return response().network


@cache
def on_loop() -> ModalNetwork:
    case = case_of((ON_LOOP[0], ON_LOOP[1].replace("room_C", "heat_capacity_J_K: 900, room_C")), base=EXACT)
    return step_response(case, 1.0, 2.0, first_cells=60, grids=3).network


def zone() -> str:
    return network().inputs[0]


def stored(folder: Path) -> Path:
    write_response(response(), folder / "response", replace=True)
    return folder / "response"


def over_another(folder: Path, title: str, replace: bool = False) -> None:
    _refuse(stored(folder), response().case.model_copy(update={"title": title}), replace)


def empty(folder: Path) -> Path:
    (folder / "empty").mkdir(exist_ok=True)
    return folder / "empty"


ROWS: list[Row] = [
    OfCall(
        lambda _: network().with_loop(room_C=20.0),
        "without a coolant loop\n  remedy: give the case a `coolant_loop`, and `fluid_C: loop` to the faces on it",
        lambda _: on_loop().with_loop(room_C=20.0),
    ),
    OfCall(
        lambda _: on_loop().replay([0.0, 1.0], {zone(): [1.0, 1.0]}, coolant_C=[25.0]),
        "cannot be followed over 2 times\n  remedy: give a finite temperature .C. for each time, of a case whose faces",
        lambda _: on_loop().replay([0.0, 1.0], {zone(): [1.0, 1.0]}, coolant_C=[25.0, 26.0]),
    ),
    OfCall(
        lambda _: on_loop().with_loop(radiator_W_K=0.0),
        "loop with radiator_W_K 0 cannot be\n  remedy: give heat capacity, radiator and flow above zero, and a pump",
        lambda _: on_loop().with_loop(radiator_W_K=10.0, pump_W=0.0),
    ),
    OfCall(lambda _: responded(from_s=3.0), "give rising times and an accuracy above zero", lambda _: response()),
    OfCall(
        lambda _: bounded(responded, {"response.step_response.MOST_INPUTS": 0}),
        "zones make heat\n  remedy: give between 1 and",
        lambda _: response(),
    ),
    OfCall(
        lambda _: responded(memory_GB=1e-6),
        "allow more, ([0-9.e-]+) GB, or ask from a later time on",
        lambda _, least: responded(memory_GB=float(least)),
    ),
    OfCall(
        lambda _: bounded(responded, {"response.step_response.LARGEST_IMBALANCE": -1.0}),
        "heat made and let out differ.*\n.*keep the case file and report it",
        lambda _: response(),
    ),
    OfCall(
        lambda _: network().zth(1.0, zone(), "nowhere"), "there is no zone 'nowhere'.*\n  remedy: known: `([^`]+)`",
        lambda _, known: network().zth(1.0, zone(), known),
    ),
    OfCall(
        lambda _: network().replay([0.0, 0.0], {zone(): [1.0, 1.0]}), "give each time once, in order, in seconds",
        lambda _: network().replay([0.0, 1.0], {zone(): [1.0, 1.0]}),
    ),
    OfCall(
        lambda _: network().replay([0.0, 1.0], np.ones((3, 1))),
        "do not fit 2 times .*\n  remedy: give a finite number of watts for each time and each of",
        lambda _: network().replay([0.0, 1.0], np.ones((2, len(network().inputs)))),
    ),
    OfCall(
        lambda _: ModalNetwork.of({"inputs": []}), "no stored step response.*\n.*a file that `write_response`",
        lambda _: ModalNetwork.of(network().document()),
    ),
    OfCall(
        lambda folder: read_network(empty(folder)), "holds no step response\n.*what `write_response` has written",
        lambda folder: read_network(stored(folder)),
    ),
    OfCall(
        lambda folder: over_another(folder, "another"), "holds another step response\n.*or add --replace",
        lambda folder: over_another(folder, "another", replace=True),
    ),
    OfCall(
        lambda _: parting(warmed(), warmup(case_of(base=EXACT), 1.0, 3.0, first_cells=100), "the hottest spot", [1.0]),
        "different times\n  remedy: ask for both from and until the same times",
        lambda _: parting(warmed(), warmed(), "the hottest spot", [1.0]),
    ),
    OfCall(
        lambda _: parting(warmed(), warmed(), "the hottest spot", [9.0]), "follow both for longer",
        lambda _: parting(warmed(), warmed(), "the hottest spot", [2.0]),
    ),
]  # fmt: skip
