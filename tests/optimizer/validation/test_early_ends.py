"""How many rides may end early, of made-up ones: the grade, the words and what is blamed."""

import dataclasses

import numpy as np
import pytest

from optimizer.study.tolerance_draws import study_draws
from optimizer.validation import early_ends as module
from optimizer.validation.early_ends import (
    judge_faults,
    judge_held_out,
    judge_tolerances,
    rank_correlations,
)
from optimizer.validation.rides import DRAWN_FOR, fault_rides
from optimizer.validation.verdict import Grade
from plant.kernel.outcomes import Outcome
from tests.optimizer.validation.made_up import results
from tests.optimizer.validation.profiles import ROW, STUDY

DOWN, OFF, STRIKE, LOST = (
    Outcome.NOSE_DOWN,
    Outcome.RIDER_OFF,
    Outcome.TAIL_STRIKE,
    Outcome.SPEED_LOST,
)


def judged_held_out(monkeypatch, n_rides, ended):
    """Return the verdict on rides that ended in these ways, one after the other."""
    ride = STUDY.rides[0]
    made_up = results(n_rides, ended=enumerate(ended))
    monkeypatch.setattr(module, "held_out_rides", lambda _study: [ride] * n_rides)
    monkeypatch.setattr(module, "simulate", lambda *_, **__: made_up)
    return judge_held_out(STUDY, ROW, n_jobs=1), ride.name


@pytest.mark.parametrize(
    ("n_rides", "n_downs", "n_others", "grade"),
    [
        (1000, 0, 0, Grade.PASS),
        (1000, 0, 10, Grade.PASS),
        (1000, 0, 11, Grade.MARGINAL),
        (1000, 1, 0, Grade.MARGINAL),
        (1000, 3, 50, Grade.MARGINAL),
        (1000, 4, 0, Grade.FAIL),
        (100, 1, 0, Grade.FAIL),
    ],
)
def test_three_nose_downs_in_a_thousand_are_marginal_and_ten_other_ends_pass(
    monkeypatch, n_rides, n_downs, n_others, grade
):
    verdict, _ = judged_held_out(monkeypatch, n_rides, [DOWN] * n_downs + [OFF] * n_others)

    assert verdict.grade is grade
    assert verdict.numbers == {"rides": n_rides, "nose_downs": n_downs, "other_ends": n_others}
    assert bool(verdict.change) == (grade is not Grade.PASS)


def test_the_three_most_frequent_ends_are_named_with_their_number(monkeypatch):
    ended = [OFF, DOWN, STRIKE, LOST, LOST, DOWN, DOWN]

    verdict, name = judged_held_out(monkeypatch, 50, ended)

    assert verdict.found == (
        f"50 rides: 3 nose-downs, 4 other early ends; {name} ({DOWN.message}) x3,"
        f" {name} ({LOST.message}) x2, {name} ({OFF.message})"
    )


@pytest.mark.parametrize(("way", "said"), [(1.0, "rises"), (-1.0, "falls")])
def test_the_tolerance_that_moves_the_risk_is_blamed_with_its_way(monkeypatch, way, said):
    study = dataclasses.replace(
        STUDY,
        rides=STUDY.rides[:2],
        validation=dataclasses.replace(STUDY.validation, n_draws=8),
    )
    place = 2
    drawn = study_draws(study, 8, DRAWN_FOR)[:, place]
    # Draw by draw, of two rides each: the second is as safe in every draw.
    reserve = np.column_stack([0.1 - 0.01 * way * drawn, np.full(8, 0.9)])
    made_up = results(
        16,
        ride_time_s=[ride.course.duration_s for ride in study.rides] * 8,
        least_reserve_ratio=reserve.ravel(),
        least_nose_margin_ratio=0.5,
    )
    monkeypatch.setattr(module, "simulate", lambda *_, **__: made_up)

    found = judge_tolerances(study, ROW, n_jobs=1).found

    name = study.tolerances[place].name
    assert f"risk {said} most with {name} (rank correlation {way:+.2f})" in found


def test_ranks_know_no_scale():
    random = np.random.default_rng(2)
    table, values = random.normal(size=(30, 3)), random.normal(size=30)

    found = rank_correlations(1e-4 * table, 1e-4 * values)

    np.testing.assert_array_equal(found, rank_correlations(table, values))


@pytest.mark.parametrize(
    ("outcome", "warned_s", "grade", "words"),
    [
        (Outcome.RIDDEN, 0.0, Grade.PASS, "all 1 riders came through"),
        (DOWN, 2.0, Grade.PASS, f"{DOWN.message} after 2.0 s of warning"),
        (DOWN, 1.9, Grade.FAIL, f"{DOWN.message} after 1.9 s of warning"),
        (DOWN, 0.0, Grade.FAIL, f"{DOWN.message} without a warning"),
        (OFF, 0.06, Grade.MARGINAL, f"{OFF.message} after 0.1 s of warning"),
    ],
)
def test_a_ride_with_a_fault_may_end_only_after_a_warning_that_is_long_enough(
    monkeypatch, outcome, warned_s, grade, words
):
    fault, rides = fault_rides(STUDY)[0]
    asked = dataclasses.replace(fault, warned_s=2.0)
    made_up = results(1, ended=[(0, outcome)], warning_time_s=warned_s)
    monkeypatch.setattr(module, "simulate", lambda *_, **__: made_up)

    [verdict] = judge_faults([(asked, rides[:1])], ROW, n_jobs=1)

    assert verdict.grade is grade
    assert verdict.found.endswith(words)
    assert verdict.numbers["nose_downs"] == (outcome is DOWN)
    assert "a warning of at least 2 s" in verdict.asked


def test_each_fault_is_judged_by_its_own_rides(monkeypatch):
    faults = [(dataclasses.replace(fault, warned_s=None), rides) for fault, rides in
              fault_rides(STUDY)[:3]]  # fmt: skip
    n_riders = len(STUDY.riders)
    made_up = results(3 * n_riders, ended=[(n_riders, DOWN), (3 * n_riders - 1, OFF)],
                      warning_time_s=9.0)  # fmt: skip
    monkeypatch.setattr(module, "simulate", lambda *_, **__: made_up)

    verdicts = judge_faults(faults, ROW, n_jobs=1)

    assert [verdict.grade for verdict in verdicts] == [Grade.PASS, Grade.FAIL, Grade.MARGINAL]
    assert [verdict.numbers["ended_unwarned"] for verdict in verdicts] == [0, 1, 1]
    assert verdicts[1].found.startswith(next(iter(STUDY.riders)))
