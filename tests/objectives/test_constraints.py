"""Each constraint is met at 0 or below, and grows with the violation."""

import dataclasses

import numpy as np
import pytest

from objectives.constraints import (
    CONSTRAINT_NAMES,
    NOT_ASKED,
    ending_constraints,
    feel_constraint,
    loop_constraints,
    rest_constraint,
    spread_constraint,
)
from objectives.score_settings import ScoreSettings
from plant.kernel.outcomes import Outcome
from plant.linear.margins import Margins
from tests.objectives.small_portfolio import rules


def loops(modulus, *, up=3.0, down=0.3, phase=50.0, n_unstable=0):
    """Return the margins of one candidate at one gain point under some riders."""

    def table(values, dtype=np.float64):
        shape = np.shape(modulus)
        return np.broadcast_to(values, shape).astype(dtype).reshape(1, 1, -1)

    return Margins(
        modulus=table(modulus),
        gain_up_ratio=table(up),
        gain_down_ratio=table(down),
        phase_deg=table(phase),
        delay_s=table(0.05),
        n_unstable=table(n_unstable, np.int64),
    )


def by_name(margins):
    names = CONSTRAINT_NAMES[2:6]
    values = loop_constraints(margins, ScoreSettings())
    return {name: value[0] for name, value in zip(names, values, strict=True)}


def test_names_are_those_documented():
    assert CONSTRAINT_NAMES == (
        "nose_down",
        "other_end",
        "sensitivity",
        "phase_margin",
        "gain_margin",
        "closed_loop",
        "rest_shake",
        "feel_band",
        "rider_spread",
        "warned",
        "climb_speed",
        "late_warning",
        "handling_end",
        "handling",
        "tolerances",
    )


def test_endings_are_shares_of_the_ride_weight():
    outcome = np.array(
        [
            [Outcome.RIDDEN, Outcome.RIDDEN, Outcome.RIDDEN],
            [Outcome.NOSE_DOWN, Outcome.RIDDEN, Outcome.RIDER_OFF],
        ],
        dtype=np.int8,
    )

    nose_down, other = ending_constraints(outcome, np.array([1.0, 2.0, 1.0]), nose_down_share=0.1)

    np.testing.assert_allclose(nose_down, [-0.1, 0.15])
    np.testing.assert_allclose(other, [0.0, 0.25])


def test_loop_with_wide_margins_meets_all():
    assert max(by_name(loops([0.7, 0.9])).values()) <= 0.0


def test_each_margin_is_just_met_at_its_limit():
    settings = ScoreSettings()
    gain = settings.gain_margin_ratio
    at_limit = {"phase": settings.phase_margin_deg, "up": gain, "down": 1.0 / gain}

    values = by_name(loops([1.0 / settings.sensitivity_limit], **at_limit))

    for name in ("sensitivity", "phase_margin", "gain_margin"):
        assert values[name] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("margins", "violated"),
    [
        (loops([0.8, 0.45]), "sensitivity"),
        (loops([0.8, 0.8], phase=[50.0, 20.0]), "phase_margin"),
        (loops([0.8, 0.8], up=[3.0, 1.3]), "gain_margin"),
        (loops([0.8, 0.8], down=[0.3, 0.8]), "gain_margin"),
    ],
)
def test_worst_rider_violates_its_own_constraint_alone(margins, violated):
    assert [name for name, value in by_name(margins).items() if value > 0.0] == [violated]


def test_unstable_loop_violates_every_loop_constraint_however_far_from_the_limit():
    values = by_name(loops([0.9], up=np.inf, down=0.0, phase=np.inf, n_unstable=2))

    assert all(value > 0.0 and np.isfinite(value) for value in values.values())
    assert values["closed_loop"] == 2.0


def test_sensitivity_passes_smoothly_through_the_limit_of_stability():
    nearly, just = by_name(loops([0.01])), by_name(loops([0.01], n_unstable=2))

    assert nearly["sensitivity"] == pytest.approx(0.49)
    assert just["sensitivity"] == pytest.approx(0.51)


def test_sensitivity_limit_is_the_asked_ms():
    at_limit = by_name(loops([0.5]))

    assert at_limit["sensitivity"] == pytest.approx(0.0)


