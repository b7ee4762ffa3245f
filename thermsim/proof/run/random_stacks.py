"""Random stacks whose answers are known: written as a case file's text, and as the flux channel has them.

One to four layers of 10 um to 5 mm and 0.1 to 2000 W/mK, isotropic or not, most with joints between them; a film on one
side or on both; heat on a face of any layer, in rectangles apart, in rectangles that touch, or in a hotspot with others
around it. Asked for are means and highest temperatures of all rectangles, and probes in the heated plane: inside, on
edges and on corners of rectangles and of the plate, and anywhere.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from thermsim.case.load import parse_case
from thermsim.case.vocabulary.schema import Case
from thermsim.proof.closed_form.flux_channel import Channel, ChannelLayer, Rectangle, influence_matrix, rise_field

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]  # low x, low y, high x, high y [mm]

MM = 1e-3
MOST_LAYERS = 4
THINNEST_MM, THICKEST_MM = 0.01, 5.0
LEAST_W_MK, MOST_W_MK = 0.1, 2000.0
RISES_K = 10.0, 120.0  # [K] range of the rise of the hottest spot, to which powers are scaled
SMALLEST_SOURCE = 1.0 / 50.0  # smallest side of a source over that of the plate
# The hottest place is sought on this many points along each axis, then so often on this many between the neighbours of
# the best one.
RASTER, ZOOM, ZOOMS = 33, 9, 12
HILLS = 4  # local maxima of the first raster, the highest ones, that are refined so


@dataclass(frozen=True, eq=False)
class Stack:
    """A case, and all its exact temperatures [K over the fluid].

    channel, zones : the same stack as the closed form has it, and its zones as the case has them
    """

    case: Case
    exact: dict[tuple[str, ...], float]
    channel: Channel
    zones: list[dict[str, Any]]


def draw(rng: np.random.Generator) -> Stack:
    """One random stack."""
    a, b = (float(side) for side in rng.uniform(6.0, 45.0, 2))
    count = int(rng.integers(1, MOST_LAYERS + 1))
    layers = [_layer(rng, number == 0) for number in range(count)]  # from the bottom up
    heated, at = int(rng.integers(count)), str(rng.choice(["bottom", "top"]))
    films = _films(rng)
    channel = _channel(a, b, layers, films, heated + (at == "top"), at)
    boxes = _boxes(rng, a, b)
    watts = np.array([float(rng.uniform(0.05, 1.0)) * (x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in boxes])
    places = _places(rng, a, b, boxes)
    exact = _exact(channel, boxes, watts, places)
    scale = float(rng.uniform(*RISES_K)) / exact["hottest",]
    zones = [
        {"zone": f"z{number}", "corner_mm": [x0, y0], "size_mm": [x1 - x0, y1 - y0], "power_W": float(power * scale)}
        for number, ((x0, y0, x1, y1), power) in enumerate(zip(boxes, watts, strict=True))
    ]
    height = layers[heated].thickness_m / MM if at == "top" else 0.0
    whole = {
        "title": "a random stack",
        "layers": list(_in_words(a, b, layers)),
        "heat": [{"in": f"layer {heated}", "at": at, "zones": zones}],
        "cooling": [{"face": face, "film_W_m2K": film, "fluid_C": 0.0} for face, film in films.items()],
        "probes": [
            {"probe": f"p{number}", "in": f"layer {heated}", "at_mm": [*place, height]}
            for number, place in enumerate(places)
        ],
    }
    case = parse_case(json.dumps(whole, indent=1), "random.yaml")
    return Stack(case, {question: scale * rise for question, rise in exact.items()}, channel, zones)


def _layer(rng: np.random.Generator, lowest: bool) -> ChannelLayer:
    """A layer, and the joint below it."""
    thickness = MM * float(np.exp(rng.uniform(np.log(THINNEST_MM), np.log(THICKEST_MM))))
    through = float(np.exp(rng.uniform(np.log(LEAST_W_MK), np.log(MOST_W_MK))))
    in_plane = through
    if rng.random() < 0.3:
        in_plane = float(np.clip(through * 10.0 ** rng.uniform(-1.5, 1.5), LEAST_W_MK, MOST_W_MK))
    has_joint = rng.random() < 0.6 and not lowest
    return ChannelLayer(thickness, in_plane, through, 1e-6 * float(10.0 ** rng.uniform(0.0, 2.0)) if has_joint else 0.0)


def _films(rng: np.random.Generator) -> dict[str, float]:
    """Film of each face that has one [W/m2K]."""
    faces = (("bottom",), ("top",), ("bottom", "top"))[int(rng.integers(3))]
    return {face: float(10.0 ** rng.uniform(2.5, 4.7)) for face in faces}


def _channel(
    a: float, b: float, layers: Sequence[ChannelLayer], films: dict[str, float], under: int, at: str
) -> Channel:
    """The stack as seen from the heated plane, that has so many layers `under` it."""
    joints = [*(layer.joint_below_m2K_W for layer in layers), 0.0]
    lower = [replace(layer, joint_below_m2K_W=joints[number]) for number, layer in enumerate(layers)][:under][::-1]
    upper = [replace(layer, joint_below_m2K_W=joints[number + 1]) for number, layer in enumerate(layers)][under:]
    sides = [(tuple(lower), films.get("bottom", 0.0)), (tuple(upper), films.get("top", 0.0))]
    # The joint in the heated plane lies on the far side of the part that is heated.
    near, far = sides if at == "top" else sides[::-1]
    return Channel(MM * a, MM * b, *near, *far, joint_above_m2K_W=joints[under])


def _in_words(a: float, b: float, layers: Sequence[ChannelLayer]) -> list[dict[str, Any]]:
    words: list[dict[str, Any]] = []
    for number, layer in enumerate(layers):
        if layer.joint_below_m2K_W > 0.0:
            words.append({"joint": f"joint {number}", "resistance_mm2K_W": 1e6 * layer.joint_below_m2K_W})
        material = {"in_plane_W_mK": layer.in_plane_W_mK, "through_W_mK": layer.through_W_mK}
        words.append({"part": f"layer {number}", "material": material, "size_mm": [a, b],
                      "thickness_mm": layer.thickness_m / MM})  # fmt: skip
    return words


# ---- rectangles and probes --------------------------------------------------------------------------------------


def _boxes(rng: np.random.Generator, a: float, b: float) -> list[Box]:
    return (_apart, _touching, _hotspot)[int(rng.integers(3))](rng, a, b)


def _apart(rng: np.random.Generator, a: float, b: float) -> list[Box]:
    """One to five rectangles in columns of their own, anywhere in them."""
    edges = np.linspace(0.02 * a, 0.98 * a, int(rng.integers(1, 6)) + 1).tolist()
    boxes = []
    for low, high in pairwise(edges):
        size_x, size_y = float(rng.uniform(0.1, 1.0) * (high - low)), float(rng.uniform(0.05, 0.9) * b)
        x, y = float(rng.uniform(low, high - size_x)), float(rng.uniform(0.0, b - size_y))
        boxes.append((x, y, x + size_x, y + size_y))
    return boxes


def _touching(rng: np.random.Generator, a: float, b: float) -> list[Box]:
    """Two to six rectangles that share edges: one part of the plate, or all of it, cut again and again."""
    if rng.random() < 0.3:
        boxes: list[Box] = [(0.0, 0.0, a, b)]
    else:
        size_x, size_y = float(rng.uniform(0.3, 0.9) * a), float(rng.uniform(0.3, 0.9) * b)
        x, y = float(rng.uniform(0.0, a - size_x)), float(rng.uniform(0.0, b - size_y))
        boxes = [(x, y, x + size_x, y + size_y)]
    for _ in range(int(rng.integers(1, 6))):
        x0, y0, x1, y1 = boxes.pop(int(rng.integers(len(boxes))))
        share = float(rng.uniform(0.15, 0.85))
        if rng.random() < 0.5:
            cut = x0 + share * (x1 - x0)
            boxes += [(x0, y0, cut, y1), (cut, y0, x1, y1)]
        else:
            cut = y0 + share * (y1 - y0)
            boxes += [(x0, y0, x1, cut), (x0, cut, x1, y1)]
    return boxes


def _hotspot(rng: np.random.Generator, a: float, b: float) -> list[Box]:
    """A small rectangle, alone or with four around it, and perhaps one at the side of the plate."""
    size_x, size_y = (side * float(np.exp(rng.uniform(np.log(SMALLEST_SOURCE), np.log(0.15)))) for side in (a, b))
    x, y = float(rng.uniform(0.2 * a, 0.7 * a)), float(rng.uniform(0.2 * b, 0.7 * b))
    boxes: list[Box] = [(x, y, x + size_x, y + size_y)]
    low_x, low_y = (float(rng.uniform(0.25, 0.9)) * at for at in (x, y))
    high_x = x + size_x + float(rng.uniform(0.1, 0.6)) * (a - x - size_x)
    high_y = y + size_y + float(rng.uniform(0.1, 0.6)) * (b - y - size_y)
    if rng.random() < 0.7:
        boxes += [
            (low_x, low_y, high_x, y),
            (low_x, y + size_y, high_x, high_y),
            (low_x, y, x, y + size_y),
            (x + size_x, y, high_x, y + size_y),
        ]
    if rng.random() < 0.4:
        boxes.append((0.0, 0.0, float(rng.uniform(0.3, 0.95)) * low_x, b))
    return boxes


def _places(rng: np.random.Generator, a: float, b: float, boxes: list[Box]) -> list[list[float]]:
    """[x, y] [mm] in a rectangle, on an edge and a corner of it, at a side or a corner of the plate, and anywhere."""
    x0, y0, x1, y1 = boxes[int(rng.integers(len(boxes)))]
    along_x, along_y = float(rng.uniform(x0, x1)), float(rng.uniform(y0, y1))
    edge = [[x0, along_y], [x1, along_y], [along_x, y0], [along_x, y1]][int(rng.integers(4))]
    side = [[0.0, along_y], [a, along_y], [along_x, 0.0], [along_x, b]][int(rng.integers(4))]
    corner = [[x0, y0], [x1, y0], [x0, y1], [x1, y1]][int(rng.integers(4))]
    of_plate = [[0.0, 0.0], [a, 0.0], [0.0, b], [a, b]][int(rng.integers(4))]
    anywhere = [float(rng.uniform(0.0, a)), float(rng.uniform(0.0, b))]
    return [[along_x, along_y], edge, corner, side if rng.random() < 0.5 else of_plate, anywhere]


# ---- exact answers ----------------------------------------------------------------------------------------------


def exact_of(channel: Channel, zones: list[dict[str, Any]]) -> dict[tuple[str, ...], float]:
    """Mean and highest rise [K] of zones given in the words of a case file, in the heated plane of a channel."""
    boxes: list[Box] = [
        (x, y, x + size_x, y + size_y)
        for (x, y), (size_x, size_y) in ((zone["corner_mm"], zone["size_mm"]) for zone in zones)
    ]
    found = _exact(channel, boxes, np.array([float(zone["power_W"]) for zone in zones]), [])
    names = {f"z{number}": zone["zone"] for number, zone in enumerate(zones)}
    return {("zone", names[key[1]], key[2]): rise for key, rise in found.items() if key != ("hottest",)}


def _exact(channel: Channel, boxes: list[Box], watts: Array, places: list[list[float]]) -> dict[tuple[str, ...], float]:
    sources = tuple(
        Rectangle(MM * (x0 + x1) / 2, MM * (y0 + y1) / 2, MM * (x1 - x0), MM * (y1 - y0)) for x0, y0, x1, y1 in boxes
    )
    powers = tuple(watts.tolist())
    exact: dict[tuple[str, ...], float] = {}
    for number, (mean, box) in enumerate(zip(influence_matrix(channel, sources).value @ watts, boxes, strict=True)):
        exact["zone", f"z{number}", "mean"] = float(mean)
        exact["zone", f"z{number}", "highest"] = _highest(channel, sources, powers, box)
    for number, (x, y) in enumerate(places):
        here = rise_field(channel, sources, powers, np.array([MM * x]), np.array([MM * y])).value
        exact["probe", f"p{number}"] = float(here[0, 0])
    exact["hottest",] = max(rise for question, rise in exact.items() if question[-1] == "highest")
    return exact


def _highest(channel: Channel, sources: tuple[Rectangle, ...], powers: tuple[float, ...], box: Box) -> float:
    """Highest rise within a rectangle [K]: a raster, then finer ones around each of its highest hills.

    The raster is finer at the edges of the rectangle, and has lines where others end beside it.
    """
    axes = []
    for low, high, ends in (
        (MM * box[0], MM * box[2], [one.centre_x + side * one.size_x for one in sources for side in (-0.5, 0.5)]),
        (MM * box[1], MM * box[3], [one.centre_y + side * one.size_y for one in sources for side in (-0.5, 0.5)]),
    ):
        even = low + (0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, RASTER))) * (high - low)
        beside = [end for end in ends if low < end < high]
        axes.append(np.unique([*even.tolist(), *beside]))
    rise = rise_field(channel, sources, powers, axes[0], axes[1]).value
    around = np.pad(rise, 1, constant_values=-np.inf)
    shape = rise.shape
    hills = np.all([rise >= around[i : i + shape[0], j : j + shape[1]] for i in range(3) for j in range(3)], axis=0)
    starts = sorted(np.argwhere(hills).tolist(), key=lambda at: -rise[at[0], at[1]])[:HILLS]
    return max(_climbed(channel, sources, powers, axes, at) for at in starts)


def _climbed(
    channel: Channel, sources: tuple[Rectangle, ...], powers: tuple[float, ...], axes: list[Array], start: list[int]
) -> float:
    """Highest rise [K] about one point of a raster."""
    at, best = start, -np.inf
    for _ in range(ZOOMS):
        axes = [
            np.linspace(along[max(here - 1, 0)], along[min(here + 1, len(along) - 1)], ZOOM)
            for along, here in zip(axes, at, strict=True)
        ]
        rise = rise_field(channel, sources, powers, axes[0], axes[1]).value
        at = [int(here) for here in np.unravel_index(int(np.argmax(rise)), rise.shape)]
        best = max(best, float(rise[at[0], at[1]]))
    return best
