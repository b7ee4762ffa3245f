"""The table of published references: every case file, what is read off it, what it must be, and the source.

Data only. To add a row, add a line here; to add a case, write a file below `cases/published/` (with a comment on what
it shows and its source) and an entry here. `within` is what the source, or common practice, asks of a method;
`excellent` is what a second-order control-volume method should reach on a sensible grid (common practice, no source).
"""

from __future__ import annotations

import math
from functools import partial

from thermsim.proof.closed_form import reference_solutions as solutions
from thermsim.proof.table.in_time import IN_TIME
from thermsim.proof.table.row import (
    BAND,
    BY_HAND,
    FINITE_ELEMENTS,
    MEMORY,
    ONE_DIMENSION,
    PRINTED,
    Number,
    Published,
    Row,
)

INCROPERA = "Incropera, DeWitt, Bergman, Lavine, Fundamentals of Heat and Mass Transfer, 6th ed."
CARSLAW = "Carslaw, Jaeger, Conduction of Heat in Solids, 2nd ed."
SPREADING = "Yovanovich, Muzychka, Culham, J. Thermophys. Heat Transfer 13 (1999) 495"
SOURCES = "Muzychka, Culham, Yovanovich, J. Electron. Packag. 125 (2003) 178"
HANDBOOK = "Yovanovich, Marotta in Bejan, Kraus (eds), Heat Transfer Handbook (2003), ch. 4"
LEE = "Lee, Song, Au, Moran, ASME/JSME Thermal Engineering Conf. 4 (1995) 199"
LAMBERT = "Corless et al., Adv. Comput. Math. 5 (1996) 329; De Vogeleer et al., arXiv:1404.3381"

# Least observed order where heat spreads: the flux jumps at the edge of a source, which slows the mean below order 2.
SPREADING_ORDER = 1.7
EXACT_K = 1e-8  # [K] for layers in series, which finite volumes solve exactly on any grid
SMOOTH_ORDER = 1.9  # least observed order where no flux jumps
IN_CELL = "a point in a heated part is read to second order: 1e-4 C takes finer grids than the accuracy of the case"
BIOT = "the theory neglects what differs across the fin, Bi = 1.5e-4"


def spreads(quantity: str, zone: str, reference: Number, excellent: float, per: float) -> Row:
    """Mean rise of a zone per watt, asked to 1 %."""
    asked = ("zone", zone, "mean")
    return Row(quantity, asked, reference, "K/W", 1.0, excellent, True, per, order=SPREADING_ORDER)


def centre(reference: Number, excellent: float) -> Row:
    """Rise at the centre of a source per watt, of 100 W on the whole plate, asked to 1 %."""
    asked = ("probe", "centre")
    return Row("centre of the source", asked, reference, "K/W", 1.0, excellent, True, 100.0, order=SPREADING_ORDER)


def on_block(
    quantity: str, asked: tuple[str, ...], ratio: float, place: str, gap: float, printed: float = 0.0
) -> tuple[Row, Row]:
    """k sqrt(A) R: the quarter makes 5 W, so the whole 20 W, on 4 mm2, and k is 100 W/mK.

    gap : what this block has over a body without end [%]; printed : as the handbook has that body, else its formula
    """
    exact = partial(solutions.on_block, ratio, place)
    block = Row(quantity, asked, exact, "k sqrt(A) R", 2.0, 0.5, True, per=100.0, order=SPREADING_ORDER)
    without_end = printed or solutions.on_half_space(ratio, place)
    endless = Row(
        f"{quantity}, body without end", asked, without_end, "k sqrt(A) R", 1.0, None, True, per=100.0,
        known=MEMORY if printed else BY_HAND, differs=f"the block has {gap:g} % more than a body without end",
    )  # fmt: skip
    return block, endless


