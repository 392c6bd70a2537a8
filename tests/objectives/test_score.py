"""Scores of a portfolio: what is counted, what is kept, and that ending never pays."""

import dataclasses

import hypothesis.extra.numpy as hnp
import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from objectives import (
    CONSTRAINT_NAMES,
    DESCRIPTOR_NAMES,
    OBJECTIVES,
    RIDE_COLUMNS,
    ScoreSettings,
    blend,
    ride_columns,
    score,
    score_rules,
)
from objectives.constraints import NOT_ASKED, NOT_MEASURED
from objectives.handling import HANDLING_NAMES, HANDLING_PREFIX
from objectives.score import meet_simulation_free, simulation_free_constraints
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate
from tests import invented, invented_rides
from tests.objectives.small_portfolio import (
    ALL_RIDES,
    DAY,
    RIDES,
    WEIGHT,
    ridden,
    rules,
    with_hard,
)

RULES = rules(DAY)
PROFILE = profile_to_array(invented.profile())


def scored(rides, **settings):
    profiles = np.tile(PROFILE, (len(rides.outcome), 1))
    columns = ride_columns(with_hard(rides), ALL_RIDES)
    return score(columns, profiles, rules(DAY, **settings) if settings else RULES)


def constraint(scores, name):
    return scores.constraints[:, CONSTRAINT_NAMES.index(name)]


def test_shapes_follow_the_names():
    found = scored(ridden(3))

    assert OBJECTIVES == ("level_error_deg", "excess_current_a", "nose_downs_per_1000_km")
    assert found.objectives.shape == (3, len(OBJECTIVES))
    assert found.constraints.shape == (3, len(CONSTRAINT_NAMES))
    assert found.descriptors.shape == (3, len(DESCRIPTOR_NAMES))
    assert ride_columns(ridden(3), RIDES).shape == (3, len(RIDES), len(RIDE_COLUMNS))


def test_only_rides_with_hold_windows_count_for_level():
    level = np.array([[1.0, 3.0, 500.0, 2.0, 500.0]])

    found = scored(ridden(1, hold_pitch_rms_deg=level))

    expected = blend(np.array([1.0, 3.0, 2.0]), WEIGHT[[0, 1, 3]], tail_share=0.2, tail_weight=0.5)
    assert found.objectives[0, 0] == pytest.approx(expected)


def test_only_rides_with_count_windows_count_for_current():
    current = np.array([[500.0, 60.0, 80.0, 40.0, 20.0]])

    found = scored(ridden(1, excess_current_a=current))

    expected = blend(current[0, 1:], WEIGHT[1:], tail_share=0.2, tail_weight=0.5)
    assert found.objectives[0, 1] == pytest.approx(expected)


def test_columns_of_a_ride_mark_what_is_not_counted():
    found = ride_columns(ridden(1), RIDES)[0]

    level = found[:, RIDE_COLUMNS.index("level_error_deg")]
    counted = found[:, RIDE_COLUMNS.index("excess_current_a")]
    np.testing.assert_array_equal(np.isnan(level), [False, False, True, False, True])
    np.testing.assert_array_equal(np.isnan(counted), [True, False, False, False, False])
    np.testing.assert_array_equal(found[:, RIDE_COLUMNS.index("peak_current_a")], 80.0)


def test_a_calm_portfolio_meets_the_riding_constraints():
    found = scored(ridden(1))

    for name in ("nose_down", "other_end", "rest_shake", "feel_band", "rider_spread"):
        assert constraint(found, name)[0] <= 0.0


def test_what_needs_no_ride_is_known_before_as_it_is_scored():
    names = ("sensitivity", "phase_margin", "gain_margin", "closed_loop")
    random = np.random.default_rng(4)
    profiles = PROFILE * random.uniform(0.5, 2.0, (20, len(PROFILE)))

    before = simulation_free_constraints(profiles, RULES)

    scores = score(ride_columns(with_hard(ridden(20)), ALL_RIDES), profiles, RULES)
    np.testing.assert_array_equal(before.T, [constraint(scores, name) for name in names])
    assert (np.ptp(before[:, :3], axis=0) > 0.0).all()


