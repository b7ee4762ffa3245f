"""What is said of comparisons, of small models and of the commands of studies: one row a kind of message."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack, chdir, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path
from types import SimpleNamespace
from unittest.mock import patch

import numpy as np
from remedies import OfCall, Row
from remedies_of_commands import TINY, tiny

from thermsim.case.inputs.values import inputs
from thermsim.case.load import parse_case
from thermsim.case.options import with_option
from thermsim.commands.main import main
from thermsim.comparison.compare import lost_of
from thermsim.comparison.tolerances import _Study
from thermsim.comparison.uncertainty import summarise
from thermsim.errors import ThermsimError
from thermsim.model.coefficients.groups import check_varies
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.small_model import Reduced
from thermsim.nearby.small_model_training import reduce

# ----------------------------------------------------------------------------------------- comparisons, small models


def lost(many: int, refused: int = 0) -> None:
    """A comparison of eight samples of which so many have no steady state in the option, or are refused."""
    found, others = np.zeros((2, 8, 2), bool)
    found[:many, 1], others[:refused, 1] = True, True
    lost_of(SimpleNamespace(lost=found, refused=others, why_refused="a hole"), 1, "thinner")  # type: ignore[arg-type]


def together(width: str, corner: str) -> None:
    """Two zones side by side with tolerances of width and place: each fits, not all that both may be."""
    text = TINY.replace("size_mm: 2, power", f"size_mm: {width}, power").replace("corner_mm: 6, size_mm: 4", corner)
    case = parse_case(text, "case.yaml", Path())
    cases = (case, with_option(case, "thinner"))
    whole = SimpleNamespace(
        cases=cases, names=("", "thinner"), questions=(), headline="", predictions=[SimpleNamespace(plan=None)]
    )
    _Study(whole, 32, 20267, SimpleNamespace())  # type: ignore[arg-type]


def summed(count: int, lost: int = 0, coverage: float = 0.9) -> None:
    samples = np.random.default_rng(20269).normal(size=count)
    samples[:lost] = np.nan
    summarise(samples, coverage)


def small(path: str, model: bool = False, backward: bool = False) -> None:
    case = parse_case(TINY, "case.yaml", Path())
    varied = [one for one in inputs(case) if one.path == path]
    if not model:
        check_varies(case, varied)
        return
    limits = (np.array([10.0]), np.array([5.0]))
    reduce(
        case, varied=varied, plan=plan_grid(case, 200), multiplier=1, solved=6, held_out=2, candidates=8,
        limits=limits if backward else limits[::-1],
    )  # fmt: skip


def asked_of_small(*values: float) -> None:
    varied = [SimpleNamespace(path=path) for path in ("core.power_W", "edge.power_W")]
    Reduced._checked(SimpleNamespace(varied=varied), values)  # type: ignore[arg-type]


COMPARISONS: list[Row] = [
    OfCall(
        lambda _: lost(7),
        "narrow the tolerances .measure them., or lower the power or the leakage: no gain can be told",
        lambda _: lost(1),
    ),
    OfCall(
        lambda _: lost(0, refused=7),
        "7 of 8 samples .* for another reason .*: a hole\n  remedy: narrow the tolerances",
        lambda _: lost(0, refused=1),
    ),
    OfCall(
        lambda _: together("{value: 2, plus_minus: 0.8}", "corner_mm: {value: 7, plus_minus: 0.8}, size_mm: 2"),
        "do not fit together: .*\n.*narrow one of them, or leave room between what they move",
        lambda _: (
            together("{value: 2, plus_minus: 0.1}", "corner_mm: {value: 7, plus_minus: 0.8}, size_mm: 2"),
            together("{value: 2, plus_minus: 0.8}", "corner_mm: {value: 8, plus_minus: 0.8}, size_mm: 1"),
        ),
    ),
    OfCall(lambda _: summed(250), "do not fill 8 blocks\n  remedy: hand over all samples", lambda _: summed(256)),
    OfCall(
        lambda _: summed(256, lost=3),
        "leaving them out would tell a wrong interval\n  remedy: narrow the tolerances that lead there",
        lambda _: summed(256),
    ),
    OfCall(
        lambda _: summed(64, coverage=0.99), "take ([0-9]+) samples or more", lambda _, n: summed(int(n), coverage=0.99)
    ),
    OfCall(
        lambda _: small("core.corner_mm.0"),
        "cannot vary core.corner_mm.0\n  remedy: leave it out, or solve each case in full",
        lambda _: small("core.power_W"),
    ),
    OfCall(
        lambda _: small("core.power_W", model=True, backward=True),
        "ends below where it begins\n  remedy: give the lower end first",
        lambda _: small("core.power_W", model=True),
    ),
    OfCall(
        lambda _: asked_of_small(1.0),
        "give one number for each of core.power_W, edge.power_W",
        lambda _: asked_of_small(1.0, 2.0),
    ),
]

# ------------------------------------------------------------------------------------------------- commands of studies


def typed(folder: Path, line: str, **stand_ins: object) -> None:
    """A command line as the program runs it; what it tells where it ends with a failure, as an error."""
    tiny(folder)
    out = StringIO()
    with ExitStack() as stack:
        for manager in (chdir(folder), redirect_stdout(out), redirect_stderr(out)):
            stack.enter_context(manager)
        stack.enter_context(patch("sys.argv", ["thermsim", *line.split()]))
        stack.enter_context(patch("thermsim.commands.main.replace_letters", lambda: None))
        for name, value in stand_ins.items():
            stack.enter_context(patch(f"thermsim.{name.replace('__', '.')}", value))
        try:
            main()
        except SystemExit as ended:
            if ended.code:
                raise ThermsimError(out.getvalue()) from None


def stopped(*_: object, **__: object) -> None:
    raise KeyboardInterrupt


def too_many(case: object, samples: int = 1024, **_: object) -> None:
    if samples > 512:
        raise MemoryError


def proven(holds: bool) -> Callable[..., dict[str, object]]:
    return lambda *_: {"holds": holds, "outside": 1 - holds, "lines": [1]}


def prove(folder: Path, holds: bool) -> None:
    """The command on an installation that holds, or not; what it computes stands aside."""
    typed(
        folder, "prove --json",
        proof__run__published__prove=lambda *_: None, proof__run__document__document=proven(holds),
        proof__table__shipped__cases_folder=lambda _: None,
    )  # fmt: skip


COMMANDS: list[Row] = [
    OfCall(
        lambda f: typed(f, "compare case.yaml --out out", comparison__compare__compare=stopped),
        "the tasks that are finished are kept in .*; the same command with `--resume` goes on",
        lambda f: typed(
            f,
            "compare case.yaml --out out --resume",
            comparison__compare__compare=lambda *_, journal, **__: journal.rows(),
            commands__compare__tell=lambda *_: None,
            report__files__compare_export__write=lambda *_, **__: [],
        ),
    ),
    OfCall(
        lambda f: typed(f, "compare case.yaml", comparison__compare__compare=too_many, commands__compare__tell=stopped),
        "ask for fewer samples or workers, or a coarser accuracy; `--memory` bounds what grids take",
        lambda f: typed(
            f,
            "compare case.yaml --samples 256",
            comparison__compare__compare=too_many,
            commands__compare__tell=lambda *_: None,
        ),
    ),
    OfCall(
        lambda f: prove(f, holds=False),
        "1 of 1 published references are missed.*\n.*do not trust this installation; run the tests",
        lambda f: prove(f, holds=True),
    ),
]

ROWS: list[Row] = [*COMPARISONS, *COMMANDS]
