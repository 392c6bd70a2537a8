"""Handling is measured over defined rides, for the lightest and the heaviest rider."""

import dataclasses
import math

import numpy as np
import pytest

from objectives import ScoreSettings, ride_columns
from objectives.handling import (
    HANDLING_NAMES,
    HANDLING_PREFIX,
    HANDLING_TESTS,
    asked_climb_m,
    handling_numbers,
    handling_rules,
    least_warning_s,
)
from objectives.handling_constraints import handling_constraints, handling_met
from objectives.ride_scores import RIDE_COLUMNS
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from plant.description.course import Road
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, simulate
from tests import invented
from tests.objectives.small_portfolio import BOARD, CRUISE, RIDERS, RIDES, WEIGHT, course

PROFILE = profile_to_array(invented.profile())
HANDLING = tuple(
    Ride(
        course=dataclasses.replace(CRUISE, name=HANDLING_PREFIX + test),
        rider_name=who,
        rider=RIDERS[who],
        board=BOARD,
        noise_seed=1,
    )
    for test in HANDLING_TESTS
    for who in RIDERS
)
RULES = handling_rules(RIDES, HANDLING, baseline=None)


def made_up(n_rides, n_candidates=1, **columns):
    """Return columns of rides that are ridden to their end, zero but for those given."""
    table = np.zeros((n_candidates, n_rides, len(RIDE_COLUMNS)))
    for name, value in {"ride_time_s": 10.0, **columns}.items():
        table[:, :, RIDE_COLUMNS.index(name)] = value
    return table


def numbers_of(own, handling, rules=RULES, profiles=PROFILE[np.newaxis]):
    found = handling_numbers(
        own, handling, profiles, rules, ride_weight=WEIGHT, kv_rpm_per_v=BOARD.motor.kv_rpm_per_v
    )
    return {name: found[:, place] for place, name in enumerate(HANDLING_NAMES)}


def asked_of(numbers, columns=None, *, baseline=None, all_ridden=True, **settings):
    """Return the constraints of one candidate with the given numbers, by name."""
    rules = dataclasses.replace(RULES, baseline=baseline)
    columns = made_up(len(HANDLING)) if columns is None else columns
    found = handling_constraints(
        numbers[np.newaxis],
        columns,
        all_ridden=np.array([all_ridden]),
        rules=rules,
        settings=ScoreSettings(**settings),
    )
    return dict(zip(("warned", "climb", "late", "end", "handling"), np.ravel(found), strict=True))


def with_number(name, light, heavy, *, total=None):
    """Return numbers that ask for nothing but for one of them."""
    numbers = np.full((len(HANDLING_NAMES), 3), 0.5)
    mean = (light + heavy) / 2.0 if total is None else total
    numbers[HANDLING_NAMES.index(name)] = light, heavy, mean
    return numbers


def test_each_number_is_read_from_its_own_test_for_each_rider():
    values = np.arange(len(HANDLING), dtype=np.float64)
    columns = (
        "feel_deg_per_mps2",
        "braking_feel_deg_per_mps2",
        "hold_pitch_most_deg",
        "hold_pitch_mean_deg",
        "tail_effort_ratio",
    )

    found = numbers_of(
        made_up(len(RIDES)), made_up(len(HANDLING), **dict.fromkeys(columns, values))
    )

    np.testing.assert_array_equal(found["feel_deg_per_mps2"], [[0.0, 1.0, 0.5]])
    np.testing.assert_array_equal(found["braking_feel_deg_per_mps2"], [[2.0, 3.0, 2.5]])
    np.testing.assert_array_equal(found["grade_dip_deg"], [[4.0, 5.0, 4.5]])
    np.testing.assert_array_equal(found["bend_lift_deg"], [[-6.0, -7.0, -6.5]])
    np.testing.assert_array_equal(found["tail_effort_ratio"], [[8.0, 9.0, 8.5]])


def test_a_test_that_ends_early_measures_nothing():
    handling = made_up(len(HANDLING))
    handling[0, 1, RIDE_COLUMNS.index("outcome")] = Outcome.NOSE_DOWN

    found = numbers_of(made_up(len(RIDES)), handling)

    np.testing.assert_array_equal(found["feel_deg_per_mps2"], [[0.0, np.nan, np.nan]])


def test_one_handling_ride_that_ends_early_is_one_too_many():
    handling = made_up(len(HANDLING))
    handling[0, 0, RIDE_COLUMNS.index("outcome")] = Outcome.RIDER_OFF

    assert asked_of(with_number("feel_deg_per_mps2", 1.0, 1.0), handling)["end"] == 1.0


