"""How often a longer proof is repeated: a part of its count in the full check, all of it with `pytest -m long`."""

from __future__ import annotations

from _pytest.mark import ParameterSet
from pytest import mark, param


def counts(part: int, whole: int) -> list[ParameterSet]:
    """Values of a parameter: the part is marked slow, the whole both slow and long."""
    return [param(part, marks=mark.slow), param(whole, marks=[mark.slow, mark.long])]
