"""What is said of answers that cannot be had, be sure enough, or be right, on grids and in time: one row a message."""

from __future__ import annotations

from ast import literal_eval
from functools import cache, partial

from remedies import OfCall, Row
from remedies_of_commands import WHOLE
from remedies_of_solving import BOTTOM, COLD, COLUMN, EXACT, LEAKS, ON_LOOP, bounded, solved, tiny

from thermsim.case.vocabulary.schema import Case
from thermsim.doubt.inputs import with_input_doubt
from thermsim.errors import RunawayError, ThermsimError
from thermsim.limits.afford import afford
from thermsim.limits.states import crossing
from thermsim.mesh.bounds import Bounds
from thermsim.mesh.literature import celik
from thermsim.mesh.predict import predict
from thermsim.mesh.prediction import Prediction
from thermsim.model.grid.plan import plan_grid
from thermsim.nearby.gradients import gradients
from thermsim.nearby.many import many
from thermsim.nearby.superposition import superposition
from thermsim.proof.closed_form.nonlinear import Leakage, leakage_balance
from thermsim.proof.closed_form.slab import End, Layer, solve_slab
from thermsim.proof.closed_form.transient import slab_heating
from thermsim.readout.answers import answers
from thermsim.readout.field import Field
from thermsim.readout.observable import find, of_probe
from thermsim.transient.grid import time_plan
from thermsim.warming.outcome import Warmup
from thermsim.warming.warmup import warmup


@cache
def predicted(base: str = COLUMN) -> Prediction:
    return predict(tiny(base=base), first_cells=100)


@cache
def warmed() -> Warmup:
    return warmup(tiny(base=EXACT), 1.0, 2.0, first_cells=100)


def balanced(heat: str) -> Field:
    return solved((BOTTOM, f"{BOTTOM}  - {{face: bottom, flux_W_mm2: {heat}}}\n"), base=COLUMN)


def in_void(asked: str) -> object:
    """Where one probe has no temperature: a case with such a place is not read."""
    probes = (
        "probes:\n  - {probe: inside, in: chip, at_mm: [2.5, 0.3]}\n  - {probe: beside, in: chip, at_mm: [1, 0.3]}\n"
    )

    def without_it(case: Case, field: Field) -> object:
        found = answers(case, field)
        found[of_probe("inside")] = float("nan")
        return found

    case = tiny(("readings:", f"{probes}readings:"))
    found = partial(gradients, case, plan_grid(case, 200), 1, [asked])
    return bounded(found, {"nearby.gradients.answers": without_it})


def observables_of(words: object) -> object:
    return find(answers(tiny(), solved()), words)  # type: ignore[arg-type]


def swept(*edits: tuple[str, str]) -> object:
    """Where every point runs away on the first grid of the sweep, as long as anything leaks."""
    from thermsim.sweeps import sweep as module

    answered = module._Climb._answers

    def on_the_first(self: module._Climb, number: int, *more: object) -> object:
        if any(heat.leakage is not None for heat in self.places[number].case.heat):
            raise RunawayError("leakage outruns the cooling")
        return answered(self, number, *more)  # type: ignore[arg-type]

    vary = [module.Vary("top.fluid_C", 20, 30, 2)]
    at_first = partial(predict, first_cells=100)
    case = tiny(*edits, base=EXACT)
    return bounded(
        lambda: module.sweep(case, vary),
        {"sweeps.sweep._Climb._answers": on_the_first, "sweeps.sweep.predict": at_first},
    )


def of_samples(**more: object) -> object:
    return with_input_doubt(predicted(EXACT), **more)  # type: ignore[arg-type]