@pytest.mark.parametrize(("test", "expected"), [("bend", 2.0), ("lean_past_limit", -1.0)])
def test_a_candidate_must_finish_every_handling_ride_but_a_lean_past_the_limit(test, expected):
    handling = made_up(len(HANDLING))
    for place, ride in enumerate(HANDLING):
        if ride.course.name == HANDLING_PREFIX + test:
            handling[0, place, RIDE_COLUMNS.index("outcome")] = Outcome.NOSE_DOWN

    found = asked_of(with_number("feel_deg_per_mps2", 1.0, 1.0), handling)

    assert found["end"] == expected


def test_stiffness_is_gain_times_torque_per_ampere():
    """Kt = 8.27 / Kv, Kv in rpm per volt of line-to-line peak; from memory of motor handbooks."""
    found = numbers_of(made_up(len(RIDES)), made_up(len(HANDLING)))

    gain = PROFILE[PROFILE_NAMES.index("inner_gain_a_per_deg")]
    expected = gain * 8.27 / BOARD.motor.kv_rpm_per_v
    np.testing.assert_allclose(found["stiffness_nm_per_deg"], expected, rtol=1e-3)


def test_stiffness_is_what_reaches_the_motor():
    """With a loop inside, f o + g (o / E - a) for the pitch loop's current o; without an inner
    band the base gain goes through level."""
    inside = {
        "feed_forward_ratio": 0.5,
        "acceleration_gain_a_per_mps2": 30.0,
        "expected_current_a_per_mps2": 20.0,
    }
    no_band = {"inner_band_deg": 0.0, "base_gain_a_per_deg": 4.0}
    profiles = np.tile(PROFILE, (3, 1))
    for row, changes in enumerate((inside, no_band), start=1):
        for name, value in changes.items():
            profiles[row, PROFILE_NAMES.index(name)] = value

    found = numbers_of(made_up(len(RIDES), 3), made_up(len(HANDLING), 3), profiles=profiles)[
        "stiffness_nm_per_deg"
    ][:, 0]

    gain = PROFILE[PROFILE_NAMES.index("inner_gain_a_per_deg")]
    np.testing.assert_allclose(found[1:] / found[0], [2.0, 4.0 / gain], rtol=1e-12)


def test_warned_share_and_climb_speed_are_those_of_each_riders_own_rides():
    rules = dataclasses.replace(RULES, asked_m=np.array([0.0, 40.0, 0.0, 40.0, 30.0]))
    own = made_up(
        len(RIDES),
        warned_ratio=[0.1, 0.2, 0.3, 0.4, 0.5],
        distance_m=[1.0, 40.0, 1.0, 20.0, 30.0],
    )

    found = numbers_of(own, made_up(len(HANDLING)), rules)

    # Weights 1, 2, 1 of the light rider, 2, 1 of the heavy one.
    np.testing.assert_allclose(
        found["warned_ratio"], [[0.8 / 4.0, 1.3 / 3.0, 2.1 / 7.0]], rtol=1e-12
    )
    np.testing.assert_allclose(
        found["climb_speed_ratio"], [[1.0, 70.0 / 110.0, 150.0 / 190.0]], rtol=1e-12
    )


@pytest.mark.parametrize(
    ("grade_percent", "expected"), [(10.0, 40.0), (3.0, 0.0), (-10.0, 0.0), (0.0, 0.0)]
)
def test_a_climb_is_a_way_of_which_a_third_is_steep(grade_percent, expected):
    road = dataclasses.replace(CRUISE.road, grade_percent=((0.0, 0.0), (8.0, grade_percent)))

    assert asked_climb_m(dataclasses.replace(CRUISE, road=road)) == pytest.approx(expected)


@pytest.mark.parametrize(("begins_m", "expected"), [(26.6, 40.0), (26.8, 0.0)])
def test_where_a_climb_is_blended_in_a_third_of_the_way_is_counted_exactly(begins_m, expected):
    # A third of 40 m begins at 26.67 m. A step to 10 % is blended over 1 m around its place, and
    # is 4 % steep a little before it.
    road = dataclasses.replace(CRUISE.road, grade_percent=((0.0, 0.0), (begins_m, 10.0)))

    assert asked_climb_m(dataclasses.replace(CRUISE, road=road)) == pytest.approx(expected)


