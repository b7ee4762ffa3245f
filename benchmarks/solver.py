"""thermsim's solver against general-purpose ones, on the same matrices, in one run.

    python benchmarks/solver.py --sizes "0.1 M" "1 M" --rounds 3
    python benchmarks/solver.py --list

Every measurement is a process of its own (so that memory and threads are its own), and the solvers take turns, so
that a machine whose speed drifts is unfair to all alike. Timed is set-up + solution to a relative residual of 1e-8,
from the coefficients in the form the solver takes (a stencil, or a CSR matrix that is already built), after one
small solve that warms it up. Afterwards the residual is measured here, the same way for all. Solvers that are not
installed are skipped and named. On a machine that does other work at the same time only the processor time with
`--threads 1` means anything.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
TOLERANCE = 1e-8
LARGEST = {"SuperLU": 0.15e6, "PARDISO": 1.2e6, "SciPy CG + Jacobi": 8.5e6}
WORK_UNIT_BYTES, WORK_UNITS = (
    44,
    10,
)  # 11 numbers of 4 bytes moved for a cell in one relaxation; ten of them solve a model problem


# ---- one measurement, in its own process ------------------------------------------------------------------------


def _thermsim(stencil: Any, matrix: Any, heat: Any, threads: int) -> Callable[[], tuple[Any, int]]:
    from thermsim.solver.multigrid import multigrid
    from thermsim.solver.multigrid.conjugate_gradients import conjugate_gradients

    def run() -> tuple[Any, int]:
        done = conjugate_gradients(multigrid.build(stencil, threads), stencil.heat, tolerance=TOLERANCE)
        return done.temperature[stencil.solid], done.iterations

    return run


def _counted(solver: Callable[..., Any]) -> tuple[Any, int]:
    count = 0

    def callback(_: Any) -> None:
        nonlocal count
        count += 1

    return solver(callback), count


def _jacobi(stencil: Any, matrix: Any, heat: Any, threads: int) -> Callable[[], tuple[Any, int]]:
    from scipy.sparse import diags_array
    from scipy.sparse.linalg import cg

    def run() -> tuple[Any, int]:
        inverse = diags_array(1.0 / matrix.diagonal())
        return _counted(lambda each: cg(matrix, heat, rtol=TOLERANCE, M=inverse, maxiter=100_000, callback=each)[0])

    return run


def _superlu(stencil: Any, matrix: Any, heat: Any, threads: int) -> Callable[[], tuple[Any, int]]:
    from scipy.sparse.linalg import splu

    options = {"SymmetricMode": True}
    return lambda: (
        splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options).solve(heat),
        0,
    )


def _pyamg(kind: str) -> Callable[..., Callable[[], tuple[Any, int]]]:
    def prepared(stencil: Any, matrix: Any, heat: Any, threads: int) -> Callable[[], tuple[Any, int]]:
        import pyamg

        set_up = {"Ruge-Stuben": pyamg.ruge_stuben_solver, "aggregation": pyamg.smoothed_aggregation_solver}[kind]

        def run() -> tuple[Any, int]:
            levels = set_up(matrix)
            return _counted(lambda each: levels.solve(heat, tol=TOLERANCE, accel="cg", maxiter=500, callback=each))

        return run

    return prepared


def _amgcl(**parameters: str) -> Callable[..., Callable[[], tuple[Any, int]]]:
    def prepared(stencil: Any, matrix: Any, heat: Any, threads: int) -> Callable[[], tuple[Any, int]]:
        import pyamgcl

        def run() -> tuple[Any, int]:
            chosen = {"coarsening.type": "smoothed_aggregation", "relax.type": "spai0", **parameters}
            solve = pyamgcl.solver(
                pyamgcl.amg(matrix, chosen), {"type": "cg", "tol": str(TOLERANCE), "maxiter": "1000"}
            )
            temperature = solve(heat)
            return temperature, int(solve.iters)

        return run

    return prepared


def _pardiso(stencil: Any, matrix: Any, heat: Any, threads: int) -> Callable[[], tuple[Any, int]]:
    import pypardiso
    from scipy.sparse import triu

    upper = triu(matrix, format="csr")

    def run() -> tuple[Any, int]:
        solver = pypardiso.PyPardisoSolver(mtype=2)  # symmetric positive definite
        return solver.solve(upper, heat), 0

    return run


def _hypre(stencil: Any, matrix: Any, heat: Any, threads: int) -> Callable[[], tuple[Any, int]]:
    from petsc4py import PETSc

    def run() -> tuple[Any, int]:
        a = PETSc.Mat().createAIJ(size=matrix.shape, csr=(matrix.indptr, matrix.indices, matrix.data))
        krylov = PETSc.KSP().create()
        krylov.setOperators(a)
        krylov.setType("cg")
        krylov.getPC().setType("hypre")
        krylov.setTolerances(rtol=TOLERANCE)
        x, b = a.createVecs()
        b.setArray(heat)
        krylov.solve(b, x)
        return x.getArray().copy(), krylov.getIterationNumber()

    return run


SOLVERS: dict[str, Callable[..., Callable[[], tuple[Any, int]]]] = {
    "thermsim": _thermsim,
    "SciPy CG + Jacobi": _jacobi,
    "SuperLU": _superlu,
    "PyAMG Ruge-Stuben": _pyamg("Ruge-Stuben"),
    "PyAMG aggregation": _pyamg("aggregation"),
    "amgcl aggregation spai0": _amgcl(),
    "amgcl aggregation ILU0": _amgcl(**{"relax.type": "ilu0"}),
    "amgcl Ruge-Stuben Gauss-Seidel": _amgcl(**{"coarsening.type": "ruge_stuben", "relax.type": "gauss_seidel"}),
    "PARDISO": _pardiso,
    "hypre BoomerAMG": _hypre,
}


def measure(name: str, size: str, variant: str, threads: int) -> dict[str, Any]:
    """Set-up + solution of one stack by one solver, in this process."""
    sys.path[:0] = [str(HERE), str(HERE.parent)]
    import numpy as np
    from bench_stacks import SIZES, matrix, stack

    if name == "triad":
        return {"GB_s": triad(threads)}
    small = stack(14, 12, 6, variant)
    SOLVERS[name](small, *matrix(small), threads)()
    stencil = stack(*SIZES[size], variant)
    own = name == "thermsim"
    a, heat = (None, None) if own else matrix(stencil)
    before = resident()
    run = SOLVERS[name](stencil, a, heat, threads)
    best, cpu = np.inf, 0.0
    for _ in range(5 if own and stencil.solid.size < 3e6 else 2 if own else 1):
        start, start_cpu = time.perf_counter(), time.process_time()
        temperature, iterations = run()
        spent = time.perf_counter() - start
        if spent < best:
            best, cpu = spent, time.process_time() - start_cpu
    peak = peak_resident()
    if own:
        a, heat = matrix(stencil) if stencil.solid.size < 3e6 else (None, None)
    residual = float(np.linalg.norm(a @ temperature - heat) / np.linalg.norm(heat)) if a is not None else None
    cells = int(stencil.solid.size)
    return {
        "cells": cells, "unknowns": int(np.count_nonzero(stencil.solid)), "seconds": best, "cpu_seconds": cpu,
        "iterations": iterations, "residual": residual, "bytes_a_cell": (peak - before) / cells,
        "process_bytes_a_cell": peak / cells,
    }  # fmt: skip


def resident() -> int:
    """Memory of this process [byte]; 0 where it cannot be told."""
    status = Path("/proc/self/statm")
    return int(status.read_text(encoding="utf-8").split()[1]) * 4096 if status.exists() else 0


def peak_resident() -> int:
    try:
        import resource
    except ImportError:  # Windows
        return 0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(peak if sys.platform == "darwin" else peak * 1024)


def triad(threads: int) -> float:
    """Memory bandwidth a = b + s c [GB/s], writes counted twice (the line is read first)."""
    import threading

    import numpy as np
    from numba import njit

    @njit(nogil=True)
    def run(a: Any, b: Any, c: Any) -> None:
        for i in range(a.size):
            a[i] = b[i] + 3.0 * c[i]

    size = 12_000_000
    arrays = [[np.ones(size) for _ in range(3)] for _ in range(threads)]
    run(*(array[:10] for array in arrays[0]))
    best = np.inf
    for _ in range(8):
        team = [threading.Thread(target=run, args=tuple(own)) for own in arrays]
        start = time.perf_counter()
        for thread in team:
            thread.start()
        for thread in team:
            thread.join()
        best = min(best, time.perf_counter() - start)
    return 32e-9 * size * threads / best


# ---- the run ----------------------------------------------------------------------------------------------------


def child(name: str, size: str, variant: str, threads: int, limit: float) -> dict[str, Any]:
    """`measure` in a fresh process with so many threads."""
    environment = {"OMP_WAIT_POLICY": "passive", **os.environ}  # or threads of OpenMP spin while a core is taken
    for key in ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
        environment[key] = str(threads)
    command = [sys.executable, str(HERE / "solver.py"), "--measure", name, size, variant, str(threads)]
    try:
        done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=limit, check=False)
    except subprocess.TimeoutExpired:
        return {"failed": f"more than {limit:.0f} s"}
    if done.returncode:
        return {"failed": (done.stderr.strip().splitlines() or ["no message"])[-1]}
    return dict(json.loads(done.stdout.strip().splitlines()[-1]))


def median(values: list[float]) -> float:
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else 0.5 * (ordered[middle - 1] + ordered[middle])


def race(
    sizes: list[str], solvers: list[str], variant: str, threads: int, rounds: int, limit: float
) -> list[dict[str, Any]]:
    """All solvers in turn, `rounds` times; medians, and ratios to thermsim taken round by round."""
    results = []
    for size in sizes:
        cells = float(size.split()[0]) * 1e6
        taking_part = [name for name in solvers if cells <= LARGEST.get(name, 1e12)]
        runs: dict[str, list[dict[str, Any]]] = {name: [] for name in taking_part}
        for _ in range(rounds):
            for name in taking_part:
                if not any("failed" in run for run in runs[name]):
                    runs[name].append(child(name, size, variant, threads, limit))
        own = runs.get("thermsim", [])
        for name, several in runs.items():
            failed = next((run["failed"] for run in several if "failed" in run), None)
            if failed:
                print(f"{size:>6}  {name:<32} {failed}", flush=True)
                results.append({"solver": name, "size": size, "threads": threads, "failed": failed})
                continue
            row = {**several[-1], "solver": name, "size": size, "variant": variant, "threads": threads}
            for kind in ("seconds", "cpu_seconds"):
                row[f"all_{kind}"] = [run[kind] for run in several]
                ratios = [run[kind] / mine[kind] for run, mine in zip(several, own, strict=False) if kind in mine]
                row[kind], row[f"{kind}_ratio"] = median(row[f"all_{kind}"]), median(ratios) if ratios else None
            results.append(row)
            ratio, cpu_ratio = row["seconds_ratio"] or float("nan"), row["cpu_seconds_ratio"] or float("nan")
            print(
                f"{size:>6}  {name:<32} {row['seconds']:9.4f} s (x {ratio:6.1f})  cpu {row['cpu_seconds']:9.4f} s "
                f"(x {cpu_ratio:6.1f})  {row['iterations']:5d} iterations  {row['bytes_a_cell']:7.0f} B/cell",
                flush=True,
            )
    return results


def draw(results: list[dict[str, Any]], bandwidth: float, path: Path) -> None:
    """Time against cells, log-log, with the limit that memory bandwidth sets."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(7, 5), layout="constrained")
    good = [row for row in results if "seconds" in row]
    names = dict.fromkeys(row["solver"] for row in good)
    lines = {name: sorted((row["cells"], row["seconds"]) for row in good if row["solver"] == name) for name in names}
    free = 0.0  # labels must not lie on each other
    for name in sorted(lines, key=lambda name: lines[name][-1][1]):
        own, points = name == "thermsim", lines[name]
        line = axes.loglog(*zip(*points, strict=True), "o-", lw=2.5 if own else 1.0, color="black" if own else None)
        free = max(points[-1][1], 1.25 * free)
        axes.text(1.07 * points[-1][0], free, name, fontsize=8, va="center", color=line[0].get_color())
    cells = [min(row["cells"] for row in good), max(row["cells"] for row in good)]
    limit = [count * WORK_UNITS * WORK_UNIT_BYTES / (bandwidth * 1e9) for count in cells]
    axes.loglog(cells, limit, "k:", lw=1)
    axes.annotate(f"{WORK_UNITS} relaxations at {bandwidth:.0f} GB/s", (cells[0], limit[0]), fontsize=8, va="bottom")
    axes.set_xlabel("cells")
    axes.set_ylabel("set-up + solution to 1e-8 [s]")
    axes.set_xlim(0.7 * cells[0], 6.0 * cells[1])
    figure.savefig(path, dpi=130)


