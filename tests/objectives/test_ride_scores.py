"""Scores of single rides: graded where ridden, never better where ended."""

import dataclasses

import hypothesis.strategies as st
import numpy as np
import pytest
import scipy.integrate
import scipy.stats
from hypothesis import given

from objectives.ride_scores import (
    NOSE_DOWN_FLOOR,
    NOSE_SCATTER_RATIO,
    RESERVE_SCATTER_RATIO,
    RIDDEN_CEILING,
    RIDE_COLUMNS,
    capped_cost,
    nose_down_risk,
    ride_columns,
    roll_back_ratio,
    share_not_ridden,
)
from plant.kernel.outcomes import ROLL_BACK_LIMIT_MPS, Outcome
from tests.objectives.small_portfolio import BOARD, RIDES, ridden

ENDED = [outcome for outcome in Outcome if outcome is not Outcome.RIDDEN]
reserves = st.floats(-1.5, 1.0)
nose_margins = st.floats(0.0, 1.0)
lefts = st.floats(0.0, 1.0)


def risk(reserve, nose_margin, outcome=Outcome.RIDDEN, left=0.0):
    arguments = [np.array([[value]], dtype=float) for value in (reserve, nose_margin)]
    code = np.array([[outcome]], dtype=np.int8)
    return nose_down_risk(*arguments, code, np.array([[left]]))[0, 0]


def cost(value, outcome=Outcome.RIDDEN, left=0.0, cap=18.0):
    code = np.array([[outcome]], dtype=np.int8)
    return capped_cost(np.array([[value]]), code, np.array([[left]]), cap=cap)[0, 0]


def back(fastest_mps, outcome=Outcome.RIDDEN, left=0.0):
    code = np.array([[outcome]], dtype=np.int8)
    return roll_back_ratio(np.array([[fastest_mps]]), code, np.array([[left]]))[0, 0]


@given(st.floats(0.0, ROLL_BACK_LIMIT_MPS), st.floats(0.0, ROLL_BACK_LIMIT_MPS), lefts, lefts)
def test_a_lost_speed_is_past_the_limit_and_further_the_earlier(kept, lost, left, more):
    assert back(kept) == pytest.approx(kept / ROLL_BACK_LIMIT_MPS)
    assert back(lost, Outcome.SPEED_LOST, left) > 1.0 >= back(kept)
    if more > left + 1e-12:
        earlier = back(kept, Outcome.SPEED_LOST, more)
        assert earlier > back(lost, Outcome.SPEED_LOST, left)


@given(reserves, nose_margins, st.floats(0.01, 0.5))
def test_less_torque_reserve_is_always_more_risk(reserve, nose_margin, less):
    assert risk(reserve - less, nose_margin) > risk(reserve, nose_margin)


@given(reserves, nose_margins, st.floats(0.01, 0.5))
def test_less_nose_margin_is_always_more_risk(reserve, nose_margin, less):
    assert risk(reserve, nose_margin - less) > risk(reserve, nose_margin)


def test_risk_grows_faster_the_nearer_the_limit():
    margins = np.linspace(0.1, 1.0, 10)

    values = np.array([risk(margin, 1.0) for margin in margins])

    assert np.all(np.diff(values, 2) > 0.0)


def test_shortfall_is_that_of_a_logistic_margin():
    # Against the integral of max(0, -margin) over the logistic density, by quadrature.
    def expected(margin, width):
        density = scipy.stats.logistic(loc=margin, scale=width).pdf
        value, _ = scipy.integrate.quad(lambda x: -x * density(x), -30.0 * width + margin, 0.0)
        return value / width

    shortfall = expected(0.1, RESERVE_SCATTER_RATIO) + expected(0.3, NOSE_SCATTER_RATIO)

    assert risk(0.1, 0.3) == pytest.approx(RIDDEN_CEILING * shortfall / (1.0 + shortfall), rel=1e-6)


def test_safe_margins_cost_little_and_are_not_equal():
    safe, safer = risk(0.21, 0.5), risk(0.5, 0.7)

    assert 0.0 < safer < safe < 0.05


@given(st.tuples(reserves, nose_margins), st.tuples(reserves, nose_margins), lefts)
@pytest.mark.parametrize("outcome", ENDED)
def test_an_ended_ride_is_riskier_than_any_ridden_one(outcome, margins, other_margins, left):
    assert risk(*margins) < risk(*other_margins, outcome, left) <= 1.0


@given(lefts, lefts, st.sampled_from([end for end in ENDED if end is not Outcome.NOSE_DOWN]))
def test_a_nose_down_is_the_worst_end(left, other_left, other):
    nose_down = risk(0.5, 0.5, Outcome.NOSE_DOWN, left)

    assert nose_down >= NOSE_DOWN_FLOOR >= risk(0.5, 0.5, other, other_left)


@given(st.sampled_from(ENDED), lefts, st.floats(0.001, 0.5))
def test_the_earlier_end_costs_more(outcome, left, earlier):
    assert risk(0.5, 0.5, outcome, left + earlier) > risk(0.5, 0.5, outcome, left)
    assert cost(1.0, outcome, left + earlier) > cost(1.0, outcome, left)


@given(st.floats(0.0, 1e4), st.floats(0.0, 1e4), lefts, st.sampled_from(ENDED))
def test_an_ended_ride_costs_more_than_any_ridden_one(value, ended_value, left, outcome):
    assert cost(value) < cost(ended_value, outcome, left)


def test_a_ridden_cost_is_what_was_measured():
    assert cost(2.3) == 2.3
    assert cost(40.0, cap=18.0) == 18.0


def test_share_not_ridden_is_the_time_left_over_the_duration():
    ride_time = np.array([[10.0, 5.0], [0.0, 20.0]])

    np.testing.assert_allclose(
        share_not_ridden(ride_time, np.array([10.0, 20.0])), [[0.0, 0.75], [1.0, 0.0]]
    )


@pytest.mark.parametrize(("nose_deg", "tail_deg"), [(14.0, 22.0), (22.0, 14.0)])
def test_a_ride_is_at_its_worst_when_held_at_the_farther_contact_of_its_board(nose_deg, tail_deg):
    frame = dataclasses.replace(BOARD.frame, nose_contact_deg=nose_deg, tail_contact_deg=tail_deg)
    ride = dataclasses.replace(RIDES[1], board=dataclasses.replace(BOARD, frame=frame))
    held_deg = np.array([18.0, 22.0, 30.0])
    rides = ridden(3, hold_pitch_rms_deg=held_deg[:, None]).over(slice(1))

    columns = ride_columns(rides, [ride])

    level_deg = columns[:, 0, RIDE_COLUMNS.index("level_error_deg")]
    np.testing.assert_array_equal(level_deg, [18.0, 22.0, 22.0])


def test_a_ride_has_the_costs_that_its_course_asks_for_and_its_share_of_warned_time():
    columns = ride_columns(ridden(1, ride_time_s=10.0, warning_time_s=2.5), RIDES)

    found = dict(zip(RIDE_COLUMNS, columns[0].T, strict=True))
    manoeuvres = [ride.course.manoeuvre for ride in RIDES]
    np.testing.assert_array_equal(
        np.isnan(found["level_error_deg"]), [not manoeuvre.hold_s for manoeuvre in manoeuvres]
    )
    np.testing.assert_array_equal(
        np.isnan(found["excess_current_a"]), [not manoeuvre.count_s for manoeuvre in manoeuvres]
    )
    np.testing.assert_allclose(found["warned_ratio"], 0.25)
