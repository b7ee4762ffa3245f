"""A prediction as the stable JSON document of `--json` and result.json; `keys.py` says what each key means."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from math import floor, isfinite
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from thermsim.case.geometry.cooling_places import places_told
from thermsim.case.geometry.places import levels, part_box
from thermsim.case.vocabulary.schema import Case, Reading
from thermsim.readout.faces import Place
from thermsim.readout.field import Field, ZoneReading
from thermsim.readout.observable import COOLANT, HOTTEST, Observable, of_flow, of_probe, of_reading, of_zone
from thermsim.report.data.versions import thermsim_version
from thermsim.units import MM, MM2

if TYPE_CHECKING:
    from thermsim.mesh.prediction import Prediction


def result(prediction: Prediction) -> dict[str, Any]:
    """Plain mappings, lists, text and finite numbers; null where a number does not exist."""
    field, case = prediction.field, prediction.case
    _, place = field.hottest
    question, worst = prediction.worst
    hottest_study = _study(prediction, HOTTEST)
    document = {
        "title": case.title,
        "option": case.option,
        "thermsim": thermsim_version(),
        "status": prediction.status,
        "accuracy_K": prediction.accuracy_K,
        "accuracy_W": prediction.accuracy_W,
        "remarks": list(prediction.remarks),
        "hottest_C": prediction.answers[HOTTEST],
        "hottest_inputs": _inputs(prediction, HOTTEST),
        "hottest_at": hottest_at(case, field, place),
        "coolant_C": field.coolant_C if prediction.ladder is None else prediction.ladder.coolant_C,
        "zones": [_zone(prediction, zone) for zone in field.zones],
        "readings": [_reading(prediction, reading) for reading in case.readings],
        "probes": _probes(prediction),
        "flows": _flows(prediction),
        "coolant_loop": _loop(prediction),
        "heat_typed_W": typed_W(field),
        "heat_made_W": field.heat_made_W,
        "heat_balance_W": field.heat_balance_W,
        "heat_balance_relative": field.heat_balance_relative,
        "bounds": _bounds(prediction),
        "ladder": _ladder(prediction),
        "ladder_of": _ladder_of(prediction),
        "limits": {"reading_C": case.limits.reading_C},
        "mesh": _mesh(prediction),
        "observed_order": hottest_study["observed_order"],
        "mesh_note": hottest_study["mesh_note"],
        "mesh_doubt_K": worst.half_width,
        "worst_at": str(question),
        "input_doubt": _input_doubt(prediction),
    }
    finite: dict[str, Any] = _finite(document)
    return finite


def as_json(document: dict[str, Any]) -> str:
    """Strict JSON (RFC 8259: no NaN), readable, ending with a line feed."""
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def hottest_at(case: Case, field: Field, place: Place) -> dict[str, Any]:
    """Part and place [mm] from its lower left bottom; at the line between two parts, the one that makes heat there."""
    name = part_at(field, place)
    low, part = {part.part: (low, part) for low, _, part in levels(case)}[name]
    box = part_box(case, part)
    x, y, z = (coordinate / MM for coordinate in place)
    across = None if case.dimensions == 2 else y - box[1]
    return {"part": name, "x_mm": x - box[0], "y_mm": across, "z_mm": z - low}


def part_at(field: Field, place: Place) -> str:
    """Name of the part at a point of the stack [m]."""
    grid = field.model.grid
    across, along, up = (cells_at(axis.faces, at) for axis, at in zip(grid.axes, place, strict=True))
    for source in field.model.face_sources:
        on_face = abs(float(grid.z.faces[source.face]) - place[2]) < 1e-9 * float(grid.z.faces[-1])
        if on_face and (source.watts[np.ix_(across, along)] > 0.0).any():
            return source.part
    touching = field.model.region[np.ix_(across, along, up)]
    return field.model.regions[int(touching[touching >= 0][0])].part


def typed_W(field: Field) -> float:
    """Heat [W] as the case gives it: at the temperatures at which its leakage laws hold."""
    faces = sum(float(source.watts.sum()) for source in field.model.face_sources)
    return faces + sum(float(source.watts.sum()) for source in field.model.volume_sources)


def shown_C(expected_C: float, step_K: float | None) -> float:
    """What the sensor shows: the nearest step, halves upwards."""
    return expected_C if step_K is None else step_K * floor(expected_C / step_K + 0.5)


def cells_at(faces: NDArray[np.float64], at: float) -> list[int]:
    """Indices of the cells that hold a coordinate [m]: two where it stands on a face between them."""
    tolerance = 1e-9 * float(faces[-1] - faces[0])
    return [int(n) for n in np.flatnonzero((faces[:-1] <= at + tolerance) & (faces[1:] >= at - tolerance))]


def _doubt(prediction: Prediction, question: Observable) -> float | None:
    doubt = prediction.doubts.get(question)
    return None if doubt is None else doubt.half_width


def _inputs(prediction: Prediction, question: Observable) -> dict[str, float] | None:
    """The band that the tolerances leave of an answer; null where they were not asked for, or there are none."""
    band = None if prediction.inputs is None else prediction.inputs.bands.get(question)
    return None if band is None else asdict(band)


def _input_doubt(prediction: Prediction) -> dict[str, Any] | None:
    doubt = prediction.inputs
    if doubt is None:
        return None
    moved = [
        {
            "input": one.path,
            "value": one.value,
            "unit": one.unit,
            "plus_minus": one.half_width,
            "basis": one.basis,
            "at_low_K": one.at_low_K,
            "at_high_K": one.at_high_K,
            "moves_K": one.kelvin,
        }
        for one in doubt.moved
    ]
    return {
        "coverage": doubt.coverage,
        "way": doubt.way,
        "sampling_error_K": doubt.sampling_K,
        "moved": moved,
        "taken_as_exact": list(doubt.exact),
        "remarks": list(doubt.remarks),
    }


def _study(prediction: Prediction, question: Observable) -> dict[str, Any]:
    """What the mesh study says of one temperature."""
    doubt = prediction.doubts.get(question)
    return {
        "mesh_doubt_K": None if doubt is None else doubt.half_width,
        "finest_grid_C": None if doubt is None else doubt.finest,
        "observed_order": None if doubt is None else doubt.order,
        "mesh_note": "" if doubt is None else doubt.note,
    }


def _zone(prediction: Prediction, zone: ZoneReading) -> dict[str, Any]:
    study, of_highest = _study(prediction, of_zone(zone, "mean")), of_zone(zone, "highest")
    mean, highest = prediction.answers[of_zone(zone, "mean")], prediction.answers[of_highest]
    return {
        "zone": zone.zone,
        "part": zone.part,
        "at": zone.at,
        "mean_C": mean,
        "highest_C": highest,
        "rise_over_coolant_K": mean - prediction.field.coolant_C,
        "power_W": zone.power_W,
        "flux_W_mm2": zone.power_W / (zone.area_m2 / MM2),
        "mesh_doubt_K": study["mesh_doubt_K"],
        "highest_mesh_doubt_K": _doubt(prediction, of_highest),
        "mean_inputs": _inputs(prediction, of_zone(zone, "mean")),
        "highest_inputs": _inputs(prediction, of_highest),
        "finest_grid_mean_C": study["finest_grid_C"],
        "observed_order": study["observed_order"],
        "mesh_note": study["mesh_note"],
    }


def _reading(prediction: Prediction, reading: Reading) -> dict[str, Any]:
    question = of_reading(reading.reading)
    expected = prediction.answers[question]
    doubt = _doubt(prediction, question)
    limit, made = prediction.case.limits.reading_C, prediction.field.heat_made_W
    margin = None if limit is None else limit - expected
    offset = reading.offset_K.plus_minus
    band = _inputs(prediction, question)
    least = None if limit is None or doubt is None else limit - expected - offset - doubt
    if limit is not None and band is not None:
        least = limit - band["both_high"]
    return {
        "reading": reading.reading,
        "of": reading.zone if reading.probe is None else reading.probe,
        "takes": reading.takes if reading.probe is None else "point",
        "expected_reading_C": expected,
        "step_K": reading.step_K,
        "shown_C": shown_C(expected, reading.step_K),
        "offset_K": reading.offset_K.value,
        "offset_plus_minus_K": offset,
        "mesh_doubt_K": doubt,
        "inputs": _inputs(prediction, question),
        "limit_margin_K": margin,
        "limit_margin_least_K": least,
        "R_reading_coolant_K_W": (expected - prediction.field.coolant_C) / made if made > 0.0 else None,
    }


def _probes(prediction: Prediction) -> list[dict[str, Any]]:
    found = []
    for probe in prediction.case.probes:
        question = of_probe(probe.probe)
        temperature = prediction.answers[question]
        found.append(
            {
                "probe": probe.probe,
                "part": probe.in_,
                "temperature_C": temperature,
                "rise_over_coolant_K": temperature - prediction.field.coolant_C,
                **_study(prediction, question),
                "inputs": _inputs(prediction, question),
            }
        )
    return found


def _flows(prediction: Prediction) -> list[dict[str, Any]]:
    return [
        {
            "face": flow.face,
            "environment": flow.label,
            "place": place.removeprefix(", ") or None,
            "heat_W": prediction.doubts[of_flow(number)].value,
            "mesh_doubt_W": _doubt(prediction, of_flow(number)),
            "inputs": _inputs(prediction, of_flow(number)),
            "area_mm2": flow.area_m2 / MM2,
            "face_C": flow.face_C,
            "fluid_C": flow.fluid_C,
        }
        for number, (flow, place) in enumerate(zip(prediction.field.flows, places_told(prediction.case), strict=True))
    ]


def _loop(prediction: Prediction) -> dict[str, Any] | None:
    """The coolant of the loop, and what the heat that it gets on the finest grid makes of it; null without one."""
    loop, field = prediction.field.model.loop, prediction.field
    if loop is None:
        return None
    heat = sum(field.flows[number].heat_W for number in field.model.on_loop)
    return {
        "coolant_C": prediction.answers[COOLANT],
        "mesh_doubt_K": _doubt(prediction, COOLANT),
        "inputs": _inputs(prediction, COOLANT),
        "left_radiator_C": loop.left_radiator_C(heat),
        "pass_rise_K": 2.0 * loop.pass_K_W * heat,
        "heat_W": heat,
    }


def _bounds(prediction: Prediction) -> dict[str, Any] | None:
    bounds = prediction.bounds
    if bounds is None:
        return None
    return {"lowest_C": bounds.lowest_C, "mean_C": bounds.mean_C, "highest_C": bounds.highest_C}


def _ladder(prediction: Prediction) -> list[dict[str, Any]]:
    rungs: Iterable[Any] = () if prediction.ladder is None else prediction.ladder.rungs
    return [
        {"item": rung.item, "drop_K": rung.drop_K, "even_K": rung.even_K, "spreading_K": rung.spreading_K}
        for rung in rungs
    ]


def _ladder_of(prediction: Prediction) -> dict[str, Any] | None:
    ladder = prediction.ladder
    if ladder is None:
        return None
    keys = ("zone", "part", "at", "starts_at", "start_C", "face", "environment", "coolant_C", "share")
    return {key: getattr(ladder, key) for key in keys}


def _mesh(prediction: Prediction) -> list[dict[str, Any]]:
    return [
        {
            "multiplier": step.multiplier,
            "cells": step.cells,
            "hottest_C": step.answers[HOTTEST],
            "seconds": step.seconds,
            "iterations": step.iterations,
            "algebraic_error_K": step.error_K,
        }
        for step in prediction.steps
    ]


def _finite(value: Any) -> Any:
    """The same with numpy numbers as Python's own, and null for what is not finite."""
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if isfinite(value) else None
    return value
