"""Vector registers and thread barriers for compiled kernels: numba has neither of its own.

A `Lanes` value is LANES neighbouring numbers in a vector register. LLVM maps it to whatever registers the processor
has, and splits it where they are narrower, so nothing here depends on the kind of processor. With
NUMBA_BOUNDSCHECK=1 every load and store is checked.
"""

# mypy: ignore-errors
# (numba infers the types of kernels; their twins in the tests pin them)

from __future__ import annotations

import operator
import os
import zlib
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

from llvmlite import ir
from numba import njit, types
from numba.core import cgutils
from numba.core.typing.templates import ConcreteTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, models, register_model

from thermsim.solver.multigrid.without_blas import look_for_none

look_for_none()
LANES = 16  # one cache line of float32; fits AVX-512, two AVX2 or four NEON registers
CHECKED = os.environ.get("NUMBA_BOUNDSCHECK", "0") == "1"


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile with a disk cache, or without one where no cache folder can be written."""
    try:
        kernel = njit(nogil=True, cache=True, error_model="numpy")(function)
    except RuntimeError:
        return njit(nogil=True, error_model="numpy")(function)  # type: ignore[no-any-return]
    _watch_family(kernel)
    return kernel  # type: ignore[no-any-return]


def _watch_family(kernel: Any) -> None:
    """Let the disk cache of a kernel also notice edits to the files of its helpers (numba looks at its own file)."""
    index = getattr(getattr(kernel, "_cache", None), "_cache_file", None)
    if hasattr(index, "_source_stamp"):
        index._source_stamp = (index._source_stamp, _family_stamp())


@lru_cache(maxsize=1)
def _family_stamp() -> int:
    return zlib.crc32(b"".join(path.read_bytes() for path in sorted(Path(__file__).parent.glob("*.py"))))


def helper(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a part of a kernel: called from kernels only, so it needs no doors to Python and no cache of its own."""
    kernel = njit(error_model="numpy", no_cpython_wrapper=True, no_cfunc_wrapper=True)(function)
    return kernel  # type: ignore[no-any-return]


# ---- lanes ------------------------------------------------------------------------------------------------------


class Lanes(types.Type):
    """LANES numbers of one kind in a vector register."""

    def __init__(self, scalar: types.Type) -> None:
        self.scalar = scalar
        super().__init__(name=f"lanes_{scalar}")


F4, F8 = Lanes(types.float32), Lanes(types.float64)
VECTOR = {F4: ir.VectorType(ir.FloatType(), LANES), F8: ir.VectorType(ir.DoubleType(), LANES)}
SUFFIX = {F4: f"v{LANES}f32", F8: f"v{LANES}f64"}


@register_model(Lanes)
class LanesModel(models.PrimitiveModel):
    """How the compiler holds a register: as a vector of its own."""

    def __init__(self, manager: Any, kind: Lanes) -> None:
        super().__init__(manager, kind, VECTOR[kind])


def _lane_operator(symbol: Any, instruction: str) -> None:
    @infer_global(symbol)
    class Template(ConcreteTemplate):
        key = symbol
        cases = tuple(signature(kind, kind, kind) for kind in (F4, F8))

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return getattr(builder, instruction)(*args)

    for kind in (F4, F8):
        lower_builtin(symbol, kind, kind)(lower)


_lane_operator(operator.add, "fadd")
_lane_operator(operator.sub, "fsub")
_lane_operator(operator.mul, "fmul")


def _pointer(context: Any, builder: Any, array_type: Any, array: Any, index: Any, vector: Any) -> Any:
    data = context.make_array(array_type)(context, builder, array).data
    return builder.bitcast(builder.gep(data, [index]), vector.as_pointer())


def _kind(array: Any) -> Lanes:
    return F4 if array.dtype is types.float32 else F8


@intrinsic
def _load(typing: Any, array: Any, index: Any) -> Any:
    kind = _kind(array)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        value = builder.load(_pointer(context, builder, sig.args[0], args[0], args[1], VECTOR[kind]))
        value.align = kind.scalar.bitwidth // 8
        return value

    return kind(array, types.int64), lower