WALLS = (
    Published("Chip, epoxy, aluminium", "chip-epoxy-aluminium.yaml", f"{INCROPERA}, Example 3.2", (
        Row("chip", ("zone", "chip", "mean"), partial(solutions.chip, "chip"), "C", 1e-4, EXACT_K),
        Row("heat upwards", ("flow", "air above"), partial(solutions.chip, "up"), "W/m2", 1.0, 1e-4, per=1e-4),
        Row("heat downwards", ("flow", "air below"), partial(solutions.chip, "down"), "W/m2", 1.0, 1e-4, per=1e-4),
        Row("chip, as the book rounds", ("zone", "chip", "mean"), 75.3, "C", 0.05, known=PRINTED),
    )),
    Published("Wall between two fluids", "published/wall-two-films.yaml",
              "Lienhard, Lienhard, A Heat Transfer Textbook, Example 2.10", (
        Row("U", ("flow", "cold"), 1 / (1 / 200 + 1e-3 / 160 + 1 / 5000), "W/m2K", 1e-3, EXACT_K, known=BY_HAND),
        Row("U from the warm side", ("flow", "warm"), 1 / (1 / 200 + 1e-3 / 160 + 1 / 5000), "W/m2K", 1e-3, EXACT_K,
            per=-1.0, known=BY_HAND),
    )),
    Published("Composite wall with generation", "published/wall-with-generation.yaml", f"{INCROPERA}, Example 3.7", (
        Row("outer face T2", ("probe", "T2"), 30 + 1.5e6 * 0.05 / 1000, "C", 1e-4, EXACT_K, known=BY_HAND),
        Row("interface T1", ("probe", "T1"), 105 + 1.5e6 * 0.05 * 0.02 / 150, "C", 1e-4, EXACT_K, known=BY_HAND),
        Row("insulated face T0", ("probe", "T0"), 115 + 1.5e6 * 0.05**2 / (2 * 75), "C", 0.05, 1e-4, order=SMOOTH_ORDER,
            known=BY_HAND, note=IN_CELL),
        Row("mean of the heated wall", ("zone", "wall A", "mean"), 115 + 1.5e6 * 0.05**2 / (3 * 75), "C", 0.05, 0.01,
            order=SMOOTH_ORDER, known=BY_HAND),
    )),
    Published("Flux through two layers", "published/wall-with-flux.yaml", f"{INCROPERA}, section 3.1", (
        Row("heated face", ("probe", "heated face"), 50.0, "C", 1e-4, EXACT_K, known=BY_HAND),
        Row("inside the lower layer", ("probe", "inside the lower"), 35.0, "C", 1e-4, EXACT_K, known=BY_HAND),
        Row("middle of the upper layer", ("probe", "middle of the upper"), 22.5, "C", 1e-4, EXACT_K, known=BY_HAND),
    )),
    Published("A face that radiates", "published/hot-face-that-radiates.yaml",
              f"{INCROPERA}, example 1.2; from memory", (
        Row("face", ("zone", "face", "mean"), 200.0, "C", 1e-3, EXACT_K, known=BY_HAND),
    )),
    Published("Devices on a copper plate, in series", "published/transistors-on-a-plate.yaml",
              f"Cengel, Ghajar, Heat and Mass Transfer, contact of transistors; {SOURCES}", (
        Row("plate and film in series", ("zone", "case", "mean"), 0.01 / (386 * 0.01) + 1 / (25 * 0.01), "K/W", 0.1,
            percent=True, per=10.0, known=BY_HAND,
            differs="the plate conducts 1e6 W/mK in plane, and so still spreads"),
        spreads("the same plate, spreading", "case", partial(solutions.device, 1e6), 0.02, 10.0),
    ), option="as in the book"),
    Published("Devices on a copper plate, with spreading", "published/transistors-on-a-plate.yaml", SOURCES, (
        spreads("plate and film", "case", solutions.device, 0.1, 10.0),
    )),
)  # fmt: skip