def test_a_profile_that_one_rider_can_not_balance_meets_nothing_without_a_ride():
    profiles = np.tile(invented_rides.profile_row(), (80, 1))
    random = np.random.default_rng(4)
    for name in ("inner_gain_a_per_deg", "base_gain_a_per_deg", "rate_gain_a_per_deg_per_s"):
        profiles[:, PROFILE_NAMES.index(name)] *= random.uniform(0.3, 1.5, 80)
    riders = tuple(invented_rides.rider(mass_kg) for mass_kg in (62.0, 80.0, 105.0))
    asked = dataclasses.replace(RULES, loop_riders=riders)

    meet = meet_simulation_free(profiles, asked)

    light, middle, heavy = (
        meet_simulation_free(profiles, dataclasses.replace(asked, loop_riders=(rider,)))
        for rider in riders
    )
    np.testing.assert_array_equal(meet, light & middle & heavy)
    none_broken = (simulation_free_constraints(profiles, asked) <= 0.0).all(axis=1)
    np.testing.assert_array_equal(meet, none_broken)
    assert meet.any()
    assert (light & ~heavy).any()
    assert (heavy & ~light).any()
    # So too where next to nothing is missing.
    met, missed = profiles[meet][0], profiles[~meet][0]
    for _ in range(16):
        middle = 0.5 * (met + missed)
        if (simulation_free_constraints(middle[None], asked) <= 0.0).all():
            met = middle
        else:
            missed = middle
    nearly = simulation_free_constraints(missed[None], asked).max()
    assert 0.0 < nearly < 1e-3
    np.testing.assert_array_equal(
        meet_simulation_free(np.stack([met, missed]), asked), [True, False]
    )


def test_profile_that_shakes_the_frame_violates_sensitivity_and_stays_finite():
    profiles = np.tile(PROFILE, (2, 1))
    profiles[1, PROFILE_NAMES.index("rate_gain_a_per_deg_per_s")] = 5.0

    found = score(ride_columns(with_hard(ridden(2)), ALL_RIDES), profiles, RULES)

    assert constraint(found, "sensitivity")[1] > constraint(found, "sensitivity")[0]
    assert constraint(found, "closed_loop")[1] > 0.0
    assert np.isfinite(found.constraints).all()


metrics = hnp.arrays(np.float64, (5,), elements=st.floats(0.0, 1.0))


@given(metrics, st.integers(0, 4), st.sampled_from(list(Outcome)[1:]), st.floats(0.0, 10.0))
def test_ending_a_ride_never_betters_an_objective(values, ride, outcome, ended_at_s):
    outcomes = np.zeros((2, 5), dtype=np.int8)
    outcomes[1, ride] = outcome
    ride_time = np.full((2, 5), 10.0)
    ride_time[1, ride] = ended_at_s
    flattering = np.stack([values, values])
    flattering[1, ride] = 0.0

    found = scored(
        ridden(
            2,
            outcome=outcomes,
            ride_time_s=ride_time,
            hold_pitch_rms_deg=20.0 * flattering,
            excess_current_a=150.0 * flattering,
            least_reserve_ratio=1.0 - flattering,
            least_nose_margin_ratio=1.0 - flattering,
        )
    )

    # Of the own rides, those that end count by the constraints; the rate is of the hard rides.
    assert np.all(found.objectives[1, :2] >= found.objectives[0, :2])
    assert found.objectives[1, 2] == found.objectives[0, 2]
    assert constraint(found, "nose_down")[1] + constraint(found, "other_end")[1] > 0.0