@intrinsic
def _store(typing: Any, array: Any, index: Any, value: Any) -> Any:
    kind = _kind(array)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        builder.store(args[2], _pointer(context, builder, sig.args[0], args[0], args[1], VECTOR[kind])).align = (
            kind.scalar.bitwidth // 8
        )
        return context.get_dummy_value()

    return types.void(array, types.int64, kind), lower


@intrinsic
def _load_bytes(typing: Any, array: Any, index: Any) -> Any:
    """Unsigned bytes as float32 lanes, 255 meaning one half (transfer weights lie between 0 and 1/2)."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        vector = ir.VectorType(ir.IntType(8), LANES)
        value = builder.load(_pointer(context, builder, sig.args[0], args[0], args[1], vector))
        value.align = 1
        return builder.fmul(builder.uitofp(value, VECTOR[F4]), ir.Constant(VECTOR[F4], [1.0 / 510.0] * LANES))

    return F4(array, types.int64), lower


@intrinsic
def store_bytes(typing: Any, array: Any, index: Any, value: Any) -> Any:
    """Weights between 0 and 1/2 as unsigned bytes (see `_load_bytes`)."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        vector = ir.VectorType(ir.IntType(8), LANES)
        scaled = builder.fmul(args[2], ir.Constant(VECTOR[F4], [510.0] * LANES))
        whole = builder.trunc(builder.fptoui(scaled, ir.VectorType(ir.IntType(32), LANES)), vector)
        builder.store(whole, _pointer(context, builder, sig.args[0], args[0], args[1], vector)).align = 1
        return context.get_dummy_value()

    return types.void(array, types.int64, F4), lower


@intrinsic
def fma(typing: Any, a: Any, b: Any, c: Any) -> Any:
    """a b + c, in one rounding where the processor can."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        kind = ir.FunctionType(args[0].type, [args[0].type] * 3)
        name = f"llvm.fmuladd.{SUFFIX[sig.return_type]}"
        return builder.call(cgutils.get_or_insert_function(builder.module, kind, name), args)

    return a(a, a, a), lower


@intrinsic
def splat(typing: Any, value: Any) -> Any:
    """The same number in every lane."""
    kind = F4 if value is types.float32 else F8

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        lane0 = builder.insert_element(ir.Constant(VECTOR[kind], ir.Undefined), args[0], ir.IntType(32)(0))
        mask = ir.Constant(ir.VectorType(ir.IntType(32), LANES), [0] * LANES)
        return builder.shuffle_vector(lane0, lane0, mask)

    return kind(kind.scalar), lower


@intrinsic
def widen(typing: Any, value: Any) -> Any:
    """A register of single precision as one of double."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.fpext(args[0], VECTOR[F8])

    return F8(F4), lower


@intrinsic
def inverse(typing: Any, value: Any) -> Any:
    """1 / value where value > 0, else 0 (void cells and padding)."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        vector = VECTOR[sig.return_type]
        positive = builder.fcmp_ordered(">", args[0], ir.Constant(vector, [0.0] * LANES))
        one = ir.Constant(vector, [1.0] * LANES)
        divisor = builder.select(positive, args[0], one)
        return builder.select(positive, builder.fdiv(one, divisor), ir.Constant(vector, [0.0] * LANES))

    return value(value), lower


@intrinsic
def least(typing: Any, a: Any, b: Any) -> Any:
    """The lesser of two registers, lane by lane."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.select(builder.fcmp_ordered("<", args[0], args[1]), args[0], args[1])

    return a(a, a), lower


@intrinsic
def most(typing: Any, a: Any, b: Any) -> Any:
    """The greater of two registers, lane by lane."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return builder.select(builder.fcmp_ordered(">", args[0], args[1]), args[0], args[1])

    return a(a, a), lower


@intrinsic
def positive(typing: Any, value: Any) -> Any:
    """value where it is above zero, else 0."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        nothing = ir.Constant(VECTOR[sig.return_type], [0.0] * LANES)
        return builder.select(builder.fcmp_ordered(">", args[0], nothing), args[0], nothing)

    return value(value), lower


