"""Scoring settings refuse what can not be meant."""

import math

import pytest

from objectives.score_settings import ScoreSettings


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("tail_share", 0.0),
        ("tail_share", 1.2),
        ("tail_weight", -0.1),
        ("worst_rider_weight", 1.1),
        ("sensitivity_limit", 1.0),
        ("gain_margin_ratio", 0.5),
        ("rest_shake_limit_deg_per_s", float("nan")),
        ("rest_shake_limit_deg_per_s", 0.0),
        ("rider_spread_limit", 0.9),
        ("more_warned_limit", 0.0),
        ("worst_rider_weight", 1.05),
        ("tail_weight", 1.05),
        ("nose_down_share", 1.05),
    ],
)
def test_number_outside_its_range_is_refused_by_name(name, value):
    with pytest.raises(ValueError, match=f"^{name}: must be from .* got"):
        ScoreSettings(**{name: value})


@pytest.mark.parametrize(("low", "high"), [(2.0, 1.0), (-1.0, -2.0), (-1.0, -1.0)])
def test_reversed_or_empty_feel_band_is_refused(low, high):
    with pytest.raises(
        ValueError, match=f"must be below feel_high_deg_per_mps2, got {low:g} and {high:g}"
    ):
        ScoreSettings(feel_low_deg_per_mps2=low, feel_high_deg_per_mps2=high)


@pytest.mark.parametrize(
    ("asked", "fault"),
    [
        (
            {"handling": {"dip": (0.0, 1.0)}},
            "handling.dip: must be one of feel_deg_per_mps2, .*'dip'",
        ),
        ({"handling": {"grade_dip_deg": (2.0, 2.0)}}, r"grade_dip_deg: must be \[low, high\]"),
        ({"rider_difference": {"dip": 1.0}}, "rider_difference.dip: must be one of"),
        ({"rider_difference": {"grade_dip_deg": 0.0}}, "grade_dip_deg: must be above 0, got 0"),
        ({"rider_difference": {"grade_dip_deg": math.nan}}, "grade_dip_deg: must be above 0"),
    ],
)
def test_bands_and_differences_of_handling_that_can_not_be_met_are_refused(asked, fault):
    with pytest.raises(ValueError, match=fault):
        ScoreSettings(**asked)


@pytest.mark.parametrize(
    ("name", "least", "most"),
    [
        ("tail_weight", 0.0, 1.0),  # the plain mean, and the tail alone
        ("worst_rider_weight", 0.0, 1.0),  # all riders, and the worst alone
        ("nose_down_share", 0.0, 1.0),
        ("tail_share", 0.01, 1.0),  # of all rides the tail is the mean
        # Astrom and Murray 2008, Feedback Systems, 9.3, from memory.
        ("sensitivity_limit", 1.25, 2.0),
        ("phase_margin_deg", 30.0, 60.0),
        ("gain_margin_ratio", 2.0, 5.0),
        ("rider_spread_limit", 1.0, 3.0),  # no spread at all, and more
    ],
)
def test_shares_have_their_ends_and_margins_what_is_usual(name, least, most):
    for value in (least, most):
        assert getattr(ScoreSettings(**{name: value}), name) == value


@pytest.mark.parametrize("name", ["rider_spread_limit", "like_baseline_percent"])
def test_what_is_not_asked_is_in_no_range(name):
    assert getattr(ScoreSettings(**{name: None}), name) is None


def test_defaults_are_allowed():
    assert ScoreSettings().sensitivity_limit == 2.0
