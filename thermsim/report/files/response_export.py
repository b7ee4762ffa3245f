"""A step response as files in a folder, and read back to be replayed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from thermsim.errors import ThermsimError, WriteError
from thermsim.report.data.versions import thermsim_version
from thermsim.report.files import delivery, export
from thermsim.response.network import ModalNetwork

if TYPE_CHECKING:
    from thermsim.response.step_response import StepResponse

RESULT, PICTURE = "response.json", "structure.png"
OWN = (RESULT, PICTURE)


def write_response(found: StepResponse, folder: Path | str, *, replace: bool = False) -> list[Path]:
    """Write response.json, structure.png of the zone with the most resistance, and case/; returns their paths.

    folder : made if it is not there; foreign files in it stay; replace : also replace the response of another case

    Raises WriteError: the folder cannot be written, or holds what must not be replaced.
    """
    folder = Path(folder)
    return delivery.deliver(folder, OWN, lambda: _refuse(found, folder, replace), lambda new: _write_all(found, new))


def read_network(path: Path | str) -> ModalNetwork:
    """The network of a stored response.json, or of the folder that it lies in, to be replayed.

    Raises
    ------
    ThermsimError : there is no such file, or it holds something else
    """
    path = Path(path)
    path = path / RESULT if path.is_dir() else path
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))["network"]
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise ThermsimError(f"{path} holds no step response", "give what `write_response` has written") from error
    return ModalNetwork.of(stored)


def document(found: StepResponse) -> dict[str, Any]:
    """The whole result as plain lists: Zth with its doubts, chains and ladders of all zones, and the network."""
    network = found.network
    chains = {zone: network.foster(zone) for zone in network.inputs}
    ladders = {zone: network.cauer(zone) for zone in network.inputs}
    return {
        "title": found.case.title,
        "option": found.case.option,
        "thermsim": thermsim_version(),
        "times_s": found.times_s.tolist(),
        "zth_K_W": found.zth.tolist(),
        "mesh_doubt_K_W": found.mesh_doubt.tolist(),
        "time_doubt_K_W": found.time_doubt.tolist(),
        "foster": {
            zone: {"resistance_K_W": one.resistance_K_W.tolist(), "time_constant_s": one.time_constant_s.tolist()}
            for zone, one in chains.items()
        },
        "cauer": {
            zone: {"resistance_K_W": one.resistance_K_W.tolist(), "capacity_J_K": one.capacity_J_K.tolist()}
            for zone, one in ladders.items()
        },
        "network": network.document(),
    }


def _write_all(found: StepResponse, folder: Path) -> None:
    from thermsim.report.figures.warmup_figure import structure_curve

    text = json.dumps(document(found), allow_nan=False, ensure_ascii=False)
    (folder / RESULT).write_text(text + "\n", encoding="utf-8")
    ends = found.zth[-1, range(len(found.inputs)), range(len(found.inputs))]
    structure_curve(found.network, found.network.inputs[int(ends.argmax())]).savefig(folder / PICTURE)
    delivery.write_case(found.case, folder)


def _refuse(found: StepResponse, folder: Path, replace: bool) -> None:
    export.refuse(folder, found.case, replace)
    delivery.refuse_foreign(folder, found.case, OWN)
    if (folder / RESULT).exists() and not replace:
        try:
            there = json.loads((folder / RESULT).read_text(encoding="utf-8"))
            kind = there["title"], there["option"]
        except (OSError, ValueError, TypeError, KeyError):
            kind = None
        if kind != (found.case.title, found.case.option):
            raise WriteError(f"{folder} holds another step response", "choose another folder, or replace it")
        delivery.refuse_edited(folder, found.case)