@intrinsic
def lane_sum(typing: Any, value: Any) -> Any:
    """Sum of the lanes in double precision, lane 0 first."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        wide = builder.fpext(args[0], VECTOR[F8]) if sig.args[0] is F4 else args[0]
        total = builder.extract_element(wide, ir.IntType(32)(0))
        for lane in range(1, LANES):
            total = builder.fadd(total, builder.extract_element(wide, ir.IntType(32)(lane)))
        return total

    return types.float64(value), lower


@intrinsic
def _gather(typing: Any, array: Any, base: Any, indices: Any, index: Any) -> Any:
    """array[base + indices[index + lane]]."""
    kind = _kind(array)

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        data = context.make_array(sig.args[0])(context, builder, args[0]).data
        table = context.make_array(sig.args[2])(context, builder, args[2]).data
        value = ir.Constant(VECTOR[kind], ir.Undefined)
        for lane_ in range(LANES):
            place = builder.load(builder.gep(table, [builder.add(args[3], ir.IntType(64)(lane_))]))
            number = builder.load(builder.gep(data, [builder.add(args[1], place)]))
            value = builder.insert_element(value, number, ir.IntType(32)(lane_))
        return value

    return kind(array, types.int64, indices, types.int64), lower


@intrinsic
def _collect(typing: Any, array: Any, start: Any, stride: Any) -> Any:
    """array[start + lane * stride] of a double array, in single precision."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        data = context.make_array(sig.args[0])(context, builder, args[0]).data
        value = ir.Constant(VECTOR[F8], ir.Undefined)
        place = args[1]
        for lane_ in range(LANES):
            value = builder.insert_element(value, builder.load(builder.gep(data, [place])), ir.IntType(32)(lane_))
            place = builder.add(place, args[2])
        return builder.fptrunc(value, VECTOR[F4])

    return F4(array, types.int64, types.int64), lower


def _bounded(array: Any, index: int) -> None:
    if index < 0 or index + LANES > array.size:
        raise IndexError("lanes reach outside their array")


if CHECKED:
    _bounded = njit(_bounded)

    @njit
    def load(array: Any, index: int) -> Any:
        _bounded(array, index)
        return _load(array, index)

    @njit
    def store(array: Any, index: int, value: Any) -> None:
        _bounded(array, index)
        _store(array, index, value)

    @njit
    def load_bytes(array: Any, index: int) -> Any:
        _bounded(array, index)
        return _load_bytes(array, index)

    @njit
    def gather(array: Any, base: int, indices: Any, index: int) -> Any:
        _bounded(indices, index)
        for lane_ in range(LANES):
            if not 0 <= base + indices[index + lane_] < array.size:
                raise IndexError("a gathered index lies outside its array")
        return _gather(array, base, indices, index)

    @njit
    def collect(array: Any, start: int, stride: int) -> Any:
        if start < 0 or start + (LANES - 1) * stride >= array.size:
            raise IndexError("collected lanes reach outside their array")
        return _collect(array, start, stride)

else:
    load, store, load_bytes, gather, collect = _load, _store, _load_bytes, _gather, _collect


# ---- threads ----------------------------------------------------------------------------------------------------


@intrinsic
def _atomic_add(typing: Any, array: Any, index: Any, value: Any) -> Any:
    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        pointer = _pointer(context, builder, sig.args[0], args[0], args[1], ir.IntType(64))
        return builder.atomic_rmw("add", pointer, args[2], "seq_cst")

    return types.int64(array, types.int64, types.int64), lower


@intrinsic
def _give_way(typing: Any, address: Any) -> Any:
    """Call the system's yield (its address is an argument, so that the kernel can be cached)."""

    def lower(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        function = builder.inttoptr(args[0], ir.FunctionType(ir.IntType(32), []).as_pointer())
        builder.call(function, [])
        return context.get_dummy_value()

    return types.void(types.int64), lower


@helper
def barrier(sync, team):
    """Wait for all `team` threads. sync : int64 (>= 4): arrived, generation, address of the system's yield, broken
    off.
    """
    if team == 1:
        return
    generation = _atomic_add(sync, 1, 0)
    if _atomic_add(sync, 0, 1) == team - 1:
        _atomic_add(sync, 0, -team)
        _atomic_add(sync, 1, 1)
        return
    spins = 0
    while _atomic_add(sync, 1, 0) == generation and _atomic_add(sync, 3, 0) == 0:
        spins += 1
        if spins > 300 and sync[2] != 0:
            _give_way(sync[2])
