"""Scoring settings refuse what can not be meant."""

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
        ("rider_spread_limit", 0.9),
        ("more_warned_limit", 0.0),
        ("worst_rider_weight", 1.5),
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


def test_defaults_are_allowed():
    assert ScoreSettings().sensitivity_limit == 2.0
