"""The control law over a log: from what was measured to the current that was asked.

The law is that of `plant.physics.control`, section after section, at the log's step instead of
the controller's. Current and acceleration are the measured ones, so nothing here feeds back.
"""

import math

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats
from plant.compile import kernel
from plant.constants import DEG_PER_RAD, DT_S
from plant.physics.control import (
    LIFT_SHARE,
    LOAD_FILTER_S,
    balancing_current,
    integrate,
    load_filters,
    load_response,
    turn_response,
    wanted_pitch,
)

SIGNALS = ("pitch_deg", "rate_deg_per_s", "speed_mps", "current_a", "lateral_mps2", "excess_a")
LOAD_EXPECTED = "load_expected_current_a_per_mps2"  # the profile's, not what the road load tells
# Settings of the law in the order of its array; the last is where the integral stands at first.
SETTINGS = (
    "rate_gain_a_per_deg_per_s",
    "level_deg",
    "inner_gain_a_per_deg",
    "inner_band_deg",
    "base_gain_a_per_deg",
    "mid_knee_deg",
    "mid_gain_ratio",
    "integral_gain_a_per_deg_s",
    "integral_clamp_a",
    "braking_stiffness_ratio",
    "braking_damping_ratio",
    LOAD_EXPECTED,
    "load_deadband_mps2",
    "uphill_gain_deg_per_mps2",
    "downhill_gain_deg_per_mps2",
    "load_rise_deg_per_s",
    "load_fall_deg_per_s",
    "stiffness_lift_per_mps2",
    "stiffness_lift_cap_ratio",
    "turn_gain_deg_per_mps2",
    "turn_build_up_s",
    "integral_start_a",
)
# A controller without integral, braking, load and turn response, and with no knee in reach.
NEUTRAL = {
    "mid_knee_deg": 90.0,
    "mid_gain_ratio": 1.0,
    "integral_gain_a_per_deg_s": 0.0,
    "integral_clamp_a": 150.0,
    "braking_stiffness_ratio": 1.0,
    "braking_damping_ratio": 1.0,
    LOAD_EXPECTED: 20.0,
    "load_deadband_mps2": 0.2,
    "uphill_gain_deg_per_mps2": 0.0,
    "downhill_gain_deg_per_mps2": 0.0,
    "load_rise_deg_per_s": 10.0,
    "load_fall_deg_per_s": 10.0,
    "stiffness_lift_per_mps2": 0.0,
    "stiffness_lift_cap_ratio": 4.0,
    "turn_gain_deg_per_mps2": 0.0,
    "turn_build_up_s": 0.4,
    "integral_start_a": 0.0,
}
_FAR_DEG = 90.0  # an outer knee that no ride reaches
_SHIFT_CAP_DEG = 15.0  # the largest that a profile may have


def asked_current(signals: Floats, settings: Floats, *, dt_s: float) -> Floats:
    """Return the current in A that the law asks, (sample,).

    Parameters
    ----------
    signals : (signal, sample) float64
        In the order of `SIGNALS`; `excess_a` is not zero where the drive gives less than is asked.
    settings : (setting,) float64
        In the order of `SETTINGS`.
    dt_s : float
    """
    asked = np.empty(signals.shape[1])
    _ask(asked, signals, settings, dt_s)
    return asked


@kernel
def _ask(
    asked: NDArray[np.float64],
    signals: NDArray[np.float64],
    settings: NDArray[np.float64],
    dt_s: float,
) -> None:
    (rate_gain, level, inner, band, base, knee, ratio, gain, clamp, soft, soft_rate, expected,
     deadband, uphill_gain, downhill_gain, rise, fall, lift_gain, lift_cap, turn_gain, build_up,
     integral) = settings  # fmt: skip
    # The lift's lag over the controller's steps in one of the log's.
    lift_share = 1.0 - (1.0 - LIFT_SHARE) ** (dt_s / DT_S)
    load_share = 1.0 - math.exp(-dt_s / LOAD_FILTER_S)
    turn_share = 1.0 - math.exp(-dt_s / build_up)
    current_filtered, speed_filtered = signals[3, 0], signals[2, 0]
    lag_1 = lag_2 = signals[4, 0]
    shift, lift = 0.0, 1.0
    for step in range(signals.shape[1]):
        speed = signals[2, step]
        # The filters' means over a step: at their ends a long step would lag.
        current_filtered, speed_filtered, current, acceleration = load_filters(
            signals[3, step], speed, current_filtered, speed_filtered, load_share, 0.5
        )
        shift, lift, downhill = load_response(
            shift, lift, current, acceleration, 1.0 / expected, deadband, uphill_gain,
            downhill_gain, _SHIFT_CAP_DEG, rise * dt_s, fall * dt_s, lift_gain, lift_cap, lift_share
        )  # fmt: skip
        lag_1, lag_2, turn_lift = turn_response(
            lag_1, lag_2, signals[4, step], turn_share, turn_gain, math.inf
        )
        error = signals[0, step] - wanted_pitch(level, shift, turn_lift, 0.0)
        asked[step] = balancing_current(
            error, signals[1, step] / DEG_PER_RAD, speed, downhill, lift, integral, inner, band,
            base, knee, ratio, _FAR_DEG, 1.0, rate_gain, math.inf, soft, soft_rate
        )  # fmt: skip
        integral = integrate(integral, error, gain, clamp, signals[5, step], dt_s)