KIRCHHOFF = f"{CARSLAW}, section 1.6"
NONLINEAR = (
    *(
        Published(f"Silicon slab, {name}", "published/silicon-slab.yaml", KIRCHHOFF, (
            Row("heated face", ("zone", "face", "mean"), reference, "C", 0.05, 1e-4, order=SMOOTH_ORDER),
        ), option=option)
        for name, option, reference in (
            ("1 W/mm2", None, partial(solutions.silicon, 1e6, 0.775e-3, 350.0, 1.3)),
            ("5 W/mm2", "five times the flux", partial(solutions.silicon, 5e6, 0.775e-3, 350.0, 1.3)),
            ("thin and warm", "thin and warm", partial(solutions.silicon, 5e6, 0.4e-3, 360.0, 1.3)),
            ("steeper law", "steeper law", partial(solutions.silicon, 5e6, 0.775e-3, 350.0, 1.4)),
        )
    ),
    Published("Slab with a linear law", "published/linear-slab.yaml", KIRCHHOFF, (
        Row("middle", ("probe", "middle"), solutions.linear_middle, "C", 0.05, 1e-4),
        Row("heat through it", ("flow", "cold"), 210.0, "W", 0.1, 1e-3, percent=True, known=BY_HAND),
    )),
    Published("Leakage, exponential", "published/leakage.yaml", LAMBERT, (
        Row("die", ("zone", "die face", "mean"), solutions.leaking_die, "C", 1e-3, 1e-6),
        Row("leakage", ("zone", "die face", "power"), solutions.leakage_power, "W", 1e-3, 1e-6, less=150.0),
    )),
    Published("Leakage, linear", "published/leakage.yaml", "energy balance of one body", (
        Row("die", ("zone", "die face", "mean"), solutions.linear_leakage, "C", 1e-3, 1e-6),
    ), option="linear law"),
    Published("Leakage beyond its limit", "published/leakage.yaml", LAMBERT, (
        Row("refused as runaway; power that still stands", ("limit",), partial(solutions.power_limit, 0.32), "W",
            0.2, percent=True),
    ), option="beyond the limit", expects="runaway"),
)  # fmt: skip

QUARTER, PEAK = ("zone", "quarter", "mean"), ("probe", "centre")
BODIES = (
    Published("Square on a block", "published/half-space-square.yaml", f"{SOURCES}; {HANDBOOK}", (
        *on_block("mean", QUARTER, 1, "mean", 0.026, 0.4732),
        *on_block("centre", PEAK, 1, "centre", 0.011, 0.5611),
        *on_block("corner", ("probe", "corner"), 1, "corner", 0.087),
        *on_block("middle of an edge", ("probe", "mid-edge"), 1, "mid-edge", 0.040),
    )),
    Published("Rectangle 1 : 4 on a block", "published/half-space-square.yaml", f"{SOURCES}; {HANDBOOK}", (
        *on_block("mean", QUARTER, 4, "mean", 0.062),
        *on_block("centre", PEAK, 4, "centre", 0.026),
    ), option="one by four"),
    Published("Warm square on a block", "published/half-space-isothermal.yaml",
              "reduced capacitance of the unit square, 0.36679", (
        Row("1/(k sqrt(A) R)", ("flow", "base"), 2 * math.pi * 0.36679, "", 2.0, percent=True, per=5.0, known=MEMORY,
            differs="a block in place of a body without end",
            note="the flux has no end at the rim, so heat converges with order 1 or less"),
    )),
)  # fmt: skip

