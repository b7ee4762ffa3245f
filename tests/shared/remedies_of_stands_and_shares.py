"""What is said of a power that zones share, and of parts that stand on a rim or on legs, and what to write instead."""

from __future__ import annotations

from remedies import SMALL, Edits, OfCase, Row
from remedies_of_cases import case

HEAT = """heat:
  - in: die
    power_W: 100
    zones:
      - {zone: C0, corner_mm: [0, 0], size_mm: [8, 10.4]}
      - {zone: C5, corner_mm: [8, 0], size_mm: [8, 10.4]}
"""
SHARED = SMALL[: SMALL.index("heat:")] + HEAT + SMALL[SMALL.index("\ncooling:") :]
C0, C5 = "size_mm: [8, 10.4]}\n      - {zone: C5", "corner_mm: [8, 0], size_mm: [8, 10.4]}"
BESIDE = "      - {zone: cache, corner_mm: [16, 0], size_mm: [8.8, 10.4]}\n"
ALIKE = "    alike:\n      - {zones: [C0, C5], share: 0.4}\n"


def of_zones(first: str, second: str) -> Edits:
    """More keys of C0 and of C5."""
    return ((C5, C5.replace("}", f"{second}}}")), (C0, C0.replace("}", f"{first}}}", 1)))


def shared(broken: Edits, told: str, mended: Edits, **more: dict[str, str]) -> OfCase:
    return OfCase(broken, told, mended, base=SHARED, **more)


SHARES: list[Row] = [
    shared(
        of_zones(", share: 0.7", ", share: 0.5"),
        "are more than all of its 100 W: lower them, or raise `power_W`",
        (("share: 0.7", "share: 0.5"),),
    ),
    shared(
        of_zones(", power_W: 120", ""),
        "are more than all of its 100 W: lower them, or raise `power_W`",
        (("power_W: 100", "power_W: 140"),),
    ),
    shared(
        of_zones(", share: {value: 0.5, plus_minus: 0.1}", ", share: 0.5"),
        "at the ends of their tolerances, are more than all .*; or leave one zone without `share`",
        ((C5.replace("}", ", share: 0.5}"), C5),),
    ),
    shared(
        (
            *of_zones(", share: 0.2", ", share: 0.3"),
            ("share: 0.3}\n", "share: 0.3}\n" + BESIDE.replace("}", ", share: 0.1}")),
        ),
        "and cover all of 'die': leave one without `share` or `power_W`, and it takes the rest",
        ((", share: 0.1", ""),),
    ),
    shared(
        of_zones(", power_W: 3, share: 0.1", ""), "or a `power_W` of its own: leave one out", ((", power_W: 3", ""),)
    ),
    shared(
        (*of_zones(", share: 0.1", ""), ("    power_W: 100\n", "")),
        "is of the `power_W` of its heat: give that beside `zones`",
        (("    zones:\n", "    power_W: 100\n    zones:\n"),),
    ),
    shared(
        (("    power_W: 100\n", "    power_W: 100\n    map: {file: map.csv, holds: W}\n"),),
        "a map holds watts of its own: leave out `power_W`",
        (("    power_W: 100\n", ""),),
        files={"map.csv": "1,2\n3,4\n"},
    ),
    shared(
        (("\ncooling:", ALIKE.replace("C0", "C9") + "\ncooling:"),),
        "`alike`: this heat has no zone 'C9'; it has: '(C0)'",
        (("[C9,", "[{0},"),),
    ),
    shared(
        (("\ncooling:", ALIKE + "\ncooling:"), *of_zones("", ", share: 0.1")),
        "`alike`: zone 'C5' has its power already",
        ((", share: 0.1", ""),),
    ),
]

LID = "    thickness_mm: 2.45\n"
STAND = "    stands_on: {down_to: substrate, rim_mm: 2, resistance_mm2K_W: 50}\n"
LEG = "legs: [{corner_mm: [0, 0], size_mm: [2, 2]}]"


def stand(old: str, new: str, told: str, mended: Edits) -> OfCase:
    """A lid on a rim past the die, of which one thing is wrong."""
    return case(((LID, LID + STAND.replace(old, new)),), told, mended)


STANDS: list[Row] = [
    stand(
        "down_to: substrate", "down_to: substrat", "cannot stand on 'substrat', .*did you mean `(substrate)`",
        (("substrat,", "{0},"),),
    ),
    stand(
        "down_to: substrate", "down_to: die", "it lies on that part already; there is: `(substrate)`",
        (("down_to: die", "down_to: {0}"),),
    ),
    stand("rim_mm: 2", "rim_mm: 17", "a rim of 17 mm fills the 32 mm of 'lid'", (("rim_mm: 17", "rim_mm: 2"),)),
    stand("rim_mm: 2", "rim_mm: 12", "runs through 'die': make it narrower", (("rim_mm: 12", "rim_mm: 2"),)),
    stand("rim_mm: 2, ", "", "`stands_on` needs `rim_mm`", (("down_to: substrate", "down_to: substrate, rim_mm: 2"),)),
    stand(
        "rim_mm: 2", LEG.replace("[0, 0]", "[35, 0]"), "a leg sticks out of it", (("[35, 0]", "[34, 0]"),)
    ),
    case(
        (("[42.0, 38.0]", "[30.0, 28.0]"), (LID, LID + STAND)),
        "does not meet 'substrate' below: check sizes and `centre_mm`",
        (("[30.0, 28.0]", "[42.0, 38.0]"),),
    ),
]  # fmt: skip

ROWS: list[Row] = [*SHARES, *STANDS]
