"""The controller's settings from rides with another controller than the project's."""

import numpy as np
import pytest

from optimizer.ridelog.fits.controller import fit_controller
from optimizer.ridelog.fits.controller_law import LOAD_EXPECTED
from optimizer.study.log_data.mapping import load_mapping
from optimizer.study.log_data.resampling import load_log
from tests.reference import logged_ride
from tests.reference.logged_truth import drawn_truth


def fitted(folder, seed, *, leave_out=(), rounding=0.0):
    """Return the fit of a seed's ride and what the ride was made with.

    `rounding` is the standard deviation of relative errors that the log's signals have besides.
    """
    truth = drawn_truth(seed)
    lines = logged_ride.mapping(truth).splitlines()
    kept = [line for line in lines if not line.startswith(tuple(leave_out))]
    (folder / "m.toml").write_text("\n".join(kept))
    mapping = load_mapping(folder / "m.toml")
    logged_ride.logged(truth, seed=seed, duration_s=150.0).to_parquet(folder / "ride.parquet")
    log, _ = load_log(folder / "ride.parquet", mapping)
    random = np.random.default_rng(seed)
    for name, values in log.signals.items():
        log.signals[name] = values * (1.0 + rounding * random.standard_normal(len(values)))
    return fit_controller(log, mapping.board, truth.rider_kg), truth


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """Return the fit of a ride whose controller has every answer, and its truth."""
    return fitted(tmp_path_factory.mktemp("full"), 3003)


@pytest.mark.parametrize(
    ("name", "closeness"),
    [
        ("inner_gain_a_per_deg", 0.03),
        ("base_gain_a_per_deg", 0.03),
        ("rate_gain_a_per_deg_per_s", 0.03),
        ("integral_gain_a_per_deg_s", 0.05),
        ("braking_stiffness_ratio", 0.05),
        ("braking_damping_ratio", 0.05),
        ("uphill_gain_deg_per_mps2", 0.15),
        (LOAD_EXPECTED, 0.1),
        ("load_deadband_mps2", 0.15),
        ("turn_gain_deg_per_mps2", 0.05),
        ("turn_build_up_s", 0.1),
    ],
)
def test_a_setting_is_recovered_within_its_interval(full, name, closeness):
    fit, truth = full
    true = truth.load_expected_a_per_mps2 if name == LOAD_EXPECTED else getattr(truth, name)

    value, low, high = fit.estimate(name)

    assert low <= true <= high
    assert value == pytest.approx(true, rel=closeness)


def test_rounding_errors_of_a_log_do_not_move_estimates_or_intervals(full, tmp_path):
    fit, _ = full
    again, _ = fitted(tmp_path, 3003, rounding=1e-12)

    half = 0.5 * (fit.high - fit.low)
    assert again.names == fit.names
    for exact, rounded in ((fit.value, again.value), (fit.low, again.low), (fit.high, again.high)):
        assert np.max(np.abs(rounded - exact) / half) < 0.01


def test_answers_that_a_controller_has_not_are_found_to_be_nothing(tmp_path):
    fit, _ = fitted(tmp_path, 3004)

    for name in ("uphill_gain_deg_per_mps2", "turn_gain_deg_per_mps2", "integral_gain_a_per_deg_s"):
        _, low, high = fit.estimate(name)
        assert low <= 0.0 <= high
        assert high - low < 0.1
    assert np.abs(fit.estimate("braking_damping_ratio")[0] - 1.0) < 0.02
    assert {text.split(":")[0] for text in fit.undetermined} >= {"load response", "turn response"}


def test_a_log_without_speed_tells_stiffness_and_damping_alone(tmp_path):
    fit, truth = fitted(tmp_path, 3004, leave_out=("speed_mps", "duty_ratio", "yaw"))

    assert fit.estimate("base_gain_a_per_deg")[0] == pytest.approx(
        truth.base_gain_a_per_deg, rel=0.02
    )
    assert "uphill_gain_deg_per_mps2" not in fit.names
    assert any("need the wheel speed" in text for text in fit.undetermined)
