"""A score put together from the components of rides is the score of the rides."""

import dataclasses

import hypothesis.extra.numpy as hnp
import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from objectives import components_of_rides, ride_columns, score, score_of_components
from objectives.constraints import CONSTRAINT_NAMES
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from tests import invented
from tests.objectives.small_portfolio import ALL_RIDES, DAY, RIDES, ridden, rules, with_hard

RULES = rules(DAY)
PROFILE = profile_to_array(invented.profile())


def both(rides, asked=RULES):
    """Return the score of rides, and that of their components."""
    columns = ride_columns(rides, ALL_RIDES)
    scores = score(columns, np.tile(PROFILE, (len(columns), 1)), asked)
    return scores, score_of_components(
        components_of_rides(columns, scores.constraints, asked), asked
    )


shares = hnp.arrays(np.float64, (3, 5), elements=st.floats(0.0, 1.0))
hard_shares = hnp.arrays(np.float64, (3, 4), elements=st.floats(0.0, 1.0))
hard_ends = hnp.arrays(np.int8, (3, 4), elements=st.sampled_from([int(o) for o in Outcome]))


@given(
    level=shares,
    current=shares,
    shake=shares,
    reserve=hard_shares,
    nose=hard_shares,
    ends=hard_ends,
)
def test_a_candidate_ridden_to_the_end_scores_the_same_by_components_within_a_tighter_limit(
    level, current, shake, reserve, nose, ends
):
    own = ridden(
        3,
        hold_pitch_rms_deg=30.0 * level,
        excess_current_a=200.0 * current,
        hold_pitch_rate_rms_deg_per_s=20.0 * shake,
    )
    hard = {
        "outcome": ends,
        "least_reserve_ratio": reserve - 0.5,
        "least_nose_margin_ratio": nose - 0.5,
    }

    scores, (objectives, constraints) = both(with_hard(own, **hard))

    assert np.isfinite(objectives).all()
    np.testing.assert_array_equal(objectives, scores.objectives)
    # All but what no search asks for.
    assert constraints.shape == (3, len(CONSTRAINT_NAMES) - 1)
    by_components, imputed = (
        (facts <= 0.0).all(axis=1) for facts in (constraints, scores.constraints)
    )
    assert not np.any(by_components & ~imputed)
    rests = 20.0 * shake[:, RULES.is_standing] / RULES.settings.rest_shake_limit_deg_per_s
    tight = ((rests > 0.9) & (rests <= 1.0)).any(axis=1)
    np.testing.assert_array_equal(by_components[~tight], imputed[~tight])
    assert not by_components[tight].any()


@pytest.mark.parametrize(("share", "kept"), [(0.75, True), (0.83, False)])
def test_by_components_a_board_that_shakes_nearly_as_much_as_allowed_breaks_the_limit(share, kept):
    # The search allows 0.85 of the limit, for other noise; a prediction must be surer than that.
    limit = RULES.settings.rest_shake_limit_deg_per_s
    own = ridden(1, hold_pitch_rate_rms_deg_per_s=share * limit)

    scores, (_, constraints) = both(with_hard(own))

    assert scores.constraints[0, CONSTRAINT_NAMES.index("rest_shake")] < 0.0
    assert (constraints[0, -1] <= 0.0) == kept


@pytest.mark.parametrize(("late", "kept"), [(-0.2, True), (-0.01, False), (0.01, False)])
def test_by_components_a_warning_that_is_hardly_early_enough_is_late(late, kept):
    columns = ride_columns(with_hard(ridden(1)), ALL_RIDES)
    constraints = np.full((1, len(CONSTRAINT_NAMES)), -1.0)
    constraints[0, CONSTRAINT_NAMES.index("late_warning")] = late

    components = components_of_rides(columns, constraints, RULES)
    _, found = score_of_components(components, RULES)

    assert (found <= 0.0).all() == kept


def test_components_of_later_candidates_follow_those_known():
    columns = ride_columns(
        with_hard(ridden(3, hold_pitch_rms_deg=np.arange(15.0).reshape(3, 5))), ALL_RIDES
    )
    constraints = np.arange(3.0)[:, None] * np.ones(len(CONSTRAINT_NAMES))
    whole = components_of_rides(columns, constraints, RULES)
    none, first, rest = (whole.taken(rows) for rows in (slice(0), slice(1), slice(1, None)))

    for found in (first.followed_by(rest), none.followed_by(whole)):
        assert len(found) == 3
        for name in ("costs", "margins", "limits"):
            np.testing.assert_array_equal(getattr(found, name), getattr(whole, name))