@given(st.integers(0, 3), st.floats(-0.5, 1.0), st.floats(0.0, 1.0))
def test_a_nose_down_in_a_hard_ride_raises_the_rate_whatever_its_margins(ride, reserve, nose):
    outcomes = np.zeros((2, 4), dtype=np.int8)
    outcomes[1, ride] = Outcome.NOSE_DOWN
    least = np.full((2, 4), 0.3)
    least[1, ride] = reserve
    rides = with_hard(
        ridden(2), outcome=outcomes, least_reserve_ratio=least, least_nose_margin_ratio=nose + 0.1
    )

    found = score(ride_columns(rides, ALL_RIDES), np.tile(PROFILE, (2, 1)), RULES)

    assert found.objectives[1, 2] > found.objectives[0, 2]
    np.testing.assert_array_equal(found.objectives[1, :2], found.objectives[0, :2])
    np.testing.assert_array_equal(found.constraints[1], found.constraints[0])


def test_a_candidate_that_rode_no_hard_rides_lacks_the_rate_alone():
    columns = ride_columns(with_hard(ridden(2)), ALL_RIDES)
    columns[1, 5:] = np.nan

    found = score(columns, np.tile(PROFILE, (2, 1)), RULES)

    np.testing.assert_array_equal(np.isnan(found.objectives), [[False] * 3, [False, False, True]])
    np.testing.assert_array_equal(found.constraints[0], found.constraints[1])
    np.testing.assert_array_equal(found.descriptors[0], found.descriptors[1])


def test_a_study_without_hard_rides_has_no_rate():
    found = score(ride_columns(ridden(1), RIDES), PROFILE[None, :], rules())

    np.testing.assert_array_equal(np.isnan(found.objectives), [[False, False, True]])


def test_order_of_candidates_does_not_matter():
    random = np.random.default_rng(3)
    level = random.uniform(1.0, 5.0, (6, 5))

    forth = scored(ridden(6, hold_pitch_rms_deg=level))
    back = scored(ridden(6, hold_pitch_rms_deg=level[::-1]))

    np.testing.assert_array_equal(forth.objectives, back.objectives[::-1])


def test_a_candidate_not_ridden_whole_has_no_objectives_and_the_constraints_of_what_it_rode():
    random = np.random.default_rng(4)
    values = {
        "hold_pitch_rms_deg": random.uniform(1.0, 5.0, (3, 5)),
        "feel_deg_per_mps2": np.array([[np.nan, 1.0, np.nan, 3.0, np.nan]] * 3),
        "hold_pitch_rate_rms_deg_per_s": random.uniform(1.0, 2.0, (3, 5)),
    }
    outcome = np.array([[0, 0, 0, 0, 1], [0, 0, 0, 0, 1], [0, 2, 0, 1, 1]], dtype=np.int8)
    rides = with_hard(ridden(3, outcome=outcome, **values))
    columns = ride_columns(rides, ALL_RIDES)
    columns[1, [0, 1, 2]] = np.nan  # one rider, and nobody standing
    columns[2, [2, 4]] = np.nan
    columns[1:, 5:] = np.nan
    profiles = np.tile(PROFILE, (3, 1))
    asked = rules(
        DAY, feel_low_deg_per_mps2=1.5, feel_high_deg_per_mps2=2.5, rider_spread_limit=1.2
    )

    found = score(columns, profiles, asked)

    whole = score(columns[:1], profiles[:1], asked)
    np.testing.assert_array_equal(found.objectives[:1], whole.objectives)
    np.testing.assert_array_equal(found.constraints[:1], whole.constraints)
    assert np.isnan(found.objectives[1:]).all()
    assert np.isfinite(found.constraints).all()
    share = WEIGHT / WEIGHT.sum()
    np.testing.assert_allclose(constraint(found, "nose_down"), [share[4], share[4], share[3]])
    np.testing.assert_allclose(constraint(found, "other_end"), [0.0, 0.0, share[1]])
    assert constraint(found, "rest_shake")[1] == NOT_ASKED
    assert constraint(found, "rest_shake")[2] > NOT_ASKED
    assert constraint(found, "rider_spread")[1] == NOT_ASKED
    assert constraint(found, "rider_spread")[2] > NOT_ASKED
    facts = dict(zip(DESCRIPTOR_NAMES, found.descriptors.T, strict=True))
    np.testing.assert_array_equal(facts["rides_ended"], [1, 1, 2])
    np.testing.assert_array_equal(np.isnan(facts["energy_wh"]), [False, True, True])
    np.testing.assert_array_equal(np.isnan(facts["traction_peak_ratio"]), [False, True, True])


