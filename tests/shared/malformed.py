"""Case files with one mistake each, made from sound ones by rule and a recorded seed.

Every rule takes a generator of random numbers and the sound text, and returns the spoilt bytes and whether the mistake
is certain: a certain mistake must be refused, an uncertain one (a cut, a stray byte) may leave a sound case.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from typing import Any

import yaml

SEED = 20817

Rule = Callable[[random.Random, str], tuple[bytes, bool]]
RULES: list[Rule] = []


def rule(function: Rule) -> Rule:
    RULES.append(function)
    return function


def malformed(texts: list[str], rounds: int) -> Iterator[tuple[str, bytes, bool]]:
    """Name, bytes and certainty of each spoilt file: every rule, `rounds` times for each text."""
    for number, text in enumerate(texts):
        for spoil in RULES:
            for turn in range(rounds):
                name = f"{spoil.__name__}-{number}-{turn}"
                data, certain = spoil(random.Random(f"{SEED}-{name}"), text)
                yield name, data, certain


# ------------------------------------------------------------------------------- the tree of a sound case


def load(text: str) -> Any:
    """Values of a sound text; none of the samples holds what PyYAML reads differently from a case reader."""
    return yaml.load(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))


def dump(values: Any) -> bytes:
    """JSON is YAML, and keeps NaN away from nothing: both write it in a way a case reader must meet."""
    text = json.dumps(values, indent=1, ensure_ascii=False)
    return text.replace("NaN", ".nan").replace("-Infinity", "-.inf").replace("Infinity", ".inf").encode()


def paths(values: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every path into the tree, but for what options say: there a value may well be anything."""
    yield path
    if path[:1] == ("options",):
        return
    if isinstance(values, dict):
        for key, value in values.items():
            yield from paths(value, (*path, key))
    elif isinstance(values, list):
        for place, value in enumerate(values):
            yield from paths(value, (*path, place))


