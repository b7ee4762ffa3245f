"""How often intervals of a measured gain hold it, by thermsim's way and by the usual ones: tables of docs/theory.md.

Benches of the demo, thousands at once: truths are drawn within its tolerances and solved, readings and corrections are
read off the surfaces over coolant and load, as `thermsim judge` does run by run (refusals apart; nothing is spoilt).

    python benchmarks/measured_gains.py --benches 2000
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import stats

import thermsim
from thermsim.bench.corrections import COOLANT_SLOPE, LOAD_SLOPE, MORE_IS_HOTTER
from thermsim.bench.simulated.simulate import COOLANT_NOISE_K, POWER_NOISE, USUAL_HABITS
from thermsim.bench.simulated.truth import Truth, hidden_truth, places
from thermsim.bench.statistics.mounts import TOO_MUCH, USUAL, pooled_variance
from thermsim.bench.statistics.whole_steps import rounding_sd, shown

Floats = npt.NDArray[np.float64]
DEMO, FILM = Path(__file__).parents[1] / "cases" / "crooked-film.yaml", "gallium film, 30 um"
SEED, TRUTHS = 20_290, 4
COOLANT_K_K, LOAD_K = 1.18, 50.0  # what a kelvin of coolant, and all of the load, move the demo's mean reading by [K]
STATES = (None, FILM)


@dataclass(frozen=True)
class Noted:
    """Runs of one option of many benches, one a mount.

    readings : (benches, mounts, cores) in whole kelvin; coolant_C : (benches, mounts)
    level_C : their means, put right; coolant_K, load_K : what was added for coolant and load
    """

    readings: Floats
    coolant_C: Floats
    level_C: Floats
    coolant_K: Floats
    load_K: Floats


def noted(truth: Truth, model: Truth, option: str | None, sd_K: Floats, mounts: int, rng: np.random.Generator) -> Noted:
    """Draw runs of an option, sd_K (benches,) being the scatter of mounts, and put them right by the model."""
    habits, middle_C, shape = USUAL_HABITS, model.coolant_C, (len(sd_K), mounts)
    where = places(model.case, model.readings)
    coolant_C = middle_C + habits.coolant_K * rng.uniform(-1.0, 1.0, shape)
    load = 1.0 + habits.load * rng.uniform(-1.0, 1.0, shape)
    tilt = habits.tilt * rng.normal(size=(*shape, 2)) @ (where - where.mean(axis=0)).T
    moved = sd_K[:, None, None] * (rng.normal(size=(*shape, 1)) + tilt) + habits.run_K * rng.normal(size=(*shape, 1))
    full = truth.responses[option].at(coolant_C, load)[..., : len(where)] + moved
    readings = shown(full + habits.core_K * rng.normal(size=full.shape), 1.0, "down")
    coolant_C = np.round(coolant_C + COOLANT_NOISE_K * rng.normal(size=shape), 1)
    load = load * (1.0 + POWER_NOISE * rng.normal(size=shape))
    surface = model.responses[option]
    here, unloaded, there = (
        surface.at(*place)[..., : len(where)].mean(axis=-1)
        for place in ((coolant_C, load), (coolant_C, 1.0), (middle_C, 1.0))
    )
    level = readings.mean(axis=-1)
    load_K = np.clip((level - coolant_C) / (here - coolant_C), *MORE_IS_HOTTER) * (unloaded - here)
    return Noted(readings, coolant_C, level + load_K + there - unloaded, there - unloaded, load_K)


def judged(base: Noted, film: Noted) -> tuple[Floats, Floats, Floats]:
    """Gains, half widths, and whether mounts are said to scatter more than usual, by thermsim's way."""
    mounts = base.level_C.shape[1]
    pair = (base.level_C, film.level_C)
    squares = np.sum([((one.T - one.mean(axis=1)) ** 2).sum(axis=0) for one in pair], axis=0)
    own_degrees = 2 * (mounts - 1)
    own_K = np.hypot(COOLANT_K_K * COOLANT_NOISE_K, LOAD_K * POWER_NOISE)
    beside_K = float(np.hypot(own_K, rounding_sd(1.0) / np.sqrt(base.readings.shape[2])))
    variance, degrees = pooled_variance(squares, own_degrees, beside_K=beside_K)
    by_mounts = variance * 2.0 / mounts
    slopes = [
        share * (one.mean(axis=1) - other.mean(axis=1))
        for share, one, other in (
            (COOLANT_SLOPE, base.coolant_K, film.coolant_K),
            (LOAD_SLOPE, base.load_K, film.load_K),
        )
    ]
    whole = by_mounts + slopes[0] ** 2 + slopes[1] ** 2
    half = stats.t.ppf(0.95, degrees * (whole / by_mounts) ** 2) * np.sqrt(whole)
    unusual = squares > TOO_MUCH * (USUAL.sd_K**2 + beside_K**2) * own_degrees
    return pair[0].mean(axis=1) - pair[1].mean(axis=1), half, unusual & (own_degrees > 0)


