"""A proof as one plain document: what `--json` prints, and what table and page are made of."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

from thermsim.proof.run.compared_row import STEEPEST, Line
from thermsim.proof.run.control import Control
from thermsim.proof.run.honesty import COVERED, SHARES, WIDTHS, Array, Honesty, covered, widths
from thermsim.proof.run.published import Proof
from thermsim.proof.table.references import LEFT_OUT
from thermsim.report.data.versions import versions


def document(proof: Proof, honesty: Honesty | None = None) -> dict[str, Any]:
    """Mappings, lists, text and finite numbers; null where a number does not exist."""
    lines = [_line(line) for line in proof.lines]
    held = [line["doubt_holds"] for line in lines if line["doubt_holds"] is not None]
    return {
        "holds": proof.holds and (honesty is None or honesty.holds),
        "made": datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC"),
        "versions": versions(),
        "seconds": proof.seconds,
        "lines": lines,
        "outside": sum(line["verdict"] == "OUTSIDE" for line in lines),
        "excellent": sum(line["verdict"] == "excellent" for line in lines),
        "asked_for_excellent": sum(line["excellent"] is not None for line in lines),
        "doubts_that_hold": sum(held),
        "doubts_asked": len(held),
        "doubts_at_round_off": sum(line["at_round_off"] for line in lines if line["doubt_holds"] is not None),
        "steepest_order": STEEPEST,
        "control": _control(proof.control),
        "honesty": None if honesty is None else _honesty(honesty),
        "left_out": list(LEFT_OUT),
    }


def _control(control: Control) -> dict[str, Any]:
    return {
        "sizes": list(control.false.sizes),
        "errors": list(control.false.errors),
        "expected": list(control.expected),
        "order": control.false.order,
        "gate": control.false.wanted_order,
        "true_errors": list(control.true.errors),
        "true_order": control.true.order,
        "true_shows": control.true_shows,
        "is_as_expected": control.is_as_expected,
        "refused_by_order_alone": control.refused_by_order_alone,
        "passes": control.passes,
        "works": control.works,
    }


def _line(line: Line) -> dict[str, Any]:
    return {
        "case": line.case,
        "file": line.file,
        "option": line.option,
        "source": line.source,
        "known": line.known,
        "quantity": line.quantity,
        "unit": line.unit,
        "reference": line.reference,
        "thermsim": _finite(line.found),
        "difference": _finite(line.difference),
        "within": line.within,
        "excellent": line.excellent,
        "mesh_doubt": line.doubt,
        "doubt_holds": line.doubt_holds,
        "order": line.order,
        "wanted_order": line.wanted_order,
        "verdict": line.verdict,
        "misses": list(line.misses),
        "at_round_off": line.at_round_off,
        "refusal": line.is_refusal,
        "accuracy_held": line.accuracy_held,
        "note": line.note,
        "differs": line.differs,
        "sizes": list(line.sizes),
        "errors": list(line.errors),
        "solver_errors": list(line.noise),
    }


def _honesty(honesty: Honesty) -> dict[str, Any]:
    error, doubt = honesty.both
    kinds = {"zone means": honesty.means, "highest of zones": honesty.peaks, "both": (error, doubt)}
    return {
        "stacks": honesty.stacks,
        "accuracy_held": honesty.held,
        "refused": list(honesty.refused),
        "seed": honesty.seed,
        "seconds": honesty.seconds,
        "asked": {"covered": COVERED, "median_width": WIDTHS},
        "holds": honesty.holds,
        "shares": list(SHARES),
        "kinds": {name: _distribution(*pair) for name, pair in kinds.items()},
        "error_K": error.tolist(),
        "doubt_K": doubt.tolist(),
    }


def _distribution(error: Array, doubt: Array) -> dict[str, Any]:
    return {
        "temperatures": len(error),
        "covered": covered(error, doubt),
        "doubt_over_error": widths(error, doubt).tolist(),
        "largest_error_over_doubt": float((error / doubt).max()),
        "median_error_K": float(sorted(error)[len(error) // 2]),
        "largest_error_K": float(error.max()),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
