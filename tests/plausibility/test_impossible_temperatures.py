"""Below absolute zero nothing is; beyond melting and boiling points a material is no longer what was computed."""

from __future__ import annotations

import json
import sys
import threading
import warnings
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from stacks import case_of, even_grid, film, joint, part, solve_on

import thermsim.report.text.shown  # noqa: F401  (how results are printed)
from thermsim.case.inputs.values import inputs, with_inputs
from thermsim.case.options import with_option
from thermsim.case.vocabulary.schema import Case
from thermsim.commands.main import commands
from thermsim.commands.terminal import ProgressLine, is_compiling
from thermsim.comparison.compare import compare
from thermsim.errors import AbsoluteZeroError, CaseError, RunawayError, ThermsimError
from thermsim.limits.afford import afford
from thermsim.materials import catalogue
from thermsim.mesh.predict import predict
from thermsim.model.build import build_model
from thermsim.readout.materials_held import materials_not_held
from thermsim.solver.steady import steady_state
from thermsim.sweeps.points import Vary
from thermsim.sweeps.sweep import sweep

pytestmark = pytest.mark.usefixtures("coarse_grids")


def stack(watts: float = 40.0, material: str = "copper", fluid_C: float = 30.0, **more: object) -> Case:
    """A die under a lid, 4 W/mm2 K from the coolant: 40 W make 100 K in the film."""
    layers = [part("die", [10, 10], 0.5, 120.0), {"joint": "solder", "material": "indium solder"}]
    layers.append(part("lid", [10, 10], 2.0, material))
    heat = [{"in": "die", "zones": [{"zone": "core", "power_W": watts}]}]
    return case_of(layers, heat, [film("top", 4000, fluid_C)], **more)


def written(case: Case, folder: Path) -> Path:
    """As a file: YAML reads JSON."""
    path = folder / "case.yaml"
    path.write_text(json.dumps(case.model_dump(mode="json", by_alias=True, exclude_none=True, exclude_defaults=True)))
    return path


def test_below_absolute_zero_is_refused_on_every_way_in() -> None:
    case = stack()
    path = next(one.path for one in inputs(case) if one.path.endswith("fluid_C"))
    with pytest.raises(CaseError, match=r"yaml:\d+:\d+.*fluid_C"):
        stack(fluid_C=-300.0)
    with pytest.raises(ThermsimError, match="above absolute zero"):
        with_inputs(case, {path: -300.0})
    with pytest.raises(ThermsimError, match="above absolute zero"):
        sweep(case, [Vary(path, -473.0, 20.0, 3)])
    with pytest.raises(CaseError, match="absolute zero"):
        stack(fluid_C={"value": -200.0, "plus_minus": 80.0})  # type: ignore[arg-type]
    with pytest.raises(CaseError, match=r"-273\.15"):
        with_option(stack(options=[{"option": "cold", "changes": {f"{path}": -400.0}}]), "cold")


def test_heat_taken_out_without_end_is_refused() -> None:
    """By hand: 2 W/mm2 through 1 mm of 10 W/mK cost 200 K, and 4000 W/m2K at the other side 500 K."""
    layers = [part("slab", [10, 10], 1.0, 10.0)]
    cooling = [film("top", 4000, 30.0), {"face": "bottom", "flux_W_mm2": -2.0, "environment": "cryostat"}]
    case = case_of(layers, [], cooling)
    with pytest.raises(AbsoluteZeroError, match="below absolute zero") as told:
        predict(case, first_cells=200)
    assert "slab" in told.value.what and "cryostat" in told.value.remedy


def test_a_flux_that_makes_a_furnace_is_warned_of() -> None:
    """By hand: 10 W/mm2 through a film of 4000 W/m2K make 2500 K; no material is named, no part heated."""
    cooling = [film("top", 4000, 20.0), {"face": "bottom", "flux_W_mm2": 10.0}]
    told = predict(case_of([part("slab", [10, 10], 1.0, 400.0)], [], cooling), first_cells=200)
    assert told.field.hottest[0] == pytest.approx(20.0 + 2500.0 + 25.0, abs=0.5)
    assert any(remark.startswith("WARNING: 2545 C") for remark in told.remarks)


