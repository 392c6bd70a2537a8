"""The rider on the rows of one lane: what is wanted, and the foot moment that is commanded."""

from plant.compile import scalar
from plant.constants import DT_S, GRAVITY_MPS2
from plant.kernel.lane_layout import Block, R
from plant.physics.reflex import (
    ANSWER_TIME_S,
    FORESIGHT_S,
    HEED_TIME_S,
    asked_acceleration,
    carried_moment,
    expected_resistance,
    foot_command,
    heeded,
    swayed,
    trimmed,
)
from plant.physics.scalar_math import sine


@scalar
def want_speed(b: Block, k: int, speed_script: float, free: float) -> float:
    """Advance how a warning is heeded, and return the speed error that a rider judges in m/s."""
    heed = b[R.heed + k]
    warned = heeded(b[R.warning_now_deg + k], b[R.warning_heed_ratio + k])
    heed += (warned - heed) * (DT_S / HEED_TIME_S)
    b[R.heed + k] = heed
    wanted = speed_script * (1.0 - heed) * free
    b[R.speed_wanted_now_mps + k] = wanted
    error: float = wanted - b[R.speed_mps + k] - FORESIGHT_S * b[R.accel_mps2 + k]
    return error


@scalar
def want_acceleration(b: Block, k: int, speed_error: float, free: float) -> None:
    """Advance the acceleration a rider wants, and what is added to it by feel."""
    asked = asked_acceleration(speed_error, b[R.ask_accel_mps2 + k], b[R.ask_braking_mps2 + k])
    mind = b[R.accel_wanted_mps2 + k]
    mind += (asked * free - mind) * b[R.smoothing_share + k]
    b[R.accel_wanted_mps2 + k] = mind
    expected = b[R.accel_expected_mps2 + k]
    expected += (mind - expected) * (DT_S / ANSWER_TIME_S)
    b[R.accel_expected_mps2 + k] = expected
    b[R.accel_trim_mps2 + k] = trimmed(
        b[R.accel_trim_mps2 + k],
        speed_error,
        asked,
        expected - b[R.accel_mps2 + k],
        DT_S * free,
    )


@scalar
def command_feet(b: Block, k: int) -> None:
    """Advance the sway, and write the foot moment that the reflex commands."""
    # A rider sees the hill and the soft ground coming and leans into them.
    taken = expected_resistance(
        GRAVITY_MPS2 * sine(b[R.seen_grade_rad + k]),
        b[R.seen_rolling_ratio + k],
        b[R.speed_mps + k],
    )
    wanted = b[R.accel_wanted_mps2 + k] + b[R.accel_trim_mps2 + k]
    mgh = b[R.rider_mgh_nm + k]
    sway = swayed(b[R.sway + k], b[R.sway_noise + k])
    b[R.sway + k] = sway
    carried = carried_moment(
        b[R.moving_mass_kg + k] * (wanted + taken),
        b[R.wheel_radius_m + k],
        wanted,
        b[R.frame_mh_kg_m + k],
    )
    balanced = foot_command(
        b[R.lean_rad + k],
        b[R.lean_rate_radps + k],
        wanted,
        carried,
        mgh,
        b[R.lean_gain_ratio + k],
        b[R.lean_rate_gain_s + k],
        b[R.leg_stiffness_ratio + k],
    )
    balanced += mgh * b[R.sway_ratio + k] * sway
    balanced -= b[R.road_press_ratio + k] * b[R.foot_limit_nm + k]
    b[R.foot_command_nm + k] = balanced
