"""Files made to wear a reader out: told within seconds, whatever they hold.

A file is judged by the work it makes and not by a clock: the number of lines that the interpreter runs through. The
classic is the "billion laughs" of nested references, here as aliases and as merge keys (yaml.org/type/merge.html).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType
from typing import Any

import pytest

from thermsim.case.load import parse_case
from thermsim.errors import MOST_FAULTS, CaseError

MOST_CALLS = 6_000_000  # some seconds; what made a reader hang took hundreds of millions
BASE = """title: t
layers:
  - {part: die, material: silicon, size_mm: [10, 10], thickness_mm: 0.7}
heat:
  - {in: die, zones: [{zone: a, power_W: 3, corner_mm: [0, 0], size_mm: [0.5, 0.5]}]}
cooling:
  - {face: top, film_W_m2K: 1000, fluid_C: 30}
"""


def merged(depth: int) -> str:
    lines = ["a0: &a0 {x: 1}", *(f"a{n}: &a{n} {{<<: [*a{n - 1}, *a{n - 1}]}}" for n in range(1, depth))]
    return "\n".join(lines)


def aliased(depth: int) -> str:
    lines = ["a0: &a0 [1]", *(f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]" for n in range(1, depth))]
    return "\n".join(lines)


def layers(line: Callable[[int], str], count: int) -> str:
    return BASE.replace("heat:", "".join(f"  - {line(n)}\n" for n in range(count)) + "heat:")


def more(key: str, line: Callable[[int], str], count: int) -> str:
    return BASE + f"{key}:\n" + "".join(f"  - {line(n)}\n" for n in range(count))


FILES: dict[str, str] = {
    "merge keys": merged(20),
    "more merge keys": merged(60),
    "aliases": aliased(60),
    "unknown keys": BASE + "".join(f"key{n}: {n}\n" for n in range(2000)),
    "keys again": BASE + "title: again\n" * 2000,
    "nothing": more("probes", lambda n: "", 2000),
    "faces taken": BASE + "".join(f"  - {{face: top, film_W_m2K: {n + 1}, fluid_C: 30}}\n" for n in range(900)),
    "films": BASE + "".join(f"  - {{face: top, film_W_m2K: -{n}, fluid_C: 30}}\n" for n in range(1200)),
    "materials": layers(lambda n: f"{{part: p{n}, material: silicn{n}, size_mm: [9, 9], thickness_mm: 1}}", 900),
    "words": layers(lambda n: f"{{part: p{n}, materiel: silicn, size_mm: [9, 9], thickness_mm: -1}}", 900),
    "one name": layers(lambda n: "{part: p, material: silicon, size_mm: [9, 9], thickness_mm: 1}", 900),
    "joints": layers(lambda n: f"{{joint: j{n}, resistance_mm2K_W: 1}}", 900),
    "options": more("options", lambda n: f"{{option: o{n}, changes: {{die.thicknes_mm: 3}}}}", 500),
    "zones": BASE.replace(
        "size_mm: [0.5, 0.5]}", "size_mm: [0.5, 0.5]}" + "".join(f", {{zone: z{n}, power_W: 1}}" for n in range(900))
    ),
}


def calls(work: Callable[[], Any]) -> int:
    """Function calls that a piece of work makes, of Python and of C; no more than MOST_CALLS are made."""
    count = 0

    def counted(frame: FrameType, event: str, argument: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")
        if count > MOST_CALLS:
            raise TimeoutError(f"{MOST_CALLS} calls, and no end")

    before = sys.getprofile()
    sys.setprofile(counted)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count


@pytest.mark.parametrize("name", FILES)
def test_a_file_that_would_wear_a_reader_out_is_refused_soon(name: str) -> None:
    told: list[CaseError] = []

    def read() -> None:
        try:
            parse_case(FILES[name])
        except CaseError as error:
            told.append(error)

    calls(read)
    assert told and 1 <= len(told[0].faults) <= MOST_FAULTS + 1


def test_where_faults_are_left_out_it_says_so() -> None:
    for name in ("keys again", "materials", "films"):
        with pytest.raises(CaseError, match=r"more: mend these first|more than the 1000"):
            parse_case(FILES[name])


def test_what_a_case_may_hold_is_read() -> None:
    """A floor plan of 900 zones, and 400 options: each option is checked once, and knows nothing of the others."""
    zones = ", ".join(
        f"{{zone: z{n}, power_W: 0.1, corner_mm: [{n % 30 * 0.3:.1f}, {n // 30 * 0.3:.1f}], size_mm: [0.3, 0.3]}}"
        for n in range(900)
    )
    plan = BASE.replace("{zone: a, power_W: 3, corner_mm: [0, 0], size_mm: [0.5, 0.5]}", zones)
    assert calls(lambda: parse_case(plan)) < MOST_CALLS
    options = more("options", lambda n: f"{{option: o{n}, changes: {{die.thickness_mm: {n + 1}}}}}", 400)
    assert calls(lambda: parse_case(options)) < MOST_CALLS
    assert len(parse_case(options).options) == 400