def test_every_named_solid_says_up_to_where_it_holds() -> None:
    """Fixed points of the International Temperature Scale of 1990 (from memory): the defining ones among the metals."""
    fixed = {"copper": 1084.62, "gold": 1064.18, "silver": 961.78, "aluminium": 660.323, "tin": 231.928}
    fixed["indium"] = 156.5985
    for name in catalogue.names():
        holds = catalogue.material(name).holds_to
        assert (holds is None) == (name == "air")
        if holds is not None:
            assert holds.how_sure in catalogue.HOW_SURE and len(holds.source) > 10
            assert holds.celsius == pytest.approx(fixed.get(name, holds.celsius))


def test_what_melts_is_named_with_its_part() -> None:
    """40 W leave solder and lid solid, 60 W melt the indium (157 C), 1000 W both (copper: 1085 C)."""
    told = [
        materials_not_held(case, solve_on(case, even_grid(case, [10, 10, 0.5]))) for case in map(stack, (40, 60, 1000))
    ]
    assert [[one.where for one in each] for each in told] == [[], ["solder"], ["lid", "solder"]]
    assert "lid reaches" in told[2][0].words and "copper melts at 1085 C" in told[2][0].words


def test_what_melts_is_warned_of_in_every_answer(tmp_path: Path) -> None:
    case = stack(60.0)
    warned = "indium solder melts at 156.6 C"
    assert any(remark.startswith("WARNING") and warned in remark for remark in predict(case, first_cells=200).remarks)
    swept = sweep(case, [Vary("core.power_W", 40.0, 60.0, 2)])
    assert [len(point.not_held) for point in swept.points] == [0, 1]
    assert "at 1 of 2 points solder reaches" in str(swept) and warned in str(swept)
    shown = CliRunner().invoke(commands, ["predict", str(written(case, tmp_path)), "--json"])
    assert any(warned in remark for remark in json.loads(shown.stdout)["remarks"])


def test_what_melts_at_a_limit_is_warned_of() -> None:
    case = stack(60.0, readings=[{"reading": "T", "zone": "core"}], limits={"reading_C": 200.0})
    found = afford(case)
    assert found.answers[0].not_held[0].material == "indium solder"
    assert "indium solder melts" in str(found)


def test_a_comparison_warns_of_what_its_option_melts() -> None:
    case = stack(40.0, options=[{"option": "more", "changes": {"core.power_W": 60.0}}])
    assert "indium solder melts" in str(compare(case))


def test_compiling_is_said_only_while_numba_compiles(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The search for a limit is long, too; it is none of the compiler's."""
    monkeypatch.setattr("thermsim.commands.terminal.COMPILES_AFTER_S", 0.01)
    waited = threading.Event()
    for held in (False, True):
        monkeypatch.setattr("thermsim.commands.terminal.is_compiling", lambda held=held: held)
        with ProgressLine(quiet=True):
            waited.wait(0.2)
        assert ("compiling" in capsys.readouterr().err) == held
    assert not is_compiling() and "thermsim.commands.terminal" in sys.modules


def test_no_warning_of_numpy_reaches_the_terminal() -> None:
    """A leakage that doubles every kelvin leaves the range of numbers long before it is refused."""
    leakage = {"at_C": 60.0, "share": 0.9, "doubling_K": 1.0}
    heat = [{"in": "die", "leakage": leakage, "zones": [{"zone": "a", "power_W": 500.0}]}]
    layers = [part("die", [10, 10], 0.5, "silicon"), joint("j", 10), part("lid", [10, 10], 1, "copper")]
    case = case_of(layers, heat, [film("top", 3000, 30)])
    with warnings.catch_warnings(), np.errstate(all="warn"):
        warnings.simplefilter("error")
        with pytest.raises(RunawayError):
            steady_state(build_model(case, even_grid(case, [10, 10, 0.5])))
