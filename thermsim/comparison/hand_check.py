"""A sanity check of an exchanged joint by hand: the change of its resistance times the heat flux through it.

A joint of R'' under an even flux q'' costs R'' q''. The flux over hot spots lies between the average over the joint and
that of the hottest zone, so the gain of a joint exchange lies between both products, but for what the exchange does to
spreading and leakage (common practice, no source).
"""

from __future__ import annotations

from thermsim.case.vocabulary.schema import Case, Joint
from thermsim.comparison.outcome import FluxBounds
from thermsim.model.physics.properties import joint_of
from thermsim.readout.field import Field

SAME_m2K_W = 1e-12  # [m2K/W] resistances that differ by less are the same: a thousandth of that of the thinnest film


def flux_bounds(base: Case, option: Case, field: Field, gain_K: float) -> FluxBounds:
    """Bounds on the gain of an option that exchanges joints. field : of the base, on its finest grid"""
    changes = _changes(base, option)
    if changes is None:
        return FluxBounds(
            None, None, "the layers are others: a change of joint resistance alone does not bound this gain"
        )
    if not changes:
        return FluxBounds(None, None, "no joint between parts changes its resistance")
    if any(change is None for change in changes.values()):
        return FluxBounds(None, None, "a film from a map has no one resistance to bound the gain by")
    hottest = max(field.zones, key=lambda zone: zone.highest_C, default=None)
    if hottest is None:
        return FluxBounds(None, None, "nothing is heated: there is no flux to bound the gain by")
    peak = hottest.power_W / hottest.area_m2
    ends = [0.0, 0.0]
    for joint, change in changes.items():
        average = _average_flux(field, joint)
        if average is None or change is None:
            return FluxBounds(None, None, f"{joint} carries no heat upwards that could be averaged")
        pair = sorted((change * average, change * max(peak, average)))
        ends = [end + part for end, part in zip(ends, pair, strict=True)]
    low, high = ends
    taken = f"change of R'' times the average flux, and times that of {hottest.label} ({peak / 1e6:.2f} W/mm2)"
    return FluxBounds(low, high, f"{taken}{_judged(base, option, gain_K, low, high)}")


def _judged(base: Case, option: Case, gain_K: float, low: float, high: float) -> str:
    others = _other_changes(base, option)
    if others:
        return f"; the option changes more than joints ({', '.join(others)}), so the gain need not lie between"
    if low <= gain_K <= high:
        return "; the gain lies between, as it should"
    beyond = gain_K - high if gain_K > high else low - gain_K
    way = "above" if gain_K > high else "below"
    leaks = any(heat.leakage is not None for heat in base.heat)
    why = "less leakage and the way heat spreads" if leaks else "the way heat spreads in die and lid changes too"
    return f"; the gain lies {beyond:.1g} K {way}: {why}{' make the rest' if leaks else ''}"


def _changes(base: Case, option: Case) -> dict[str, float | None] | None:
    """Resistance [m2K/W] that each joint loses; None for a map; no mapping where the layers are not the same."""
    if [_name(layer) for layer in base.layers] != [_name(layer) for layer in option.layers]:
        return None
    changes: dict[str, float | None] = {}
    for before, after in zip(base.joints, option.joints, strict=True):
        if before == after:
            continue
        middles = [joint_of(joint, base.dimensions).middle() for joint in (before, after)]
        if middles[0] is None or middles[1] is None:
            changes[before.joint] = None
        elif abs(middles[0].value - middles[1].value) > SAME_m2K_W:
            changes[before.joint] = middles[0].value - middles[1].value
    return changes


def _name(layer: object) -> str:
    return f"joint {layer.joint}" if isinstance(layer, Joint) else f"part {getattr(layer, 'part', '')}"


def _average_flux(field: Field, joint: str) -> float | None:
    plane = next((plane for plane in field.model.joints if plane.joint == joint), None)
    if plane is None:
        return None
    area = field.model.grid.face_area(2)[plane.meets].sum()
    heat = float(field.z_flow(plane.face)[plane.meets].sum())
    return abs(heat) / float(area) if area > 0.0 and heat != 0.0 else None


def _other_changes(base: Case, option: Case) -> list[str]:
    """Parts, heat and cooling that an option changes beside joints, in words."""
    changed = [before.part for before, after in zip(base.parts, option.parts, strict=True) if before != after]
    changed += ["heat"] * (base.heat != option.heat) + ["cooling"] * (base.cooling != option.cooling)
    return changed