def test_standing_is_no_climb():
    stand = course("stand", speed_mps=((0.0, 0.0),))
    hill = Road(patches=stand.road.patches, grade_percent=((0.0, 20.0),))

    assert asked_climb_m(dataclasses.replace(stand, road=hill)) == 0.0


def test_the_shortest_warning_is_that_of_the_rides_that_end():
    handling = made_up(len(HANDLING), 2, warned_ratio=0.08)
    lean = [ride.course.name == HANDLING_PREFIX + "lean_past_limit" for ride in HANDLING]
    handling[1, np.flatnonzero(lean)[0], RIDE_COLUMNS.index("outcome")] = Outcome.NOSE_DOWN

    np.testing.assert_allclose(least_warning_s(handling, RULES), [np.inf, 0.8])
    found = asked_of(
        with_number("grade_dip_deg", 1.0, 1.0),
        handling[1:],
        least_warning_s=1.0,
        noise_margin_ratio=0.25,
    )
    assert found["late"] == pytest.approx(0.2)  # measured without noise, so without a margin
    never = asked_of(with_number("grade_dip_deg", 1.0, 1.0), handling[:1])
    assert never["late"] == -1.0


def test_warnings_and_climbs_are_compared_with_the_baseline():
    base = with_number("warned_ratio", 0.01, 0.01, total=0.01)
    base[HANDLING_NAMES.index("climb_speed_ratio")] = 0.8
    more = base.copy()
    more[HANDLING_NAMES.index("warned_ratio"), 2] = 0.05
    more[HANDLING_NAMES.index("climb_speed_ratio"), 2] = 0.72  # a tenth slower

    found = asked_of(more, baseline=base, more_warned_limit=0.02, climb_speed_loss_limit=0.2)

    assert found["warned"] == pytest.approx(1.0)
    assert found["climb"] == pytest.approx(-0.5)
    alone = asked_of(more)
    assert alone["warned"] == alone["climb"] == -1.0


@pytest.mark.parametrize("baseline", [-0.1, 0.0, np.nan])
def test_no_climb_is_too_slow_beside_a_baseline_that_gets_no_way_up(baseline):
    base = with_number("climb_speed_ratio", baseline, baseline)

    found = asked_of(with_number("climb_speed_ratio", 0.9, 0.9), baseline=base)

    assert found["climb"] == -1.0


def test_a_band_is_asked_of_both_riders():
    asked = {"handling": {"grade_dip_deg": (0.0, 4.0), "bend_lift_deg": (-math.inf, 1.0)}}

    assert asked_of(with_number("grade_dip_deg", 1.0, 3.0), **asked)["handling"] == -0.25
    assert asked_of(with_number("grade_dip_deg", 1.0, 6.0), **asked)["handling"] == 0.5
    assert asked_of(with_number("bend_lift_deg", 2.0, 0.0), **asked)["handling"] == 0.5


def test_beyond_a_band_its_width_is_the_unit():
    asked = {"handling": {"grade_dip_deg": (1.0, 5.0)}}

    assert asked_of(with_number("grade_dip_deg", 3.0, 7.0), **asked)["handling"] == 0.5
    assert asked_of(with_number("grade_dip_deg", 0.0, 3.0), **asked)["handling"] == 0.25


def test_which_number_is_not_as_asked_is_known():
    asked = ScoreSettings(handling={"grade_dip_deg": (0.0, 4.0), "bend_lift_deg": (0.0, 1.0)})

    met = handling_met(with_number("grade_dip_deg", 1.0, 6.0), None, asked)

    expected = [name != "grade_dip_deg" for name in HANDLING_NAMES]
    np.testing.assert_array_equal(met, expected)


def test_a_difference_between_riders_has_its_limit():
    asked = {"handling": {}, "rider_difference": {"feel_deg_per_mps2": 2.0}}

    assert asked_of(with_number("feel_deg_per_mps2", 1.0, 2.0), **asked)["handling"] == -0.5
    assert asked_of(with_number("feel_deg_per_mps2", 4.0, 1.0), **asked)["handling"] == 0.5


def test_like_the_baseline_is_asked_of_every_number():
    base = with_number("feel_deg_per_mps2", 4.0, 5.0)
    asked = {"handling": {}, "like_baseline_percent": 20.0, "baseline": base}

    assert asked_of(base, **asked)["handling"] == -1.0
    close = with_number("feel_deg_per_mps2", 4.4, 5.5)
    assert asked_of(close, **asked)["handling"] == pytest.approx(-0.5)
    far = with_number("feel_deg_per_mps2", 4.0, 7.0)
    assert asked_of(far, **asked)["handling"] == pytest.approx(1.0)