def handled(own, **columns):
    """Return scores of rides after which each rider brakes once; NaN stands for not ridden."""
    brake = dataclasses.replace(RIDES[1].course, name=HANDLING_PREFIX + "brake")
    handling = [dataclasses.replace(ride, course=brake) for ride in (RIDES[1], RIDES[3])]
    asked = ScoreSettings(
        feel_low_deg_per_mps2=1.5,
        feel_high_deg_per_mps2=2.5,
        handling={"braking_feel_deg_per_mps2": (0.0, 1.0)},
    )
    found = np.zeros((len(own), len(handling), len(RIDE_COLUMNS)))
    for name, values in columns.items():
        found[:, :, RIDE_COLUMNS.index(name)] = values
    return score(
        np.hstack([own, found]),
        np.tile(PROFILE, (len(own), 1)),
        score_rules(RIDES, ride_weight=WEIGHT, settings=asked, handling=handling),
    )


def test_what_was_not_measured_breaks_a_constraint_only_where_every_ride_was_ridden():
    own = ride_columns(ridden(3), RIDES)
    own[2, [0, 3]] = np.nan

    # Braking is measured of the first candidate alone; the feel, which needs a ride of its own, of
    # none.
    found = handled(own, braking_feel_deg_per_mps2=[[0.5, 0.5], [np.nan, np.nan], [np.nan, np.nan]])

    np.testing.assert_array_equal(constraint(found, "handling"), [-0.5, NOT_MEASURED, NOT_ASKED])
    np.testing.assert_array_equal(
        constraint(found, "feel_band"), [NOT_MEASURED, NOT_MEASURED, NOT_ASKED]
    )


def test_scores_tell_how_the_profile_handles_on_its_board():
    found = handled(ride_columns(ridden(1), RIDES), braking_feel_deg_per_mps2=[[0.25, 0.75]])

    facts = dict(zip(HANDLING_NAMES, found.handling[0], strict=True))
    np.testing.assert_array_equal(facts["braking_feel_deg_per_mps2"], [0.25, 0.75, 0.5])
    # Kt = 8.27 / Kv, Kv in rpm per volt of line-to-line peak; from memory of motor handbooks.
    gain = PROFILE[PROFILE_NAMES.index("inner_gain_a_per_deg")]
    expected = gain * 8.27 / RULES.board.motor.kv_rpm_per_v
    np.testing.assert_allclose(facts["stiffness_nm_per_deg"], expected, rtol=1e-3)


def test_inputs_are_not_changed():
    rides = ridden(2)
    metrics_before, outcome_before = rides.metrics.copy(), rides.outcome.copy()

    scored(rides)

    np.testing.assert_array_equal(rides.metrics, metrics_before)
    np.testing.assert_array_equal(rides.outcome, outcome_before)


def test_rides_of_another_portfolio_are_refused():
    with pytest.raises(ValueError, match=r"columns: must be \(3, 9\)"):
        score(ride_columns(with_hard(ridden(2)), ALL_RIDES), np.tile(PROFILE, (3, 1)), RULES)


def test_simulated_rides_score_finite():
    profiles = np.tile(PROFILE, (2, 1))

    found = score(ride_columns(simulate(profiles, ALL_RIDES), ALL_RIDES), profiles, RULES)

    assert np.isfinite(found.objectives).all()
    assert np.isfinite(found.constraints).all()
    np.testing.assert_array_equal(found.objectives[0], found.objectives[1])
