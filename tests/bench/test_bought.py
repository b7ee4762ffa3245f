"""What runs that were put to like circumstances say of a change: gains of mounts, their doubt, verdicts and words."""

from __future__ import annotations

from collections.abc import Mapping
from math import hypot, sqrt

import pytest

from thermsim.bench.bought import Bought, bought
from thermsim.bench.corrected import Corrected
from thermsim.bench.runs import Run
from thermsim.bench.statistics.mounts import Prior
from thermsim.bench.verdicts.verdict import Predicted, explanations
from thermsim.comparison.outcome import Contribution

OFFSETS = {"C0": 1.5, "C1": -2.0, "C2": 0.3}
FILM, AGAIN = "gallium film", "gallium film, again"


def run(
    option: str | None, mount: str, level_C: float, without: str = "", own_K: float = 0.0,
    shared: Mapping[str, float] | None = None,
) -> Corrected:  # fmt: skip
    """A run in which every sensor shows the same level but for its offset."""
    shown = {name: level_C + offset for name, offset in OFFSETS.items() if name != without}
    return Corrected(Run("r", option, mount, 2), shown, own_K, shared or {})


def two(base: float, film: float, worth_K: float | None = 3.0, **settings: object) -> Bought:
    """One mount each."""
    return bought([run(None, "1", base), run(FILM, "2", film)], worth_K=worth_K, **settings)  # type: ignore[arg-type]


def test_one_mount_each_is_the_prior_alone_and_says_so() -> None:
    """t of six degrees of freedom for 90 % is 1.9432 (any table)."""
    found = two(70.0, 66.0).of(FILM)
    assert found.gain.value_K == pytest.approx(4.0)
    assert found.gain.half_width_K == pytest.approx(1.9432 * 0.8 * sqrt(2.0), rel=1e-4)
    assert found.kind == "undecided"
    assert "One mount is one mount" in found.words and "0.8 K, worth 6 mounts" in found.words
    assert "1 mount against 1 shows a gain" in found.words
    assert found.settling.likely is not None and f"{found.settling.likely} more mounts of each" in found.words


def test_runs_of_one_mount_are_one_mount() -> None:
    """Averaged first: three runs of a mount do not outweigh one run of another."""
    runs = [
        run(None, "1", 70.0),
        run(None, "1", 70.3),
        run(None, "1", 70.6),
        run(None, "2", 71.3),
        run(FILM, "3", 65.0),
    ]
    found = bought(runs, worth_K=3.0).of(FILM)
    assert (found.gain.mounts, found.gain.against) == (1, 2)
    assert found.gain.value_K == pytest.approx((70.3 + 71.3) / 2 - 65.0)


def test_sensors_pair_themselves_out_over_the_readings_that_all_have() -> None:
    runs = [run(None, "1", 70.0), run(FILM, "2", 65.0, without="C1")]
    found = bought(runs, worth_K=3.0).of(FILM)
    assert found.gain.value_K == pytest.approx(5.0)
    assert (found.readings, found.left_out) == (("C0", "C2"), ("C1",))
    whole = bought([run(None, "1", 70.0), Corrected(Run("r", FILM, "2", 3), {"C9": 60.0})])
    assert whole.changes == () and "no reading" in whole.not_told[FILM, None]


def test_verdicts() -> None:
    assert two(70.0, 64.0).of(FILM).kind == "worth it"
    assert two(70.0, 70.5).of(FILM).kind == "not worth it"
    assert (
        two(70.0, 73.0).of(FILM).words.startswith("Not worth it") and "gains nothing" in two(70.0, 73.0).of(FILM).words
    )
    unsaid = two(70.0, 64.0, worth_K=None).of(FILM)
    assert unsaid.kind == "undecided" and "Add `worth_K: 3`" in unsaid.words