def welch(base: Floats, film: Floats) -> tuple[Floats, Floats]:
    """Difference of means of (benches, values), and its half width; infinite for one value each."""
    difference = base.mean(axis=1) - film.mean(axis=1)
    if base.shape[1] < 2:
        return difference, np.full(len(base), np.inf)
    parts = [one.var(axis=1, ddof=1) / one.shape[1] for one in (base, film)]
    whole = parts[0] + parts[1]
    degrees = whole**2 * (base.shape[1] - 1) / np.maximum(parts[0] ** 2 + parts[1] ** 2, 1e-300)
    return difference, stats.t.ppf(0.95, np.maximum(degrees, 1.0)) * np.sqrt(whole)


def ways(base: Noted, film: Noted) -> dict[str, tuple[Floats, Floats]]:
    """Gains and half widths by the usual ways, as in `thermsim.bench.simulated.naive`."""
    over = [one.readings - one.coolant_C[..., None] for one in (base, film)]
    cores = over[0].mean(axis=1) - over[1].mean(axis=1)
    t_cores = float(stats.t.ppf(0.95, cores.shape[1] - 1)) / np.sqrt(cores.shape[1])
    hottest = base.readings[:, 0].max(axis=-1) - film.readings[:, 0].max(axis=-1)
    return {
        "Welch, corrected": welch(base.level_C, film.level_C),
        "as they are": welch(base.readings.mean(axis=-1), film.readings.mean(axis=-1)),
        "less the coolant": welch(over[0].mean(axis=-1), over[1].mean(axis=-1)),
        "every core a sample": welch(over[0].reshape(len(cores), -1), over[1].reshape(len(cores), -1)),
        "core by core": (cores.mean(axis=1), t_cores * cores.std(axis=1, ddof=1)),
        "hottest, +- 1 K": (hottest, np.ones(len(hottest))),
    }


def main() -> None:
    """Print both tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--benches", type=int, default=2000, help="for each number of mounts")
    benches = asked.parse_args().benches // TRUTHS
    case = thermsim.read_case(DEMO)
    model = hidden_truth(case, [FILM])
    truths = [hidden_truth(case, [FILM], seed=SEED + number) for number in range(TRUTHS)]
    for scatter_K in (None, 0.5, 0.8, 1.0, 1.5):
        for mounts in (1, 2, 3, 5):
            rng = np.random.default_rng([SEED, mounts, int(10 * (scatter_K or 0.0))])
            found: dict[str, list[tuple[Floats, Floats]]] = defaultdict(list)
            unusual = []
            for truth in truths:
                drawn = 0.7 * 1.6 ** rng.normal(size=benches)
                sd_K = drawn if scatter_K is None else np.full(benches, np.sqrt(scatter_K**2 - 0.3**2))
                base, film = (noted(truth, model, one, sd_K, mounts, rng) for one in STATES)
                gain, half, more = judged(base, film)
                unusual.append(more)
                for name, (value, width) in {"judge": (gain, half), **ways(base, film)}.items():
                    found[name].append((value - truth.gain_K(FILM), width))
            print(f"scatter {scatter_K or 'drawn'}, {mounts} mounts: more than usual {100 * np.mean(unusual):.0f} %")
            for name in found if scatter_K is None else ("judge",):
                error, width = (np.concatenate(one) for one in zip(*found[name], strict=True))
                held, above = np.mean(np.abs(error) <= width), np.mean(error > width)
                print(
                    f"  {name:20s} holds {100 * held:5.1f} %, half width {np.median(width):5.2f} K, "
                    f"too large {100 * above:4.1f} %, sd {error.std():.2f} K"
                )


if __name__ == "__main__":
    main()
