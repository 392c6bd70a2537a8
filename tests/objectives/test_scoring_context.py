"""Facts of the rides are read off their courses, and portfolios that can not be scored refused."""

import dataclasses

import numpy as np
import pytest

from objectives import RIDE_COLUMNS, ScoreSettings, score_rules
from objectives.handling import HANDLING_PREFIX
from tests.objectives.small_portfolio import (
    ALL_RIDES,
    BOARD,
    DAY,
    HEAVY,
    KERB,
    LIGHT,
    RIDES,
    STAND,
    WEIGHT,
    rules,
)


def refused(rides, weight):
    with pytest.raises(ValueError, match=r"\S") as refusal:
        score_rules(rides, ride_weight=weight, settings=ScoreSettings())
    return str(refusal.value)


def test_windows_riders_and_standing_rides_are_found():
    found = rules()

    assert found.riders == (LIGHT, HEAVY)
    np.testing.assert_array_equal(found.ride_rider, [0, 0, 0, 1, 1])
    np.testing.assert_array_equal(found.counts_level, [True, True, False, True, False])
    np.testing.assert_array_equal(found.counts_current, [False, True, True, True, True])
    np.testing.assert_array_equal(found.is_standing, [True, False, False, False, False])
    np.testing.assert_array_equal(found.ride_weight, WEIGHT)
    assert found.asked_mps == (0.0, 4.0)


def test_riders_are_compared_only_where_both_hold_level():
    np.testing.assert_array_equal(rules().spread_pairs, [[1, 3]])


def test_of_three_riders_the_lightest_and_the_heaviest_are_compared():
    middle = dataclasses.replace(
        LIGHT, body=dataclasses.replace(LIGHT.body, mass_kg=0.5 * (40.0 + 105.0))
    )
    between = dataclasses.replace(RIDES[0], rider_name="middle", rider=middle)
    rides = (RIDES[3], between, *RIDES[:3])

    found = score_rules(rides, ride_weight=np.ones(5), settings=ScoreSettings())

    np.testing.assert_array_equal(found.spread_pairs, [[3, 0]])


def test_one_rider_has_no_spread_pairs():
    one = score_rules(RIDES[:3], ride_weight=WEIGHT[:3], settings=ScoreSettings())

    assert one.spread_pairs.shape == (0, 2)


def test_hard_rides_are_counted_among_the_rides_and_decide_nothing_else():
    assert rules(DAY).n_rides == len(ALL_RIDES)
    assert rules().n_rides == len(RIDES)
    assert rules(DAY).riders == rules().riders
    np.testing.assert_array_equal(rules(DAY).spread_pairs, rules().spread_pairs)


def test_columns_are_parted_into_own_handling_and_hard_rides():
    brake = dataclasses.replace(RIDES[1].course, name=HANDLING_PREFIX + "brake")
    handling = [dataclasses.replace(ride, course=brake) for ride in (RIDES[1], RIDES[3])]
    asked = ScoreSettings()
    found = score_rules(RIDES, ride_weight=WEIGHT, settings=asked, handling=handling, day=DAY)
    numbers = np.arange(5.0 + 2.0 + 4.0)

    parts = found.parts(np.tile(numbers[None, :, None], (3, 1, len(RIDE_COLUMNS))))

    assert found.n_rides == len(numbers)
    own, handled, hard = (part[2, :, 0].tolist() for part in parts)
    assert (own, handled, hard) == ([0, 1, 2, 3, 4], [5, 6], [7, 8, 9, 10])


def test_only_proportions_of_weights_count_however_small_they_are():
    tiny = score_rules(RIDES, ride_weight=1e-6 * WEIGHT, settings=ScoreSettings())

    np.testing.assert_allclose(tiny.ride_weight / tiny.ride_weight.sum(), WEIGHT / WEIGHT.sum())


def test_the_loop_keeps_its_margins_with_other_riders_where_they_are_named():
    variants = [dataclasses.replace(LIGHT, skill=HEAVY.skill), LIGHT, HEAVY]

    found = score_rules(RIDES, ride_weight=WEIGHT, settings=ScoreSettings(), loop_riders=variants)

    assert found.riders == (LIGHT, HEAVY)
    assert found.loop_riders == tuple(variants)
    assert rules().loop_riders == (LIGHT, HEAVY)


def test_loop_holds_a_response_for_each_rider_at_the_slowest_and_the_fastest_speed():
    assert rules().loop.n_speeds == 2
    assert rules().loop.pitch_per_a.shape[0] == 2 * 2


@pytest.mark.parametrize("weight", [[1.0, 2.0], [1.0, 1.0, 1.0, 1.0, 0.0], [1, 1, 1, 1, np.nan]])
def test_weights_that_do_not_fit_are_refused(weight):
    assert refused(RIDES, np.array(weight)).startswith("ride_weight: must be 5 numbers above zero")


def test_rides_on_two_boards_are_refused():
    frame = dataclasses.replace(BOARD.frame, nose_contact_deg=20.0)
    other = dataclasses.replace(RIDES[0], board=dataclasses.replace(BOARD, frame=frame))

    assert "all must be on one board" in refused((*RIDES, other), np.ones(6))


def test_empty_portfolio_is_refused():
    assert "at least one is needed" in refused((), np.ones(0))


def test_portfolio_without_count_windows_is_refused():
    assert [ride.course for ride in RIDES[:1]] == [STAND]
    assert "count_s: at least one ride" in refused(RIDES[:1], np.ones(1))


def test_portfolio_without_hold_windows_is_refused():
    assert RIDES[2].course == KERB
    assert "hold_s: at least one ride" in refused(RIDES[2:3], np.ones(1))