E1, E1B = solutions.plate(), solutions.plate(x=15, y=22, size_x=14, film=10_000)
SPREADERS = (
    Published("Source on a plate, a quarter", "published/spreading-quarter.yaml", f"{SPREADING}; {SOURCES}", (
        spreads("mean of the source", "source", E1.mean, 0.1, 100.0),
        centre(E1.centre, 0.02),
        Row("least mean: isothermal planes", ("bounds", "lowest_C"), solutions.plate_floor, "K/W", 1e-4, 1e-8,
            percent=True, per=100.0, known=BY_HAND),
        Row("largest mean: parallel columns", ("bounds", "highest_C"), 27 / 13, "K/W", 1e-4, 1e-8,
            percent=True, per=100.0, known=BY_HAND),
    )),
    Published("Source on a plate", "published/spreading-plate.yaml", f"{SPREADING}; {SOURCES}", (
        spreads("mean of the source", "source", E1.mean, 0.1, 100.0),
        centre(E1.centre, 0.1),
        Row("highest of the source", ("zone", "source", "highest"), E1.centre, "K/W", 1.0, 0.1, True, 100.0,
            order=SPREADING_ORDER),
        Row("mean, discs of the same area", ("zone", "source", "mean"), solutions.lee_mean, "K/W", 10.0, percent=True,
            per=100.0, known=BAND, note=LEE),
        Row("highest, discs of the same area", ("probe", "centre"), solutions.lee_highest, "K/W", 10.0, percent=True,
            per=100.0, known=BAND, note=LEE),
    )),
    Published("Eccentric source", "published/spreading-plate.yaml", SOURCES, (
        spreads("mean of the source", "source", E1B.mean, 0.1, 100.0),
        centre(E1B.centre, 0.1),
    ), option="eccentric"),
    Published("Orthotropic plate, 1500 and 8 W/mK", "published/spreading-plate.yaml", SOURCES, (
        spreads("mean of the source", "source", solutions.orthotropic.mean, 0.2, 100.0),
        centre(solutions.orthotropic.centre, 0.2),
    ), option="orthotropic"),
    Published("The same, stretched to isotropic", "published/spreading-plate.yaml", SOURCES, (
        spreads("mean of the source", "source", solutions.orthotropic.mean, 0.2, 100.0),
        centre(solutions.orthotropic.centre, 0.2),
    ), option="stretched"),
    Published("Compound plate", "published/spreading-two-layers.yaml", SPREADING, (
        spreads("mean of the source", "source", solutions.compound.mean, 0.2, 100.0),
        centre(solutions.compound.centre, 0.2),
    )),
    Published("Two sources: A alone", "published/spreading-matrix.yaml", SOURCES, (
        spreads("A by A", "A", partial(solutions.mutual, 0, 0), 0.1, 100.0),
        spreads("B by A", "B", partial(solutions.mutual, 1, 0), 0.1, 100.0),
    ), option="only A"),
    Published("Two sources: B alone", "published/spreading-matrix.yaml", SOURCES, (
        spreads("B by B", "B", partial(solutions.mutual, 1, 1), 0.1, 100.0),
        spreads("A by B", "A", partial(solutions.mutual, 0, 1), 0.1, 100.0),
    ), option="only B"),
    Published("Two sources: 60 W and 40 W", "published/spreading-matrix.yaml", SOURCES, (
        Row("A", ("zone", "A", "mean"), partial(solutions.both, 0), "K", 1.0, 0.1, True, order=SPREADING_ORDER),
        Row("B", ("zone", "B", "mean"), partial(solutions.both, 1), "K", 1.0, 0.1, True, order=SPREADING_ORDER),
    )),
    Published("Eccentric sources on three layers with joints", "published/spreading-three-layers.yaml", SOURCES, (
        Row("under power", ("zone", "core", "mean"), partial(solutions.three_layers, 0), "K", 1.0, 0.2, True,
            order=SPREADING_ORDER),
        Row("beside it", ("zone", "beside", "mean"), partial(solutions.three_layers, 1), "K", 1.0, 0.2, True,
            order=SPREADING_ORDER),
    )),
    Published("Strip on a plate (2-D)", "slice.yaml", SOURCES, (
        Row("mean of the strip", ("zone", "strip", "mean"), solutions.strip_mean, "mK m/W", 1.0, 0.05, True,
            order=SPREADING_ORDER),
        Row("highest of the strip", ("zone", "strip", "highest"), solutions.strip_centre, "mK m/W", 1.0, 0.05, True,
            order=SPREADING_ORDER),
    )),
)  # fmt: skip

RODS = "square in place of round, with the same perimeter times section; theory in one dimension"
FINS = (
    *(
        Published(f"Straight fin{name}", "published/fin.yaml", f"{INCROPERA}, section 3.6", (
            Row("foot", ("probe", "foot"), 100.0, "K", 1.0, 0.1, True, known=ONE_DIMENSION, differs=BIOT),
            Row("tip", ("probe", "tip"), partial(solutions.fin_tip, wetted), "K", 1.0, 0.1, True, known=ONE_DIMENSION,
                differs=BIOT),
        ), option=option)
        for name, option, wetted in ((" on a plate", None, False), (", wetted tip", "wetted tip", True))
    ),
    *(
        Published(f"Long rod, {name}", "published/long-rod.yaml", f"{INCROPERA}, Example 3.9", (
            Row("heat into the rod", ("flow", "base"), partial(solutions.rod, k), "W", 1.0, 0.1, True, per=-1.0,
                known=ONE_DIMENSION, differs=RODS),
        ), option=option)
        for name, option, k in (("copper", None, 398.0), ("aluminium", "aluminium", 180.0))
    ),
)  # fmt: skip