def test_by_components_too_the_standing_ride_that_shakes_most_counts():
    two = dataclasses.replace(RULES, is_standing=np.array([True, False, True, False, False]))
    rate = np.array([[0.1, 0.0, 0.2, 0.0, 0.0], [0.1, 0.0, 90.0, 0.0, 0.0]])

    scores, (_, constraints) = both(with_hard(ridden(2, hold_pitch_rate_rms_deg_per_s=rate)), two)

    expected = scores.constraints[:, CONSTRAINT_NAMES.index("rest_shake")] > 0.0
    np.testing.assert_array_equal(constraints[:, -1] > 0.0, expected)
    np.testing.assert_array_equal(expected, [False, True])


@given(
    outcomes=hnp.arrays(np.int8, (4, 5), elements=st.sampled_from([int(o) for o in Outcome])),
    allowed=st.sampled_from([0.0, 0.2, 0.5]),
)
def test_early_ends_break_by_components_what_they_break_as_a_whole(outcomes, allowed):
    scores, (_, constraints) = both(
        with_hard(ridden(4, outcome=outcomes)), rules(DAY, nose_down_share=allowed)
    )

    facts = scores.constraints
    np.testing.assert_allclose(constraints[:, 0], facts[:, 0], atol=1e-12)
    np.testing.assert_array_equal(constraints[:, 1] > 0.0, facts[:, 1] > 0.0)
    graded = (outcomes == Outcome.SPEED_LOST).any(axis=1)
    np.testing.assert_allclose(constraints[~graded, 1], facts[~graded, 1], atol=1e-12)


def test_a_ride_whose_speed_is_lost_is_past_the_limit_and_further_the_earlier():
    fastest = np.array([[0.0], [1.4], [1.9], [2.0], [2.0], [2.0]])
    lost = np.array([[0], [0], [0], [4], [4], [4]])
    time_s = np.array([[10.0], [10.0], [10.0], [10.0], [9.0], [4.0]])
    rides = ridden(6, outcome=lost, roll_back_mps=fastest, ride_time_s=time_s)
    columns = ride_columns(with_hard(rides), ALL_RIDES)
    constraints = score(columns, np.tile(PROFILE, (6, 1)), RULES).constraints

    components = components_of_rides(columns, constraints, RULES)

    np.testing.assert_array_equal(components.limits[:, 5:10], 0.0)  # no other end
    past = components.limits[:, 10:15]
    np.testing.assert_allclose(past[:, 0], [-0.46, -0.26, -0.01, 0.041, 0.141, 0.641])


def test_rides_that_were_not_ridden_have_no_components_but_did_not_end():
    columns = ride_columns(with_hard(ridden(2, outcome=int(Outcome.RIDER_OFF))), ALL_RIDES)
    columns[1, 2:7] = np.nan  # two of the hard rides too
    constraints = score(columns, np.tile(PROFILE, (2, 1)), RULES).constraints

    components = components_of_rides(columns, constraints, RULES)

    level, current = np.split(components.costs[1], [3])
    np.testing.assert_array_equal(np.isnan(level), [False, False, True])
    np.testing.assert_array_equal(np.isnan(current), [False, True, True, True])
    np.testing.assert_array_equal(np.isnan(components.margins[1]), [True, True, False, False] * 2)
    other_ends = components.limits[:, 5:10]
    np.testing.assert_array_equal(other_ends, [[1, 1, 1, 1, 1], [1, 1, 0, 0, 0]])


@pytest.mark.parametrize("rate", [0.0, 1e-12, 0.5, 40.0])
def test_a_ride_that_hardly_shakes_keeps_its_components_finite(rate):
    columns = ride_columns(with_hard(ridden(1, hold_pitch_rate_rms_deg_per_s=rate)), ALL_RIDES)
    constraints = score(columns, PROFILE[None, :], RULES).constraints

    components = components_of_rides(columns, constraints, RULES)

    assert np.isfinite(components.limits).all()


def test_hard_rides_are_components_by_their_margins_alone():
    calm = ridden(1)
    pressed = with_hard(calm, least_reserve_ratio=0.01, hold_pitch_rms_deg=9.0)
    columns = [ride_columns(rides, ALL_RIDES) for rides in (with_hard(calm), pressed)]
    profiles = PROFILE[None, :]

    before, after = (
        components_of_rides(kept, score(kept, profiles, RULES).constraints, RULES)
        for kept in columns
    )

    np.testing.assert_array_equal(before.costs, after.costs)
    np.testing.assert_array_equal(before.limits, after.limits)
    assert before.margins.shape == (1, 2 * 4)
    np.testing.assert_array_equal(after.margins < before.margins, [[True] * 4 + [False] * 4])


def test_without_hard_rides_components_have_no_rate():
    columns = ride_columns(ridden(1), RIDES)
    asked = rules()
    constraints = score(columns, PROFILE[None, :], asked).constraints

    with pytest.raises(ValueError, match="a nose-down rate needs hard rides, got none"):
        score_of_components(components_of_rides(columns, constraints, asked), asked)
