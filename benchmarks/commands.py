"""Time of whole commands, from the start of the process to its end: what a person waits for.

    python benchmarks/commands.py --runs 5 --out commands.json

Each command runs once uncounted, so that compiled kernels are in numba's cache, then `--runs` times; shown are the
least, the median and the largest. `--fresh` also times the first use on a fresh machine, with an empty cache folder.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

CASES = Path(__file__).parent.parent / "cases"
COMMANDS = {
    "help": ["--help"],
    "inspect, demo": ["inspect", str(CASES / "crooked-film.yaml")],
    "predict, bare slab": ["predict", str(CASES / "bare-slab.yaml")],
    "predict, demo, 0.3 K": ["predict", str(CASES / "crooked-film.yaml"), "--accuracy", "0.3"],
    "predict, demo, 0.1 K": ["predict", str(CASES / "crooked-film.yaml")],
    "predict, demo, 0.02 K": ["predict", str(CASES / "crooked-film.yaml"), "--accuracy", "0.02"],
    "predict, demo, 0.1 K, as JSON": ["predict", str(CASES / "crooked-film.yaml"), "--json"],
}


def seconds(arguments: list[str], environment: dict[str, str] | None = None) -> float:
    """Wall-clock time of one command [s]; a command that fails ends the benchmark."""
    start = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "thermsim", *arguments],
        check=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **(environment or {})},
    )
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--fresh", action="store_true", help="also the first use, with an empty cache")
    parser.add_argument("--out", type=Path, help="save the figures with the machine as JSON")
    chosen = parser.parse_args()
    figures: dict[str, list[float]] = {}
    for name, arguments in COMMANDS.items():
        seconds(arguments)
        figures[name] = [seconds(arguments) for _ in range(chosen.runs)]
        least, middle, most = min(figures[name]), statistics.median(figures[name]), max(figures[name])
        print(f"{name:32} {least:7.2f} {middle:7.2f} {most:7.2f} s   (least, median, largest of {chosen.runs})")
    if chosen.fresh:
        with tempfile.TemporaryDirectory() as cache:
            first = seconds(COMMANDS["predict, bare slab"], {"NUMBA_CACHE_DIR": cache})
        figures["predict, bare slab, first use"] = [first]
        print(f"{'predict, bare slab, first use':32} {first:7.2f} s")
    if chosen.out is not None:
        machine = {"system": platform.platform(), "processor": platform.processor(), "cores": os.cpu_count()}
        document = {"date": datetime.now(UTC).isoformat(timespec="seconds"), "machine": machine, "seconds": figures}
        chosen.out.write_text(json.dumps(document, indent=2), encoding="utf-8")


if __name__ == "__main__":
    main()