def test_every_pair_and_the_chain() -> None:
    runs = [
        run(None, "1", 70.0),
        run(None, "2", 70.8),
        run(FILM, "3", 68.0),
        run(AGAIN, "4", 64.0),
        run(AGAIN, "5", 64.6),
    ]
    found = bought(runs, worth_K=3.0)
    assert [(one.option, one.against) for one in found.changes] == [(FILM, None), (AGAIN, None), (AGAIN, FILM)]
    assert [(one.option, one.against) for one in found.steps] == [(FILM, None), (AGAIN, FILM)]
    assert found.of(AGAIN).gain.value_K == pytest.approx(6.1)
    assert found.of(AGAIN, FILM).gain.value_K == pytest.approx(3.7)
    assert found.scatter.own_degrees == 2
    assert found.scatter.own_squares_K2 == pytest.approx(0.8**2 / 2 + 0.6**2 / 2)
    with pytest.raises(KeyError):
        found.of("another")


def test_corrections_add_what_does_not_take_itself_out() -> None:
    """A slope moves both options by their corrections; notes of runs are their own."""
    runs = [run(None, "1", 70.0, own_K=0.3, shared={"coolant": 0.2}), run(FILM, "2", 65.0, shared={"coolant": 0.05}),
            run(FILM, "3", 65.0, own_K=0.2, shared={"coolant": 0.05, "power": -0.1})]  # fmt: skip
    found = bought(runs)  # 0.2 K is the own doubt of the usual run
    assert found.of(FILM).gain.doubt_K == pytest.approx(hypot(0.15, 0.05, sqrt(0.3**2 - 0.2**2)))
    assert found.scatter.sd_K**2 == pytest.approx(6 * (0.8**2 + 0.2**2) / 7)
    alike = [run(None, "1", 70.0, shared={"coolant": 0.2}), run(FILM, "2", 65.0, shared={"coolant": 0.2})]
    assert bought(alike).of(FILM).gain.doubt_K == 0.0


def test_whole_steps_widen_what_is_known_beforehand() -> None:
    """A single reading in steps of 2 K: its rounding has sd 0.58 K; three readings share it out."""
    steps = dict.fromkeys(OFFSETS, 2.0)
    found = two(70.0, 65.0, steps_K=steps)
    assert found.scatter.sd_K == pytest.approx(hypot(0.8, 2.0 / sqrt(12.0) / sqrt(3.0)))
    assert found.of(FILM).gain.doubt_K < 0.05
    stuck = two(70.0, 65.0, steps_K=steps, prior=Prior(0.2)).of(FILM)
    assert stuck.gain.doubt_K > 0.05


def test_held_against_the_prediction() -> None:
    def predict(_pair: object, readings: tuple[str, ...]) -> Predicted:
        assert readings == ("C0", "C1", "C2")
        return Predicted(5.8, 4.2, 7.7)

    agree = two(70.0, 64.1, predict=predict).of(FILM)
    assert agree.agreement == "they agree"
    assert agree.agreement_words == "Measured 5.9 K (3.7 to 8.1), predicted 5.8 K (4.2 to 7.7): they agree."
    less = two(70.0, 68.0, predict=predict).of(FILM)
    assert less.agreement == "less than predicted"
    assert less.agreement_words is not None
    assert "gallium film does not do what the case says, it gains 3.8 K less" in less.agreement_words
    small = two(70.0, 69.5, predict=lambda *_: Predicted(1.0, 0.4, 1.6)).of(FILM)
    assert small.agreement == "too unsure to say"


def test_what_would_explain_a_miss() -> None:
    """Gain 0.036 K less for each um of film: 3.6 K are 100 um, twice its tolerance of 50."""
    film = Contribution("solder.film_um", "option", 60.0, "um", 50.0, None, -0.036, 0.5)
    wetted = Contribution("solder.wetted_fraction", "option", 0.9, "", 0.001, None, 4.0, 0.1)
    found = explanations([wetted, film], -3.6)
    assert [one.path for one in found] == ["solder.film_um"]
    assert found[0].needed == pytest.approx(160.0) and found[0].tolerances == pytest.approx(2.0)
    assert found[0].words == "solder.film_um at 160 instead of 60 +- 50 um (2.0 times its tolerance)"


def test_mounts_that_scatter_more_than_usual_are_told() -> None:
    runs = [run(None, "1", 70.0), run(None, "2", 73.5), run(FILM, "3", 63.0), run(FILM, "4", 66.0)]
    found = bought(runs, worth_K=3.0)
    assert found.scatter.is_unusual and "Mounts scatter more than usual here" in found.of(FILM).words
