"""What the rider wants and what the feet are told to do, over a batch of lanes."""

from types import SimpleNamespace as Lanes

import numpy as np
from numpy.typing import NDArray

from tests.reference.constants import (
    ANSWER_TIME_S,
    DT_S,
    FEEL_RATE_PER_S,
    FORESIGHT_S,
    GRAVITY_MPS2,
    HEED_TIME_S,
    PLAIN_MPS2,
    ROLLING_MPS,
    SPEED_TIME_S,
    SWAY_TIME_S,
    TRIM_LIMIT_MPS2,
    TRIM_RATE_PER_S2,
    WARNING_PERCEIVED_DEG,
    WARNING_PLAIN_DEG,
)


def heed(lanes: Lanes) -> None:
    """Advance how much of the wanted speed a warning makes the rider give up."""
    seen = (lanes.warning_now_deg - WARNING_PERCEIVED_DEG) / (
        WARNING_PLAIN_DEG - WARNING_PERCEIVED_DEG
    )
    wanted = lanes.warning_heed_ratio * np.clip(seen, 0.0, 1.0)
    lanes.heed += (wanted - lanes.heed) * (DT_S / HEED_TIME_S)


def decide(lanes: Lanes, speed_script_mps: NDArray[np.float64]) -> None:
    """Advance the acceleration in mind and the trim against slope and wind."""
    free = 1.0 - lanes.support
    lanes.speed_wanted_now_mps = speed_script_mps * (1.0 - lanes.heed) * free
    predicted = lanes.speed_mps + FORESIGHT_S * lanes.accel_mps2
    miss = lanes.speed_wanted_now_mps - predicted
    plain = miss / SPEED_TIME_S
    asked = np.clip(plain, -lanes.ask_braking_mps2, lanes.ask_accel_mps2)
    lanes.accel_wanted_mps2 += (asked * free - lanes.accel_wanted_mps2) * -np.expm1(
        -DT_S / lanes.smoothing_s
    )
    lanes.accel_expected_mps2 += (lanes.accel_wanted_mps2 - lanes.accel_expected_mps2) * (
        DT_S / ANSWER_TIME_S
    )
    missing = lanes.accel_expected_mps2 - lanes.accel_mps2
    plainly = np.sign(missing) * np.maximum(np.abs(missing) - PLAIN_MPS2, 0.0)
    at_will = np.abs(asked - plain) < 1e-9
    rate = FEEL_RATE_PER_S * plainly + np.where(at_will, TRIM_RATE_PER_S2 * miss, 0.0)
    lanes.accel_trim_mps2 = np.clip(
        lanes.accel_trim_mps2 + rate * DT_S * free, -TRIM_LIMIT_MPS2, TRIM_LIMIT_MPS2
    )


def sway(lanes: Lanes) -> None:
    """Advance the rider's unsteadiness, a first-order process of unit variance."""
    lanes.sway += (
        -lanes.sway * (DT_S / SWAY_TIME_S) + np.sqrt(2.0 * DT_S / SWAY_TIME_S) * lanes.sway_noise
    )


def command(lanes: Lanes, rise: NDArray[np.float64]) -> None:
    """Set the foot moment that the reflex commands and the pitch to which a start guides."""
    mgh = lanes.rider_mgh_nm
    acceleration = lanes.accel_wanted_mps2 + lanes.accel_trim_mps2
    slope = GRAVITY_MPS2 * np.sin(lanes.seen_grade_rad)
    rolling = (
        GRAVITY_MPS2 * lanes.seen_rolling_ratio * np.clip(lanes.speed_mps / ROLLING_MPS, -1.0, 1.0)
    )
    moment = lanes.moving_mass_kg * (acceleration + slope + rolling) * lanes.wheel_radius_m
    moment = moment + acceleration * (
        lanes.frame_mass_kg * lanes.frame_com_height_m + lanes.mass_kg * lanes.deck_height_m
    )
    lean = acceleration / GRAVITY_MPS2 + moment / mgh
    lanes.foot_command_nm = (
        moment
        + mgh * lanes.lean_gain_ratio * (lanes.lean_rad - lean)
        + mgh * lanes.lean_rate_gain_s * lanes.lean_rate_radps
        - mgh * lanes.leg_stiffness_ratio * lean
        + mgh * lanes.sway_ratio * lanes.sway
        - lanes.road_press_ratio * lanes.foot_limit_nm
    )
    lanes.guide_pitch_rad = (1.0 - rise) * (lanes.start_tail_rad - lanes.road_grade_rad)


def ride(
    lanes: Lanes, step: int, speed_script_mps: NDArray[np.float64], rise: NDArray[np.float64]
) -> None:
    """Advance the rider by one millisecond."""
    heed(lanes)
    decide(lanes, speed_script_mps)
    sway(lanes)
    command(lanes, rise)
