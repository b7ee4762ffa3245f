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
    from thermsim.case.load import parse_case, read_case
    from thermsim.case.options import with_option
    from thermsim.errors import ThermsimError
    from thermsim.model.values import inputs, with_inputs
    from thermsim.study.afford import afford
    from thermsim.study.compare import compare
    from thermsim.study.gradients import gradients
    from thermsim.study.many import many
    from thermsim.study.measure import measure
    from thermsim.study.predict import Prediction, predict
    from thermsim.study.sensitivities import sensitivities
    from thermsim.study.superposition import superposition
    from thermsim.study.sweep import Vary, sweep

__version__ = "0.1.0"

__all__ = [
    "Prediction",
    "ThermsimError",
    "Vary",
    "__version__",
    "afford",
    "compare",
    "gradients",
    "inputs",
    "many",
    "measure",
    "parse_case",
    "predict",
    "read_case",
    "sensitivities",
    "superposition",
    "sweep",
    "with_inputs",
    "with_option",
]

_HOME = {
    "read_case": "thermsim.case.load",
    "parse_case": "thermsim.case.load",
    "with_option": "thermsim.case.options",
    "inputs": "thermsim.model.values",
    "with_inputs": "thermsim.model.values",
    "many": "thermsim.study.many",
    "measure": "thermsim.study.measure",
    "afford": "thermsim.study.afford",
    "compare": "thermsim.study.compare",
    "gradients": "thermsim.study.gradients",
    "sensitivities": "thermsim.study.sensitivities",
    "superposition": "thermsim.study.superposition",
    "sweep": "thermsim.study.sweep",
    "Vary": "thermsim.study.sweep",
    "predict": "thermsim.study.predict",
    "Prediction": "thermsim.study.predict",
    "ThermsimError": "thermsim.errors",
}


def __getattr__(name: str) -> Any:
    """Load each public name when it is first used, so that `import thermsim` stays quick."""
    if name not in _HOME:
        raise AttributeError(f"module 'thermsim' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
