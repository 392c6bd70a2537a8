"""Descriptors summarise the rides of each candidate."""

import dataclasses

import numpy as np

from objectives.descriptors import DESCRIPTOR_NAMES, describe, rider_spread
from objectives.handling import HANDLING_NAMES, HANDLING_RIDERS
from objectives.ride_scores import NOT_RIDDEN, RIDE_COLUMNS, ride_columns
from tests.objectives.small_portfolio import RIDES, ridden, rules


def described(rides, *, risk=0.1, numbers=0.0):
    columns = ride_columns(rides, RIDES)
    columns[:, :, RIDE_COLUMNS.index("nose_down_risk")] = risk
    columns[rides.outcome == NOT_RIDDEN] = np.nan
    shape = (len(columns), len(HANDLING_NAMES), len(HANDLING_RIDERS))
    table = describe(columns, np.broadcast_to(numbers, shape), rules())
    return dict(zip(DESCRIPTOR_NAMES, table.T, strict=True))


def test_handling_is_that_of_all_riders():
    numbers = np.arange(24.0).reshape(1, 8, 3)

    found = described(ridden(1), numbers=numbers)

    assert found["feel_deg_per_mps2"] == 2.0
    assert found["stiffness_nm_per_deg"] == 14.0
    assert found["climb_speed_ratio"] == 23.0


def test_spread_is_the_larger_ratio_over_shared_courses():
    level = np.array([[9.0, 1.0, 9.0, 3.0, 9.0], [9.0, 4.0, 9.0, 2.0, 9.0]])

    np.testing.assert_allclose(rider_spread(level, rules()), [3.0, 2.0])


def test_a_course_that_one_rider_did_not_ride_does_not_compare():
    pairs = dataclasses.replace(rules(), spread_pairs=np.array([[0, 1], [2, 3]]))
    level = np.array([[np.nan, 2.0, 1.0, 3.0, 9.0]])

    np.testing.assert_allclose(rider_spread(level, pairs), [3.0])


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


def test_the_heating_described_is_what_the_ride_adds_to_its_start():
    course = dataclasses.replace(
        RIDES[0].course, manoeuvre=dataclasses.replace(RIDES[0].course.manoeuvre, mosfet_c=70.0)
    )
    hot = [dataclasses.replace(RIDES[0], course=course), *RIDES[1:]]
    peaks = ridden(1, mosfet_peak_c=[[71.0, 33.0, 25.0, 29.0, 25.5]])

    columns = ride_columns(peaks, hot)

    rise = columns[0, :, RIDE_COLUMNS.index("mosfet_rise_k")]
    np.testing.assert_allclose(rise, [1.0, 8.0, 0.0, 4.0, 0.5])  # the air has 25 degC
    np.testing.assert_allclose(described(peaks)["mosfet_rise_k"], 46.0)


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
