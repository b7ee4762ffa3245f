"""Numbers of a table of runs that nobody can have measured: told with what was probably meant."""

from __future__ import annotations

from collections.abc import Iterator

from thermsim.bench.columns import Bench
from thermsim.case.vocabulary.schema import Case
from thermsim.errors import Fault
from thermsim.tables.table import Row, Table
from thermsim.units import ZERO_CELSIUS_K

# What is measured on a bench: own choice, far beyond what is usual. Temperatures [C], powers [W], speeds [1/min], [%].
READING_C = (-60.0, 150.0)
RANGES = {
    "coolant": (-60.0, 95.0),
    "room": (-40.0, 60.0),
    "package": (0.0, 20_000.0),
    "on_load": (0.0, 30 * 86_400.0),
    "score": (0.0, float("inf")),
    "fans": (0.0, 50_000.0),
    "pump": (0.0, 100.0),
}
BELOW_COOLANT_K = 10.0  # that no sensor's offset explains
OF_CASE = 20.0  # times the power of the case, and its reciprocal: another prefix of the unit
FEW = 3  # faults of one column that are told one by one


def implausible(bench: Bench, table: Table) -> list[Fault]:
    """Numbers beyond anything that a bench shows, and readings far below their coolant."""
    faults: list[Fault] = []
    total_W = _power(bench.case)
    for key in table.headings:
        low, high = READING_C if key in bench.readings else RANGES.get(key, (0.0, 0.0))
        beyond = [] if low == high else [
            (row, value) for row in table.rows if (value := row.number(key)) is not None and not low <= value <= high
        ]  # fmt: skip
        prefixed = list(_other_prefix(table, total_W)) if key == "package" and total_W is not None else []
        faults += prefixed or _told(table, key, beyond, low, high)
    if not faults:
        faults += [fault for row in table.rows for fault in _below_coolant(bench, table, row)]
    return faults


def _told(table: Table, key: str, beyond: list[tuple[Row, float]], low: float, high: float) -> Iterator[Fault]:
    """Numbers beyond what is plausible, one by one if they are few."""
    if not beyond:
        return
    unit = table.headings[key].column.unit or ""

    def hint(are: str, values: list[float]) -> str:
        meant, sign = _scale(values, low, high) if unit == "C" else ("", "")
        return f"; if {are} in {meant}, head the column `{key} [{sign}]`" if meant else ""

    limits = f"{low:g} to {high:g}" if high < float("inf") else f"{low:g} or more"
    if len(beyond) > FEW:
        lines = ", ".join(str(row.line) for row, _ in beyond[:10]) + (" and more" if len(beyond) > 10 else "")
        what = f"{len(beyond)} of {len(table.rows)} numbers are not from {limits} {unit}".rstrip()
        yield table.fault(None, key, f"{what} (lines {lines})" + hint("they are", [value for _, value in beyond]))
        return
    for row, value in beyond:
        shown = f"{value:g} {unit}".rstrip() if table.quotes else "a number"
        yield table.fault(row, key, f"found {shown}, not from {limits}{hint('it is', [value])}")


def _scale(values: list[float], low: float, high: float) -> tuple[str, str]:
    """The scale of temperature on which all values were plausible, and its unit; empty for none."""
    least = max(low, -20.0)  # beyond what is usual both scales would do
    if all(least <= value - ZERO_CELSIUS_K <= high for value in values):
        return "kelvin", "K"
    if all(least <= (value - 32.0) / 1.8 <= high for value in values):
        return "degrees Fahrenheit", "F"
    return "", ""


def _power(case: Case) -> float | None:
    """All heat of a case [W]; None where part of it is a map."""
    total = 0.0
    for heat in case.heat:
        if heat.map is not None:
            return None
        own = [zone.power_W.value for zone in heat.zones or [] if zone.power_W is not None]
        total += heat.power_W.value if heat.power_W is not None else sum(own)
    return total if total > 0.0 else None


def _other_prefix(table: Table, total_W: float) -> Iterator[Fault]:
    """Powers that are those of the case in milliwatts or kilowatts."""
    found = [(row, value) for row in table.rows if (value := row.number("package")) is not None and value > 0.0]
    for row, value in found:
        for factor, unit in ((1e-3, "mW"), (1e3, "kW")):
            is_far = value > OF_CASE * total_W if factor < 1.0 else value < total_W / OF_CASE
            if is_far and total_W / 4.0 < value * factor < 4.0 * total_W:
                shown = f"{value:g} W" if table.quotes else "that"
                what = f"the case makes {total_W:g} W, and {shown} are far from it"
                yield table.fault(row, "package", f"{what}; in {unit}? head the column `package [{unit}]`")
                return


def _below_coolant(bench: Bench, table: Table, row: Row) -> Iterator[Fault]:
    coolant = row.number("coolant")
    if coolant is None:
        return
    for name in bench.readings:
        value = row.number(name)
        if value is not None and value < coolant - BELOW_COOLANT_K:
            shown = (
                f"{value:g} C lies {coolant - value:.3g} K below the coolant of its line" if table.quotes else "too low"
            )
            yield table.fault(row, name, f"{shown}; leave the cell empty if the sensor showed nothing, or check the "
                              "units of both")  # fmt: skip