def machine() -> dict[str, Any]:
    model = platform.processor()
    info = Path("/proc/cpuinfo")
    if info.exists():
        model = next(
            (s.split(":")[1].strip() for s in info.read_text(encoding="utf-8").splitlines() if "model name" in s), model
        )
    return {
        "date": datetime.now(UTC).isoformat(timespec="minutes"), "processor": model, "processors": os.cpu_count(),
        "system": platform.platform(), "python": platform.python_version(),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", nargs="+", default=["0.1 M", "1 M"])
    parser.add_argument("--solvers", nargs="+", default=list(SOLVERS))
    parser.add_argument("--variant", default="demo")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--limit", type=float, default=600.0, help="seconds for one measurement")
    parser.add_argument("--out", type=Path, default=Path("solver.json"))
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--measure", nargs=4, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.list:
        print(*SOLVERS, sep="\n")
    elif chosen.measure:
        name, size, variant, threads = chosen.measure
        print(json.dumps(measure(name, size, variant, int(threads))))
    else:
        bandwidth = child("triad", "", "", chosen.threads, 60.0)["GB_s"]
        print(f"{machine()['processor']}, {chosen.threads} threads, triad {bandwidth:.0f} GB/s", flush=True)
        results = race(chosen.sizes, chosen.solvers, chosen.variant, chosen.threads, chosen.rounds, chosen.limit)
        whole = {"machine": machine(), "triad_GB_s": bandwidth, "tolerance": TOLERANCE, "results": results}
        chosen.out.write_text(json.dumps(whole, indent=1), encoding="utf-8")
        draw(results, bandwidth, chosen.out.with_suffix(".png"))


if __name__ == "__main__":
    main()
