"""Measurements of a case, and the catalogue, as blocks of plain text."""

from __future__ import annotations

from thermsim.plausibility.dimensions import Height, JointMeasure, PartMeasure
from thermsim.plausibility.likely_slips import Slip
from thermsim.plausibility.measure import FaceMeasure, HeatMeasure, Measurements
from thermsim.report.text.blocks import Block, Column
from thermsim.report.words.numbers import UNKNOWN, fixed, significant
from thermsim.rounding import tolerance, value_told, with_tolerance


def measurement_blocks(measured: Measurements) -> list[Block]:
    """Slips, what was typed, heights, parts, joints, heat, faces, options, and the grids that a study may take."""
    blocks = [_slips(measured.title, measured.slips)]
    if measured.typed:
        blocks.append(_typed(measured))
    blocks.append(_heights(measured))
    blocks.append(_parts(measured.parts))
    if measured.joints:
        blocks.append(_joints(measured))
    blocks += [_heat(heat) for heat in measured.heat]
    blocks.append(_faces(measured.faces))
    if measured.options:
        blocks.append(_options(measured))
    return [*blocks, _grids(measured)]


def material_blocks(rows: list[dict[str, str]]) -> list[Block]:
    """The catalogue: materials, joint classes and cooler classes, each with its range and the number of its source."""
    sources = list(dict.fromkeys(row["source"] for row in rows))
    blocks = []
    for kind, title, keys in _CATALOGUE:
        chosen = [row for row in rows if row["kind"] == kind]
        if not chosen:
            continue
        headings = [heading for _, heading in keys]
        cells = tuple(
            (
                row["name"],
                *(_short(row[key]) for key, _ in keys),
                row["how_sure"],
                str(sources.index(row["source"]) + 1),
            )
            for row in chosen
        )
        columns = (Column("name", right=False), *map(_left, headings), _left("how sure"), Column("source"))
        remarks = tuple(f"{row['name']}: {row['note']}" for row in chosen if row["note"])
        blocks.append(Block(title, columns=columns, rows=cells, notes=remarks))
    cited = tuple(f"{number}  {source}" for number, source in enumerate(sources, 1))
    notes = ("* varies with temperature; the value is for 27 C",) if any(_varies(row) for row in rows) else ()
    return [*blocks, Block("Sources", lines=cited, notes=notes)]


def entry_blocks(rows: list[dict[str, str]]) -> list[Block]:
    """Entries of the catalogue in full, with their sources."""
    return [
        Block(
            f"{row['name']} ({row['kind']})",
            columns=(_left(""), _left("")),
            rows=tuple((heading, row[key]) for key, heading in _ENTRY if row.get(key, "") not in ("", UNKNOWN)),
        )
        for row in rows
    ]


_ENTRY = (
    ("conductivity_W_mK", "[W/mK], at 27 C if it varies"),
    ("range", "range"),
    ("density_kg_m3", "density [kg/m3]"),
    ("heat_capacity_J_kgK", "heat capacity [J/kgK], at 27 C if it varies"),
    ("heat_capacity_range", "range of heat capacity"),
    ("how_sure", "how sure"),
    ("source", "source"),
    ("heat_capacity_source", "source of heat capacity"),
    ("note", "note"),
)
_CATALOGUE = (
    (
        "material",
        "Materials",
        (
            ("conductivity_W_mK", "W/mK"),
            ("range", "range"),
            ("density_kg_m3", "kg/m3"),
            ("heat_capacity_J_kgK", "J/kgK"),
        ),
    ),
    ("joint class", "Joint classes", (("conductivity_W_mK", "W/mK"), ("range", "range"))),
    ("cooler class", "Cooler classes", (("range", "range"),)),
)
_VARIES = " (varies with temperature)"


def _varies(row: dict[str, str]) -> bool:
    return row["conductivity_W_mK"].endswith(_VARIES)


def _short(cell: str) -> str:
    return cell.replace(_VARIES, " *")


