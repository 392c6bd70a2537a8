"""Descriptors summarise the rides of each candidate."""

import dataclasses

import numpy as np

from objectives.descriptors import DESCRIPTOR_NAMES, describe, feel, rider_spread
from objectives.ride_scores import NOT_RIDDEN
from tests.objectives.small_portfolio import ridden, rules


def described(rides, *, level=2.0, risk=0.1):
    shape = rides.outcome.shape

    def column(name):
        if name == "warned_ratio":
            return rides.column("warning_time_s") / rides.column("ride_time_s")
        return rides.column(name)

    table = describe(
        column,
        rides.outcome,
        level_error_deg=np.broadcast_to(level, shape),
        risk=np.broadcast_to(risk, shape),
        rules=rules(),
    )
    return dict(zip(DESCRIPTOR_NAMES, table.T, strict=True))


def test_feel_is_the_mean_of_ridden_rides_that_accelerate():
    unknown = np.nan
    values = np.array([[1.0, unknown, 4.0, 9.0], [unknown, unknown, unknown, 9.0]])
    outcome = np.array([[0, 0, 0, 1], [0, 0, 0, 2]], dtype=np.int8)

    found = feel(values, outcome, np.array([1.0, 1.0, 2.0, 1.0]))

    np.testing.assert_allclose(found, [3.0, unknown])


def test_spread_is_the_larger_ratio_over_shared_courses():
    level = np.array([[9.0, 1.0, 9.0, 3.0, 9.0], [9.0, 4.0, 9.0, 2.0, 9.0]])

    np.testing.assert_allclose(rider_spread(level, rules()), [3.0, 2.0])


def test_without_a_course_that_compares_riders_their_spread_is_not_known():
    alone = dataclasses.replace(rules(), spread_pairs=np.empty((0, 2), dtype=np.int64))

    np.testing.assert_array_equal(rider_spread(np.full((2, 5), 3.0), alone), np.nan)


def test_means_are_weighted_and_peaks_are_the_largest():
    found = described(
        ridden(
            1,
            energy_wh=[[0.0, 7.0, 0.0, 0.0, 7.0]],
            tail_effort_ratio=[[0.1, 0.9, 0.2, 0.3, 0.4]],
            warning_time_s=[[0.0, 1.0, 0.0, 0.0, 2.5]],  # of 10 s; weights 1, 2, 1, 2, 1
        )
    )

    np.testing.assert_allclose(found["energy_wh"], [3.0])
    np.testing.assert_allclose(found["warned_ratio"], [(2 * 0.1 + 1 * 0.25) / 7])
    np.testing.assert_allclose(found["tail_effort_ratio"], [0.9])


def test_the_start_jerk_is_the_largest_of_the_rides_that_start_tail_down():
    without, not_ridden = np.nan, np.nan
    found = described(
        ridden(
            3,
            outcome=[[0, 0, 0, 0, 0], [0, 0, 0, 0, 0], [0, 0, 0, 0, NOT_RIDDEN]],
            start_jerk_mps3=[
                [without, 5.0, without, 8.0, without],
                [without] * 5,
                [without, 5.0, without, 8.0, not_ridden],
            ],
        )
    )

    np.testing.assert_array_equal(found["start_jerk_mps3"], [8.0, np.nan, np.nan])


def test_ended_rides_are_counted_and_the_riskiest_named():
    found = described(
        ridden(2, outcome=[[0, 1, 0, 2, 0], [0, 0, 0, 0, 0]]),
        risk=np.array([[0.1, 0.8, 0.1, 0.9, 0.1], [0.1, 0.1, 0.2, 0.1, 0.1]]),
    )

    np.testing.assert_array_equal(found["rides_ended"], [2, 0])
    np.testing.assert_array_equal(found["worst_ride"], [3, 2])
