"""thermsim: how a chip's die and lid spread its heat, what each option would change, and how sure that is.

>>> import thermsim
>>> case = thermsim.read_case("cases/bare-slab.yaml")
>>> round(thermsim.predict(case).answers["hottest",], 4)
51.5625
"""

from __future__ import annotations

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

# One thread for BLAS, before numpy loads: its idle threads spin and would steal the cores of the solver.
for _library in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_library, "1")

if TYPE_CHECKING:
    from thermsim.bench.read_runs import read_runs
    from thermsim.bench.simulated.simulate import simulate_bench
    from thermsim.case.inputs.values import inputs, with_inputs
    from thermsim.case.load import parse_case, read_case
    from thermsim.case.options import with_option
    from thermsim.comparison.compare import compare
    from thermsim.comparison.warm_ups import warm_ups
    from thermsim.doubt.inputs import with_input_doubt
    from thermsim.errors import ThermsimError
    from thermsim.judgement.judge import judge
    from thermsim.limits.afford import afford
    from thermsim.mesh.predict import predict
    from thermsim.mesh.prediction import Prediction
    from thermsim.nearby.gradients import gradients
    from thermsim.nearby.many import many
    from thermsim.nearby.sensitivities import sensitivities
    from thermsim.nearby.superposition import superposition
    from thermsim.plausibility.measure import measure
    from thermsim.response.parting import parting
    from thermsim.response.step_response import StepResponse, step_response
    from thermsim.sweeps.sweep import Vary, sweep
    from thermsim.warming.outcome import Warmup
    from thermsim.warming.warmup import warmup

__version__ = "0.1.0"

__all__ = [
    "Prediction",
    "StepResponse",
    "ThermsimError",
    "Vary",
    "Warmup",
    "__version__",
    "afford",
    "compare",
    "gradients",
    "inputs",
    "judge",
    "many",
    "measure",
    "parse_case",
    "parting",
    "predict",
    "read_case",
    "read_runs",
    "sensitivities",
    "simulate_bench",
    "step_response",
    "superposition",
    "sweep",
    "warm_ups",
    "warmup",
    "with_input_doubt",
    "with_inputs",
    "with_option",
]

_HOME = {
    "read_case": "thermsim.case.load",
    "parse_case": "thermsim.case.load",
    "read_runs": "thermsim.bench.read_runs",
    "with_option": "thermsim.case.options",
    "inputs": "thermsim.case.inputs.values",
    "with_input_doubt": "thermsim.doubt.inputs",
    "with_inputs": "thermsim.case.inputs.values",
    "judge": "thermsim.judgement.judge",
    "many": "thermsim.nearby.many",
    "simulate_bench": "thermsim.bench.simulated.simulate",
    "measure": "thermsim.plausibility.measure",
    "afford": "thermsim.limits.afford",
    "compare": "thermsim.comparison.compare",
    "gradients": "thermsim.nearby.gradients",
    "sensitivities": "thermsim.nearby.sensitivities",
    "superposition": "thermsim.nearby.superposition",
    "sweep": "thermsim.sweeps.sweep",
    "Vary": "thermsim.sweeps.sweep",
    "warmup": "thermsim.warming.warmup",
    "warm_ups": "thermsim.comparison.warm_ups",
    "Warmup": "thermsim.warming.outcome",
    "step_response": "thermsim.response.step_response",
    "StepResponse": "thermsim.response.step_response",
    "parting": "thermsim.response.parting",
    "predict": "thermsim.mesh.predict",
    "Prediction": "thermsim.mesh.prediction",
    "ThermsimError": "thermsim.errors",
}


def __getattr__(name: str) -> Any:
    """Load each public name when it is first used, so that `import thermsim` stays quick."""
    if name not in _HOME:
        raise AttributeError(f"module 'thermsim' has no attribute {name!r}")
    import_module("thermsim.report.text.shown")  # how results print themselves
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