def _left(heading: str) -> Column:
    return Column(heading, right=False)


def _slips(title: str, slips: tuple[Slip, ...]) -> Block:
    if not slips:
        return Block(title, lines=("no likely slips found",))
    lines = [f"{len(slips)} likely slip{'s' if len(slips) > 1 else ''}, the gravest first:"]
    for slip in slips:
        lines += [f"{slip.severity.upper()}  {slip.place}: {slip.message}", f"    {slip.remedy}"]
    return Block(title, lines=tuple(lines))


def _typed(measured: Measurements) -> Block:
    rows = tuple((one.place, one.text, one.is_understood_as, str(one.line)) for one in measured.typed)
    columns = (_left("number"), _left("typed"), _left("understood as"), Column("line"))
    return Block("Numbers with units of their own", columns=columns, rows=rows)


def _heights(measured: Measurements) -> Block:
    rows = tuple(
        (
            level.level,
            level.kind,
            UNKNOWN if level.thickness_mm is None else value_told(level.thickness_mm, level.plus_minus_mm),
            tolerance(level.plus_minus_mm) if level.plus_minus_mm else UNKNOWN,
            level.note or "",
        )
        for level in reversed(measured.levels)
    )
    columns = (_left("level, top first"), _left("is a"), Column("thickness [mm]"), Column("+- [mm]"), _left(""))
    return Block("Heights", columns=columns, rows=rows, notes=_height_in_words(measured.height))


def _height_in_words(height: Height) -> tuple[str, ...]:
    words = f"Together {height.height_mm:.4g} mm"
    if height.worst_case_mm > 0.0:
        words += (
            f", +- {height.worst_case_mm:.2g} mm if every tolerance is used up the same way, "
            f"+- {height.root_sum_square_mm:.2g} mm if they are independent"
        )
    unknown = f"Not counted, thickness unknown: {', '.join(height.unknown)}."
    return (f"{words}.", unknown) if height.unknown else (f"{words}.",)


def _parts(parts: tuple[PartMeasure, ...]) -> Block:
    rows = tuple(
        (
            part.part,
            significant(part.area_mm2, 5),
            significant(part.volume_mm3, 4),
            UNKNOWN
            if part.mass_g is None
            else with_tolerance(float(f"{part.mass_g:.4g}"), part.mass_plus_minus_g or 0.0),
            significant(part.weighed_g, 4),
            part.verdict or UNKNOWN,
        )
        for part in reversed(parts)
    )
    headings = ("area [mm2]", "volume [mm3]", "mass by size [g]", "weighed [g]")
    return Block("Parts", columns=(_left("part"), *map(Column, headings), _left("mass")), rows=rows)


def _joints(measured: Measurements) -> Block:
    rows = tuple(_joint(joint) for joint in reversed(measured.joints))
    columns = (
        _left("joint"),
        _left("between"),
        Column("film [um]"),
        Column("[mm2K/W]"),
        Column("drop [K]"),
        _left("most doubt"),
    )
    notes = tuple(
        f"{joint.joint}: NOT FIT to tell options apart, its tolerance is more than half of its resistance."
        for joint in measured.joints
        if not joint.fit
    )
    drop = (
        f"Drop: if all {measured.power_W:.4g} W crossed the joint evenly. Most doubt: its source (* assumed, or no "
        "basis given)."
    )
    return Block("Joints", columns=columns, rows=rows, notes=(drop, *notes))


def _joint(joint: JointMeasure) -> tuple[str, ...]:
    resistance = f"{joint.resistance_mm2K_W:.3g} +- {joint.plus_minus_mm2K_W:.2g}"
    if joint.highest_mm2K_W > joint.lowest_mm2K_W * (1.0 + 1e-9):
        resistance += f" ({joint.lowest_mm2K_W:.3g} to {joint.highest_mm2K_W:.3g})"
    doubt = joint.largest_doubt
    return (
        joint.joint,
        " - ".join(joint.between),
        significant(joint.film_um, 3),
        resistance,
        f"{joint.drop_K:.3g} +- {joint.drop_plus_minus_K:.2g}",
        f"{doubt} *" if doubt and doubt in joint.assumed else doubt or UNKNOWN,
    )