def test_other_noise_has_its_margin_in_the_limit_of_shaking():
    shaking = np.full((1, 5), 2.0)

    near = rest_constraint(shaking, rules(rest_shake_limit_deg_per_s=2.0, noise_margin_ratio=0.2))
    at = rest_constraint(shaking, rules(rest_shake_limit_deg_per_s=2.0, noise_margin_ratio=0.0))

    np.testing.assert_allclose([*near, *at], [0.25, 0.0])


def test_only_standing_rides_are_checked_for_shaking():
    rate = np.array([[1.5, 90.0, 90.0, 90.0, 90.0], [6.0, 0.0, 0.0, 0.0, 0.0]])

    found = rest_constraint(rate, rules(noise_margin_ratio=0.0))

    np.testing.assert_allclose(found, [-0.5, 1.0])


def test_without_a_standing_ride_no_shaking_is_asked_about():
    nobody_stands = dataclasses.replace(rules(), is_standing=np.zeros(5, dtype=np.bool_))

    found = rest_constraint(np.full((2, 5), 90.0), nobody_stands)

    np.testing.assert_array_equal(found, NOT_ASKED)


def test_the_standing_ride_that_shakes_most_is_checked():
    two = dataclasses.replace(
        rules(rest_shake_limit_deg_per_s=2.0, noise_margin_ratio=0.0),
        is_standing=np.array([True, False, True, False, False]),
    )
    rate = np.array([[1.0, 0.0, 3.0, 0.0, 0.0], [5.0, 0.0, np.nan, 0.0, 0.0]])

    np.testing.assert_allclose(rest_constraint(rate, two), [0.5, 1.5])


@pytest.mark.parametrize("low", [1.0, -0.5, -2.0])  # the nose dips, hardly moves, rises
def test_feel_inside_the_band_is_met(low):
    settings = ScoreSettings(feel_low_deg_per_mps2=low, feel_high_deg_per_mps2=low + 1.0)

    feel = low + np.array([-0.5, 0.0, 0.5, 1.0, 2.0])
    found = feel_constraint(feel, np.full(5, True), settings)

    np.testing.assert_allclose(found, [0.5, 0.0, -0.5, 0.0, 1.0])


def test_a_feel_outside_the_band_is_told_in_widths_of_the_band():
    settings = ScoreSettings(feel_low_deg_per_mps2=0.5, feel_high_deg_per_mps2=4.5)

    found = feel_constraint(np.array([-0.5, 0.5, 2.5, 6.5]), np.full(4, True), settings)

    np.testing.assert_allclose(found, [0.25, 0.0, -0.5, 0.5])


@pytest.mark.parametrize("low", [0.5, -0.5])  # 0 outside the band, and inside
def test_a_feel_that_no_ride_has_breaks_the_band_unless_rides_were_left_out(low):
    settings = ScoreSettings(feel_low_deg_per_mps2=low, feel_high_deg_per_mps2=2.0)

    found = feel_constraint(np.full(2, np.nan), np.array([True, False]), settings)

    np.testing.assert_allclose(found, [1.0, NOT_ASKED])


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0.0, None, [0.5, 0.0, -2.0]),
        (None, 1.0, [-1.5, -1.0, 1.0]),
    ],
)
def test_one_end_of_the_feel_band_alone_is_compared_in_deg_per_mps2(low, high, expected):
    settings = ScoreSettings(feel_low_deg_per_mps2=low, feel_high_deg_per_mps2=high)

    found = feel_constraint(np.array([-0.5, 0.0, 2.0]), np.full(3, True), settings)

    np.testing.assert_allclose(found, expected)


def test_a_nose_that_rises_as_the_board_speeds_up_is_not_allowed_by_default():
    asked = ScoreSettings()

    found = feel_constraint(np.array([-0.1, 0.1, np.nan]), np.full(3, True), asked)

    assert found[0] > 0.0
    assert found[1] < 0.0
    assert found[2] == NOT_ASKED  # no ride accelerates, so no nose can rise


def test_spread_is_compared_with_its_limit():
    found = spread_constraint(np.array([1.0, 3.0]), ScoreSettings(rider_spread_limit=2.0))

    np.testing.assert_allclose(found, [-0.5, 0.5])


def test_what_is_not_asked_is_met():
    ones = np.ones(2)

    unasked = ScoreSettings(feel_low_deg_per_mps2=None)
    np.testing.assert_array_equal(feel_constraint(ones, ones > 0.0, unasked), NOT_ASKED)
    np.testing.assert_array_equal(spread_constraint(ones, ScoreSettings()), NOT_ASKED)