def bent(**more: int) -> None:
    """A film that may be anything from thin to thick, which is no straight line, and a power that goes with it."""
    wide = ("film_W_m2K: 9000", "film_W_m2K: {value: 9000, plus_minus: 6500}")
    power = ("power_W: 10", "power_W: {value: 10, plus_minus: 9}")
    made = predict(tiny(wide, power, base=EXACT), first_cells=100)
    inputs = bounded(lambda: with_input_doubt(made, **more), {"doubt.inputs.enough": lambda count: count // 8}).inputs
    assert inputs is not None
    if remarks := [one for one in inputs.remarks if "act on one another" in one]:
        raise ThermsimError("\n".join(remarks))


def told_no_state(failing: bool) -> object:
    """The base of samples without a steady state on their grid."""
    from thermsim.run.tasks import Failure

    lost = lambda *_, **__: [Failure("RunawayError", "leakage outruns the cooling")]  # noqa: E731
    return bounded(lambda: with_input_doubt(predicted(), samples=256 if failing else None), {"doubt.inputs.run": lost})


def far_away(case: Case) -> object:
    """Where every grid of a study but the coarsest runs away, as long as anything leaks."""

    def predicted_there(case: Case, **more: object) -> Prediction:
        if any(heat.leakage is not None for heat in case.heat):
            raise RunawayError("leakage outruns the cooling")
        return predict(case, first_cells=100, **more)  # type: ignore[arg-type]

    return bounded(
        lambda: afford(case, accuracy_K=1.0),
        {"limits.afford.predict": predicted_there, "limits.afford.plan_grid": partial(plan_grid, cells=100)},
    )


def held_in(from_s: float, memory_GB: float) -> None:
    """Whether the grids of a study in time may take so much, from its first time on."""
    from thermsim.warming.warmup import _check_memory

    case = tiny(base=WHOLE["case.yaml"])
    plan = plan_grid(case, 1000)
    _check_memory(time_plan(case, plan, from_s), plan, memory_GB)


READ_OFF: list[Row] = [
    OfCall(
        lambda _: bounded(solved, {"readout.field.LARGEST_IMBALANCE": -1.0}),
        "heat in and out differ by .*\n.*keep the case file and report it",
        lambda _: solved(),
    ),
    OfCall(
        lambda _: balanced("-4"),
        "below absolute zero\n  remedy: less heat may be taken out than `bottom` .* does, or more must come in",
        lambda _: balanced("-0.004"),
    ),
    OfCall(
        lambda _: observables_of(("zone", "core")),
        r"may be any of 3\n  remedy: say which: [^(]*: (\([^)]*\))",
        lambda _, words: observables_of(literal_eval(words)),
    ),
    OfCall(
        lambda _: in_void("probe inside"),
        "lies in a void\n  remedy: leave it out of what is asked",
        lambda _: in_void("probe beside"),
    ),
    OfCall(
        lambda _: gradients(tiny(), plan_grid(tiny(), 200), 2, field=solved()),
        "not solved on this grid\n  remedy: leave it out, or give its plan and multiplier",
        lambda _: gradients(tiny(), plan_grid(tiny(), 200), 1, field=solved()),
    ),
    OfCall(
        lambda _: superposition(tiny(), solved()).temperatures([1.0]),
        r"give one heat \[W\] for each of core, edge",
        lambda _: superposition(tiny(), solved()).temperatures([1.0, 2.0]),
    ),
    OfCall(
        lambda _: many(tiny(base=EXACT), []),
        "give at least one, as {path: value}",
        lambda _: bounded(
            lambda: many(tiny(base=EXACT), [{"chip.thickness_mm": 1.0}]),
            {"nearby.many.predict": partial(predict, first_cells=100)},
        ),
    ),
]
MESH: list[Row] = [
    OfCall(
        lambda _: Bounds(20.0, 50.0, 40.0).checked(1e-6),
        "that hold for any conduction\n.*keep the case file and report it",
        lambda _: Bounds(20.0, 30.0, 40.0).checked(1e-6),
    ),
    OfCall(
        lambda _: celik([1.0, 1.1, 1.12], [1.0, 0.9, 0.8]),
        "refine each grid by at least ([0-9.]+) in",
        lambda _, ratio: celik([1.0, 1.1, 1.12], [1.0, 1.0 / float(ratio), 1.0 / float(ratio) ** 2]),
    ),
    OfCall(
        lambda _: predict(tiny(base=EXACT), first_cells=100, accuracy_K=-1.0),
        "give kelvins above zero, such as ([0-9.]+)",
        lambda _, wanted: predict(tiny(base=EXACT), first_cells=100, accuracy_K=float(wanted)),
    ),
    OfCall(
        lambda _: predict(tiny(base=EXACT), first_cells=100, accuracy_W=-1.0),
        "give watts above zero, such as ([0-9.]+)",
        lambda _, wanted: predict(tiny(base=EXACT), first_cells=100, accuracy_W=float(wanted)),
    ),
    OfCall(
        lambda _: of_samples(coverage=0.2),
        "give a share from 0.5 to 0.999, such as ([0-9.]+)",
        lambda _, wanted: of_samples(coverage=float(wanted)),
    ),
    OfCall(
        lambda _: of_samples(samples=10**9),
        "more than the ([0-9]+) that are held\n  remedy: ask for fewer",
        lambda _, most: of_samples(samples=int(most)),
    ),
    OfCall(lambda _: told_no_state(failing=True), "ask without `--samples`", lambda _: told_no_state(failing=False)),
    OfCall(
        lambda _: bent(), "act on one another.*`--samples (256)` follows it", lambda _, count: bent(samples=int(count))
    ),
    OfCall(
        lambda _: far_away(tiny(LEAKS, base=EXACT)),
        "outruns the cooling at .* % of the clocked power already\n  remedy: lower the power or the leakage",
        lambda _: far_away(tiny(base=EXACT)),
    ),
    OfCall(
        lambda _: crossing(lambda at: -1.0 if at < 0.3 else 1.0, 0.0, 1.0),
        "was not found\n  remedy: report this case",
        lambda _: crossing(lambda at: at - 0.3, 0.0, 1.0),
    ),
    OfCall(
        lambda _: swept(LEAKS),
        "no point of the sweep has an answer; the first says: leakage .*\n.*lower the power or the leakage",
        lambda _: swept(),
    ),
]
IN_TIME: list[Row] = [
    OfCall(
        lambda _: warmup(tiny(ON_LOOP, base=EXACT), 1.0, 2.0),
        "how fast the coolant of the loop .*; give `heat_capacity_J_K`, about",
        lambda _: warmup(
            tiny(ON_LOOP, (", room_C: 23", ", room_C: 23, heat_capacity_J_K: 400"), base=EXACT),
            1.0,
            2.0,
            first_cells=100,
        ),
    ),
    OfCall(
        lambda _: warmup(tiny(base=EXACT), 0.0),
        "give the first time above zero, and the last one above the first",
        lambda _: warmed(),
    ),
    OfCall(
        lambda _: warmup(tiny(base=EXACT), 1.0, 2.0, first_cells=100, also_s=[3.0]),
        "ask for times in between, or for a longer span",
        lambda _: warmup(tiny(base=EXACT), 1.0, 3.0, first_cells=100, also_s=[3.0]),
    ),
    OfCall(
        lambda _: warmup(tiny(base=EXACT), 1.0, 2.0, first_cells=100, settled_K=0.0),
        "give kelvins above zero",
        lambda _: warmed(),
    ),
    OfCall(
        lambda _: warmup(tiny(base=COLD), 1.0, 2.0),
        "the case makes no heat\n  remedy: give `heat`",
        lambda _: warmed(),
    ),
    OfCall(
        lambda _: held_in(1e-6, 0.02),
        "allow more: `--memory ([0-9.]+)`, or ask from a later time on",
        lambda _, least: held_in(1e-6, float(least)),
    ),
    OfCall(lambda _: held_in(1e-6, 0.02), "ask from a later time on", lambda _: held_in(1.0, 0.02)),
    OfCall(
        lambda _: bounded(
            lambda: warmup(tiny(base=EXACT), 1.0, 2.0, first_cells=100), {"warming.family.LARGEST_IMBALANCE": -1.0}
        ),
        "heat made, stored and let out differ.*\n.*keep the case file and report it",
        lambda _: warmed(),
    ),
    OfCall(
        lambda _: bounded(
            lambda: warmup(tiny(base=EXACT), accuracy_K=1e-4, first_cells=100), {"transient.krylov.MOST_SHIFTS": 5}
        ),
        "ask for a shorter span of times, or for less accuracy",
        lambda _: bounded(
            lambda: warmup(tiny(base=EXACT), 1.0, 2.0, first_cells=100), {"transient.krylov.MOST_SHIFTS": 5}
        ),
    ),
]
CLOSED_FORMS: list[Row] = [
    OfCall(
        lambda _: leakage_balance(25.0, 5.0, 20.0, Leakage(10.0, 60.0, 20.0)),
        "above the limit of ([0-9.]+) K/W\n  remedy: less power or a better path to the coolant",
        lambda _, limit: leakage_balance(25.0, 0.999 * float(limit), 20.0, Leakage(10.0, 60.0, 20.0)),
    ),
    OfCall(
        lambda _: solve_slab(End(0.0, 20.0), [Layer(1e-3, 100.0)], End(0.0, 20.0)),
        "give one end a film or a temperature",
        lambda _: solve_slab(End(0.0, 20.0), [Layer(1e-3, 100.0)], End(100.0, 20.0)),
    ),
    OfCall(
        lambda _: slab_heating(1e-12, 0.0, 1.0),
        "use the half space, exact for Fo below ([0-9.]+)",
        lambda _, fourier: slab_heating(float(fourier), 0.0, 1.0),
    ),
]

ROWS: list[Row] = [*READ_OFF, *MESH, *IN_TIME, *CLOSED_FORMS]