def _heat(heat: HeatMeasure) -> Block:
    rows = tuple(
        (zone.zone, f"{zone.power_W:.4g}", significant(zone.area_mm2, 4), f"{zone.flux_W_mm2:.3g}")
        for zone in heat.zones
    )
    if heat.map_W is not None:  # it covers the whole part, zones too
        flux = f"{heat.map_W / heat.area_mm2:.3g}"
        rows += ((f"map {heat.map_file}", f"{heat.map_W:.4g}", significant(heat.area_mm2, 4), flux),)
    if heat.rest_W is not None:
        area = heat.area_mm2 - sum(zone.area_mm2 for zone in heat.zones)
        rows += (("the rest", f"{heat.rest_W:.4g}", significant(area, 4), f"{heat.rest_W / area:.3g}"),)
    notes = [
        f"Together {heat.power_W:.4g} W, {heat.mean_W_mm2:.3g} W/mm2 over the {heat.area_mm2:.4g} mm2 of {heat.part}; "
        f"{100 * heat.covered_share:.3g} % of it makes heat."
    ]
    notes += [f"A thin strip without heat {strip}." for strip in heat.strips]
    where = "throughout" if heat.at == "volume" else f"in the {heat.at} face of"
    columns = (_left("zone"), Column("power [W]"), Column("area [mm2]"), Column("[W/mm2]"))
    return Block(f"Heat {where} {heat.part}", columns=columns, rows=rows, notes=tuple(notes))


def _faces(faces: tuple[FaceMeasure, ...]) -> Block:
    rows = tuple(
        (
            (face.label if face.label == face.face else f"{face.label} ({face.face})")
            + (f", {face.place}" if face.place else ""),
            "coolant film" if face.kind == "film" else face.kind,
            significant(face.area_mm2, 4),
            significant(face.film_W_m2K, 5),
            significant(face.fluid_C, 4) + (" *" if face.on_loop else ""),
            significant(face.resistance_K_W, 3),
            significant(face.flux_W_mm2, 3),
        )
        for face in faces
    )
    headings = ("area [mm2]", "[W/m2K]", "[C]", "[K/W]", "flux in [W/mm2]")
    notes = ("* Coolant of the loop, if all power comes to it.",) if any(face.on_loop for face in faces) else ()
    return Block("Faces", columns=(_left("face"), _left("is"), *map(Column, headings)), rows=rows, notes=notes)


def _options(measured: Measurements) -> Block:
    rows = tuple(
        (
            option.option,
            f"{option.height.height_mm:.4g}",
            fixed(option.height_change_mm, "+.3f"),
            f"{option.power_W:.4g}",
            str(len(option.slips) or "none"),
        )
        for option in measured.options
    )
    notes = tuple(
        f"{option.option}: {slip.severity.upper()}, {slip.place}: {slip.message}; {slip.remedy}"
        for option in measured.options
        for slip in option.slips
    )
    headings = ("height [mm]", "change [mm]", "power [W]", "new slips")
    return Block("Options", columns=(_left("option"), *map(Column, headings)), rows=rows, notes=notes)


def _grids(measured: Measurements) -> Block:
    forecast = measured.forecast
    rows = tuple(
        (f"{grid.cells:,}".replace(",", " "), f"{grid.memory_GB:.2g}", "yes" if grid.within_limit else "no, too large")
        for grid in forecast.grids
    )
    notes = (f"A study takes three grids or more, until the accuracy is held, within {forecast.memory_limit_GB:g} GB.",)
    return Block(
        "Grids that a prediction may take",
        columns=(Column("cells"), Column("memory [GB]"), _left("fits")),
        rows=rows,
        notes=notes,
    )