@pytest.mark.parametrize("name", HANDLING_NAMES)
def test_a_baseline_of_zero_leaves_room_for_what_nobody_feels(name):
    base = with_number(name, 0.0, 0.0)
    asked = {"handling": {}, "like_baseline_percent": 20.0, "baseline": base}

    # A fifth of what nobody feels is more than a thousandth of any unit, and less than one.
    assert -1.0 < asked_of(with_number(name, 0.001, -0.001), **asked)["handling"] < 0.0
    assert asked_of(with_number(name, 1.0, 0.0), **asked)["handling"] > 0.0


@pytest.mark.parametrize(("light", "met"), [(0.05, True), (-0.05, False)])
def test_without_a_word_the_nose_may_not_dip_as_the_board_brakes(light, met):
    found = handling_met(
        with_number("braking_feel_deg_per_mps2", light, 0.5), None, ScoreSettings()
    )

    assert found[HANDLING_NAMES.index("braking_feel_deg_per_mps2")] == met


def test_what_the_baseline_has_of_one_rider_alone_is_not_compared():
    base = with_number("feel_deg_per_mps2", np.nan, 5.0)

    found = asked_of(
        with_number("feel_deg_per_mps2", 4.0, 9.0),
        handling={},
        like_baseline_percent=20.0,
        baseline=base,
    )

    assert found["handling"] == -1.0


def test_what_is_asked_and_was_not_measured_breaks_the_constraint_unless_not_ridden():
    unknown = with_number("grade_dip_deg", np.nan, 1.0)

    assert asked_of(unknown)["handling"] == 1.0
    assert asked_of(unknown, all_ridden=False)["handling"] < 0.0


def test_a_band_open_at_both_ends_asks_for_nothing():
    unknown = with_number("tail_effort_ratio", np.nan, np.nan)

    found = asked_of(unknown, handling={"tail_effort_ratio": (-math.inf, math.inf)})

    assert found["handling"] == -1.0


def stiff(baseline, gain):
    """Return a profile of one stiffness at every angle, and nothing else that lifts or adds."""
    profile = baseline.copy()
    flat = {
        "inner_gain_a_per_deg": gain,
        "base_gain_a_per_deg": gain,
        "mid_gain_ratio": 1.0,
        "outer_gain_ratio": 1.0,
        "integral_gain_a_per_deg_s": 0.0,
        "uphill_gain_deg_per_mps2": 0.0,
        "downhill_gain_deg_per_mps2": 0.0,
        "stiffness_lift_per_mps2": 0.0,
        "braking_stiffness_ratio": 1.0,
    }
    for name, value in flat.items():
        profile[PROFILE_NAMES.index(name)] = value
    return profile


@pytest.mark.parametrize(
    ("test", "column"),
    [("accelerate", "feel_deg_per_mps2"), ("brake", "braking_feel_deg_per_mps2")],
)
def test_feel_grows_with_softness_as_newton_says(test, column):
    """The pitch of a plain stiffness k per acceleration is m r / (Kt k), at the wheel's rim.

    Newton's second law. The attitude filter takes part of an acceleration for tilt, which adds the
    same to each, so differences between stiffnesses are compared. Rolling resistance and the
    wheel's own inertia are left out of the formula, so it is met within a quarter.
    """
    study = load_study(STUDIES_FOLDER / "hill_town")
    gains = np.array([8.0, 12.0, 18.0])
    profiles = np.stack([stiff(profile_to_array(study.baseline), gain) for gain in gains])
    rides = [ride for ride in study.handling if ride.course.name == HANDLING_PREFIX + test]

    columns = ride_columns(simulate(profiles, rides), rides)

    feel = columns[:, :, RIDE_COLUMNS.index(column)]
    board = study.board
    mass_kg = board.frame.frame_mass_kg + board.wheel.wheel_mass_kg
    mass_kg = mass_kg + np.array([ride.rider.body.mass_kg for ride in rides])
    torque_per_a = 8.27 / board.motor.kv_rpm_per_v
    newton = mass_kg * board.wheel.wheel_radius_m / torque_per_a / gains[:, np.newaxis]
    np.testing.assert_allclose(np.diff(feel, axis=0), np.diff(newton, axis=0), rtol=0.25)