def at(values: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        values = values[step]
    return values


def put(values: Any, path: tuple[Any, ...], value: Any) -> None:
    at(values, path[:-1])[path[-1]] = value


def numbers(values: Any) -> list[tuple[Any, ...]]:
    return [path for path in paths(values) if type(at(values, path)) in (int, float) and path != ("dimensions",)]


POSITIVE = (
    "thickness_mm",
    "size_mm",
    "film_um",
    "conductivity_W_mK",
    "film_W_m2K",
    "wetted_mm",
    "power_W",
    "low",
    "high",
    "through_W_mK",
    "in_plane_W_mK",
    "accuracy_K",
    "step_K",
    "plus_minus",
    "wetted_fraction",
)


def positive_numbers(values: Any) -> list[tuple[Any, ...]]:
    return [path for path in numbers(values) if [step for step in path if isinstance(step, str)][-1] in POSITIVE]


def replace_number(random_: random.Random, text: str, value: Callable[[Any], Any]) -> tuple[bytes, bool]:
    values = load(text)
    path = random_.choice(numbers(values))
    put(values, path, value(at(values, path)))
    return dump(values), True


# ------------------------------------------------------------------------------------------ certain mistakes


@rule
def needed_key_deleted(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    needed = (
        "title",
        "layers",
        "cooling",
        "part",
        "material",
        "size_mm",
        "thickness_mm",
        "in",
        "zone",
        "face",
        "probe",
        "at_mm",
        "corner_mm",
        "fluid_C",
    )
    found = [path for path in paths(values) if path and path[-1] in needed]
    # A slice of a class name or a patch may be left out; what stays needed is listed.
    found = [path for path in found if path[0] != "cooling" or path[-1] in ("face", "fluid_C", "cooling")]
    path = random_.choice(found)
    del at(values, path[:-1])[path[-1]]
    return dump(values), True


@rule
def key_misspelt(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    keys = [path for path in paths(values) if path and isinstance(path[-1], str) and len(path[-1]) > 2]
    path = random_.choice(keys)
    key = path[-1]
    place = random_.randrange(len(key) - 1)
    wrong = key[:place] + key[place + 1] + key[place] + key[place + 2 :]
    wrong = wrong if wrong != key else key + "s"
    holder = at(values, path[:-1])
    holder[wrong] = holder.pop(key)
    return dump(values), True


@rule
def number_negative(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    path = random_.choice(positive_numbers(values))
    put(values, path, -abs(at(values, path)) - 0.5)
    return dump(values), True


@rule
def number_not_finite(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return replace_number(random_, text, lambda _: random_.choice([float("nan"), float("inf"), -float("inf")]))


@rule
def number_huge(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return replace_number(random_, text, lambda _: random_.choice([1e30, 10**400, -1e300, 1e16]))


@rule
def number_text(random_: random.Random, text: str) -> tuple[bytes, bool]:
    words = ["thick", "", "1,36", "1_000", "0x1F", "1e", "--3", "5 5", "12:30", "on", "½"]
    return replace_number(random_, text, lambda _: random_.choice(words))


@rule
def number_with_strange_unit(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return replace_number(random_, text, lambda number: f"{number}{random_.choice([' ells', 'px', ' Wb', '°X', ' A'])}")


@rule
def number_with_unit(random_: random.Random, text: str) -> tuple[bytes, bool]:
    spoilt, _ = replace_number(
        random_, text, lambda number: f"{number}{random_.choice([' mm', 'um', ' W', '°C', ' %'])}"
    )
    return spoilt, False  # where it is of the right kind, it is understood


@rule
def number_quoted(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return replace_number(random_, text, str)


@rule
def number_true(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return replace_number(random_, text, lambda _: random_.choice([True, False]))


@rule
def number_list(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return replace_number(random_, text, lambda number: [number, number, number, number])


@rule
def number_mapping(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return replace_number(random_, text, lambda number: random_.choice([{}, {"amount": number}]))


@rule
def value_null(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    path = random_.choice([path for path in paths(values) if path])
    put(values, path, None)
    return dump(values), True


@rule
def name_unknown(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    found = [path for path in paths(values) if path and path[-1] in ("in", "face", "at", "towards", "takes", "basis")]
    found += [path for path in paths(values) if path[-1:] == ("material",) and isinstance(at(values, path), str)]
    path = random_.choice(found)
    put(values, path, str(at(values, path)) + random_.choice(["x", " 2", "é"]))
    return dump(values), True


@rule
def zones_overlap(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    zones = values["heat"][0]["zones"]
    first, second = random_.sample(range(len(zones)), 2)
    for key in ("corner_mm", "size_mm"):
        zones[first][key] = zones[second][key]
    return dump(values), True


@rule
def zone_outside(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    zone = random_.choice(values["heat"][0]["zones"])
    corner = zone["corner_mm"]
    by = random_.choice([-100.0, 100.0])
    zone["corner_mm"] = [corner[0], corner[1] + by] if isinstance(corner, list) else corner + by
    return dump(values), True


@rule
def heated_part_too_small(random_: random.Random, text: str) -> tuple[bytes, bool]:
    """The demo's die with its sides exchanged; the slice's bar cut short: zones stick out."""
    values = load(text)
    heated = next(layer for layer in values["layers"] if layer.get("part") == values["heat"][0]["in"])
    size = heated["size_mm"]
    heated["size_mm"] = [size[1], size[0]] if isinstance(size, list) else size * random_.uniform(0.3, 0.9)
    return dump(values), True


@rule
def dimensions_wrong(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    values["dimensions"] = random_.choice([5 - values["dimensions"], 1, 4, 2.5, "3", True, [3]])
    return dump(values), True


@rule
def lengths_too_few_or_many(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    found = [path for path in paths(values) if path and path[-1] in ("size_mm", "corner_mm", "wetted_mm", "at_mm")]
    path = random_.choice(found)
    given = at(values, path)
    given = given if isinstance(given, list) else [given]
    put(values, path, random_.choice([given[:-1], [*given, 1.0], [*given, 1.0, 1.0]]))
    return dump(values), True


@rule
def entry_twice(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    lists = [path for path in paths(values) if path and path[-1] in ("layers", "zones", "probes", "cooling", "heat")]
    entries = at(values, random_.choice(lists))
    entries.append(random_.choice(entries))
    return dump(values), True


@rule
def joint_without_part(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    layers = values["layers"]
    joint = {"joint": "another", "resistance_mm2K_W": 5}
    places = [0, len(layers)] + [place for place, layer in enumerate(layers) if "joint" in layer]
    layers.insert(random_.choice(places), joint)
    return dump(values), True


@rule
def option_target_misspelt(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    changes = random_.choice(values["options"])["changes"]
    key = random_.choice(list(changes))
    changes["x" + key] = changes.pop(key)
    return dump(values), True


@rule
def key_twice(random_: random.Random, text: str) -> tuple[bytes, bool]:
    """A line of a block mapping is written twice."""
    lines = text.split("\n")
    plain = [n for n, line in enumerate(lines) if line.strip()[:1].isalpha() and not line.rstrip().endswith(":")]
    place = random_.choice(plain)
    lines.insert(place, lines[place])
    return "\n".join(lines).encode(), True


@rule
def indented_by_tab(random_: random.Random, text: str) -> tuple[bytes, bool]:
    lines = text.split("\n")
    place = random_.choice([n for n, line in enumerate(lines) if line.startswith("  ")])
    lines[place] = "\t" + lines[place].lstrip(" ")
    return "\n".join(lines).encode(), True


@rule
def control_character(random_: random.Random, text: str) -> tuple[bytes, bool]:
    place = random_.randrange(len(text))
    return (text[:place] + random_.choice(["\x00", "\x07", "\x1b", "\x7f"]) + text[place:]).encode(), True


@rule
def byte_not_utf8(random_: random.Random, text: str) -> tuple[bytes, bool]:
    data = text.encode()
    place = random_.randrange(len(data))
    return data[:place] + bytes([random_.randrange(0xF8, 0x100)]) + data[place:], True


@rule
def two_documents(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return f"{text}\n---\n{random_.choice([text, 'title: x', '5'])}\n".encode(), True


@rule
def not_a_mapping(random_: random.Random, text: str) -> tuple[bytes, bool]:
    return dump(random_.choice([[load(text)], 5, "title", [], {"": load(text)}, {}])), True


@rule
def tagged(random_: random.Random, text: str) -> tuple[bytes, bool]:
    lines = text.split("\n")
    place = random_.choice([n for n, line in enumerate(lines) if ": " in line and not line.startswith("#")])
    tag = random_.choice(["!!python/object/apply:os.getcwd", "!!int", "!mine", "!!float"])
    lines[place] = lines[place].replace(": ", f": {tag} ", 1)
    return "\n".join(lines).encode(), True


# ------------------------------------------------------------------------------------ too much of a good thing


@rule
def merged_without_end(random_: random.Random, text: str) -> tuple[bytes, bool]:
    depth, width = random_.randint(16, 60), random_.randint(2, 4)
    lines = ["a0: &a0 {x: 1}"]
    for number in range(1, depth):
        lines.append(f"a{number}: &a{number} {{<<: [{', '.join([f'*a{number - 1}'] * width)}]}}")
    return (text + "\n" + "\n".join(lines) + "\n").encode(), True


@rule
def unfolded_without_end(random_: random.Random, text: str) -> tuple[bytes, bool]:
    depth = random_.randint(16, 60)
    lines = ["a0: &a0 [1, 2]", *(f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]" for n in range(1, depth))]
    return (text + "\n" + "\n".join(lines) + "\n").encode(), True


@rule
def nested_without_end(random_: random.Random, text: str) -> tuple[bytes, bool]:
    depth = random_.choice([50, 1000, 100_000])
    return text.encode() + b"\nabout: " + random_.choice([b"[", b"{a: ", b"- "]) * depth, True


@rule
def entry_copied_many_times(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    lists = [path for path in paths(values) if path and path[-1] in ("layers", "zones", "probes", "cooling", "heat")]
    entries = at(values, random_.choice(lists))
    entries.extend([random_.choice(entries)] * random_.choice([20] * 8 + [300, 1500]))
    return dump(values), True


@rule
def keys_nobody_knows(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    holder = random_.choice([path for path in paths(values) if isinstance(at(values, path), dict)])
    if holder[-1:] == ("changes",):
        holder = ()
    for number in range(random_.choice([3, 250, 3000])):
        at(values, holder)[f"key {number}"] = number
    return dump(values), True


@rule
def long_words(random_: random.Random, text: str) -> tuple[bytes, bool]:
    values = load(text)
    path = random_.choice([path for path in paths(values) if path and path[-1] in ("in", "face", "material", "part")])
    put(values, path, random_.choice(["x", "die ", "\u00e9", "-1"]) * random_.choice([500, 20_000]))
    return dump(values), False


# ------------------------------------------------------------------------------- mistakes that may do no harm


@rule
def subtrees_exchanged(random_: random.Random, text: str) -> tuple[bytes, bool]:
    """Two values of the tree, of any kind, change places; or one is written over the other."""
    values = load(text)
    first, second = random_.sample([path for path in paths(values) if path], 2)
    one, other = at(values, first), at(values, second)
    put(values, first, json.loads(json.dumps(other)))
    if second[: len(first)] != first and random_.random() < 0.5:
        put(values, second, json.loads(json.dumps(one)))
    return dump(values), False


@rule
def bytes_doubled(random_: random.Random, text: str) -> tuple[bytes, bool]:
    """A stretch of the file stands twice, somewhere."""
    data = text.encode()
    start = random_.randrange(len(data))
    piece = data[start : start + random_.randint(1, 400)]
    place = random_.randrange(len(data))
    return data[:place] + piece + data[place:], False


@rule
def several_at_once(random_: random.Random, text: str) -> tuple[bytes, bool]:
    """Two or three of the rules that keep a file readable, one after the other: a certain mistake, unless the last puts
    right what the first did (the same two letters of a key exchanged again).
    """
    sound = load(text)
    for _ in range(random_.randint(2, 3)):
        spoil = random_.choice([number_negative, value_null, key_misspelt, name_unknown, number_with_strange_unit])
        try:
            text = spoil(random_, text)[0].decode()
        except (IndexError, AttributeError, KeyError, yaml.YAMLError):  # the first has left nothing to spoil
            break
    return text.encode(), load(text) != sound


@rule
def option_spoilt(random_: random.Random, text: str) -> tuple[bytes, bool]:
    """Something inside the changes of an option becomes something else, or a change is added at random."""
    values = load(text)
    changes = random_.choice(values["options"])["changes"]
    anything = ["remove", 5, -5, "x", True, [1, 2], [], {}, {"value": 3}, {"material": "copper"}, {"x": 1}, None]
    names = [layer.get("part", layer.get("joint")) for layer in values["layers"]]
    names += ["left", "top", "C0", "heat", "cooling", "layers", "limits", "accuracy_K", "options", "title", "zones", ""]
    keys = [
        "",
        ".thickness_mm",
        ".film_um.value",
        ".material.name",
        ".size_mm",
        ".",
        "..",
        ".face",
        ".at_mm.0",
        ".part",
    ]
    for _ in range(random_.randint(1, 3)):
        key = random_.choice(list(changes)) if random_.random() < 0.3 else random_.choice(names) + random_.choice(keys)
        changes[key] = random_.choice(anything)
    return dump(values), False


@rule
def cut_short(random_: random.Random, text: str) -> tuple[bytes, bool]:
    data = text.encode()
    return data[: random_.randrange(len(data))], False


@rule
def bytes_strewn_in(random_: random.Random, text: str) -> tuple[bytes, bool]:
    data = bytearray(text.encode())
    for _ in range(random_.randint(1, 4)):
        data[random_.randrange(len(data))] = random_.randrange(256)
    return bytes(data), False


@rule
def line_shifted(random_: random.Random, text: str) -> tuple[bytes, bool]:
    lines = text.split("\n")
    place = random_.randrange(len(lines))
    lines[place] = " " * random_.randint(1, 3) + lines[place] if random_.random() < 0.6 else lines[place].lstrip(" ")
    return "\n".join(lines).encode(), False


@rule
def line_lost(random_: random.Random, text: str) -> tuple[bytes, bool]:
    lines = text.split("\n")
    del lines[random_.randrange(len(lines))]
    return "\n".join(lines).encode(), False


@rule
def lines_exchanged(random_: random.Random, text: str) -> tuple[bytes, bool]:
    lines = text.split("\n")
    first, second = random_.sample(range(len(lines)), 2)
    lines[first], lines[second] = lines[second], lines[first]
    return "\n".join(lines).encode(), False


@rule
def mark_changed(random_: random.Random, text: str) -> tuple[bytes, bool]:
    """One of the characters that YAML gives a meaning becomes another."""
    marks = "[]{}:,-#&*!|>'\"%@?"
    place = random_.choice([n for n, letter in enumerate(text) if letter in marks])
    return (text[:place] + random_.choice(marks) + text[place + 1 :]).encode(), False


@rule
def digit_changed(random_: random.Random, text: str) -> tuple[bytes, bool]:
    place = random_.choice([n for n, letter in enumerate(text) if letter.isdigit()])
    return (text[:place] + random_.choice("0123456789.e-") + text[place + 1 :]).encode(), False
