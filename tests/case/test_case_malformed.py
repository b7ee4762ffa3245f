"""Spoilt case files: refused with a place, or sound by an independent check; never any other failure."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction as Exact
from pathlib import Path

import pytest
from counts import counts
from malformed import malformed
from samples import CORNCRAKE, SLICE

from thermsim.case.load import read_case
from thermsim.case.vocabulary.schema import Case, Part
from thermsim.errors import CaseError
from thermsim.materials import catalogue

ROUNDS = 4
HANGS_S = 60.0
FILES = list(malformed([CORNCRAKE, SLICE], ROUNDS))
TOLERANCE_mm = Exact(1, 100_000)


def test_there_are_enough_of_them() -> None:
    assert len({data for _, data, _ in FILES}) >= 300


@pytest.mark.parametrize(("name", "data", "certain"), FILES, ids=[name for name, _, _ in FILES])
def test_spoilt_file(name: str, data: bytes, certain: bool, tmp_path: Path) -> None:
    check(data, certain, tmp_path / "case.yaml")


@pytest.mark.parametrize("rounds", counts(12, 130))
def test_ten_thousand_spoilt_files(tmp_path: Path, rounds: int) -> None:
    """Every one of them is refused or sound, with no other failure and no hang."""
    count = 0
    for name, data, certain in malformed([CORNCRAKE, SLICE], rounds):
        count += 1
        try:
            check(data, certain, tmp_path / "case.yaml")
        except BaseException as failure:
            failure.add_note(name)
            raise
    assert count >= 80 * rounds


@contextmanager
def no_hang() -> Iterator[None]:
    """A file that is read for a minute is read for ever."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def stop(number: int, frame: object) -> None:
        raise TimeoutError("no end")

    before = signal.signal(signal.SIGALRM, stop)
    signal.setitimer(signal.ITIMER_REAL, HANGS_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def check(data: bytes, certain: bool, path: Path) -> None:
    path.write_bytes(data)
    try:
        with no_hang():
            case = read_case(path)
    except CaseError as error:
        lines = data.count(b"\n") + data.count(b"\r") + 1
        assert error.faults
        for fault in error.faults:
            assert fault.file == str(path)
            assert 1 <= fault.line <= lines
            assert fault.column >= 1
            assert fault.message
            for jargon in ("Input should", "pydantic", "validation", "extra_forbidden", "dictionary", "Traceback"):
                assert jargon not in fault.message
    else:
        assert not certain, "a certain mistake was let through"
        assert is_sound(case)


def is_sound(case: Case) -> bool:
    """The rules of the vocabulary once more, with exact fractions and none of the reader's own geometry."""
    plan = slice(0, case.dimensions - 1)
    size = {p.part: [Exact(length.value) for length in p.size_mm][plan] for p in case.parts}
    known = {*catalogue.names(), None}
    names = [layer.part if isinstance(layer, Part) else layer.joint for layer in case.layers]
    zones = [zone.zone for heat in case.heat for zone in heat.zones]
    assert len(set(names)) == len(names)
    assert len(set(zones)) == len(zones)
    assert isinstance(case.layers[0], Part)
    assert isinstance(case.layers[-1], Part)
    assert any(cooling.fluid_C or cooling.temperature_C for cooling in case.cooling)
    for part in case.parts:
        assert part.thickness_mm.value > 0
        assert part.material.name in known
        assert len(part.size_mm) == case.dimensions - 1
    for heat in case.heat:
        boxes = []
        for zone in heat.zones:
            assert zone.power_W.value >= 0
            if zone.corner_mm is None or zone.size_mm is None:
                continue
            low = [Exact(corner.value) for corner in zone.corner_mm]
            high = [a + Exact(length.value) for a, length in zip(low, zone.size_mm, strict=True)]
            assert all(a >= -TOLERANCE_mm for a in low)
            assert all(b <= extent + TOLERANCE_mm for b, extent in zip(high, size[heat.in_], strict=True))
            boxes.append((low, high))
        for number, (low, high) in enumerate(boxes):
            for other_low, other_high in boxes[:number]:
                apart = [
                    min(b, d) - max(a, c) <= TOLERANCE_mm
                    for a, b, c, d in zip(low, high, other_low, other_high, strict=True)
                ]
                assert any(apart)
    assert all(probe.in_ in size for probe in case.probes)
    assert all(reading.zone is None or reading.zone in zones for reading in case.readings)
    return True