BY_CHANCE = "small by chance, errors of opposite sign cancel here (a fourth grid is off by 1.3e-5): no order is asked"
ISO = "EN ISO 10211:2007, annex A"
POINTS = tuple((x, depth) for depth in range(1, 8) for x in range(1, 5))
# Points of case 2: name, temperature as printed, and that by quadratic finite elements on 74 465 nodes (on 28 545 nodes
# they differ by 1e-5), see the tests.
CASE_2 = (
    ("A", 7.1, 7.0642), ("B", 0.8, 0.7613), ("C", 7.9, 7.8972), ("D", 6.3, 6.2723), ("E", 0.8, 0.8275),
    ("F", 16.4, 16.4079), ("G", 16.3, 16.3336), ("H", 16.8, 16.7672), ("I", 18.3, 18.3337),
)  # fmt: skip
CASE_2_HEAT = 9.4915  # [W/m] of case 2, by the same finite elements
STANDARDS = (
    *(
        Published(f"ISO 10211 case 1{name}", "published/iso-10211-case-1.yaml", source, (
            Row("worst of 28 points", ("probe", "4-4"), 0.0, "C", 0.1, 1e-3, order=SPREADING_ORDER, points=tuple(
                (("probe", f"{x}-{depth}"), partial(solutions.square, x, depth, growth)) for x, depth in POINTS)),
            Row("nearest the corner, 1-1", ("probe", "1-1"), partial(solutions.square, 1, 1, growth), "C", 0.1, 1e-3,
                order=order, note="" if order else BY_CHANCE),
        ), option=option)
        for name, option, growth, order, source in (
            ("", None, 0.0, SPREADING_ORDER, f"{ISO}, case 1; {CARSLAW}, section 5.3"),
            (" with k = 1 + 0.02 T", "conductivity that rises", 0.02, None, f"{ISO}, case 1; {CARSLAW}, section 1.6"),
        )
    ),
    Published("ISO 10211 case 2", "iso-10211-case-2.yaml", f"{ISO}, case 2", (
        *(Row(f"point {name}", ("probe", name), printed, "C", 0.1, known=PRINTED) for name, printed, _ in CASE_2),
        Row("heat", ("flow", "outside"), 9.5, "W/m", 0.1, known=PRINTED),
        Row("worst of 9 points", ("probe", "D"), 0.0, "C", 0.1, 0.02, known=FINITE_ELEMENTS, points=tuple(
            (("probe", name), other) for name, _, other in CASE_2)),
        Row("heat", ("flow", "outside"), CASE_2_HEAT, "W/m", 0.1, 0.01, known=FINITE_ELEMENTS),
    )),
    Published("ISO 10211 case 4", "published/iso-10211-case-4.yaml", f"{ISO}, case 4", (
        Row("heat", ("flow", "outside"), 0.540, "W", 1.0, percent=True, known=MEMORY),
        Row("outer side of the bar", ("probe", "outer side of the bar"), 0.805, "C", 0.005, known=MEMORY),
    )),
)  # fmt: skip

CASES: tuple[Published, ...] = (*WALLS, *NONLINEAR, *BODIES, *SPREADERS, *FINS, *STANDARDS, *IN_TIME)

# Published references that are not compared here, told so that nobody takes them for shown.
LEFT_OUT = (
    "EN ISO 10211 case 3 (a corner of three environments): its drawing was not at hand.",
    "Annular fins: the grid has no round parts. Discs: only by the closed forms, for the same reason.",
    "Readings of real chips before and after: no open data set with measured power was found. That the numbers of a "
    "case describe a real stack is for whoever typed them to show.",
)
