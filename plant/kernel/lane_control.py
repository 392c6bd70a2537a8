"""The control law on the rows of one lane: its sections, from the sensors to the wanted current.

`b` is the block's buffer and `k` the lane in it; what each section computes stands in
plant/physics/control.py.
"""

from plant.compile import scalar
from plant.constants import DEG_PER_RAD, DT_S
from plant.kernel.lane_layout import Block, R
from plant.physics.control import (
    LIFT_SHARE,
    LOAD_FILTER_S,
    allowed_current,
    balancing_current,
    engaged_by,
    integrate,
    load_filters,
    load_response,
    nested_current,
    slewed,
    turn_response,
    warning_share,
)
from plant.physics.loop_delay import commanded_current
from plant.physics.scalar_math import magnitude

_YAW_NOISE_SHARE = 0.5  # assumed: yaw gyro noise over pitch gyro noise


@scalar
def respond_to_load(b: Block, k: int, speed: float) -> float:
    """Advance shift and stiffness lift, and return the downhill residual in m/s2."""
    current, filtered, compared, acceleration = load_filters(
        b[R.current_a + k] + b[R.current_offset_a + k],
        speed,
        b[R.current_filtered_a + k],
        b[R.speed_filtered_mps + k],
        DT_S / LOAD_FILTER_S,
        1.0,
    )
    b[R.current_filtered_a + k] = current
    b[R.speed_filtered_mps + k] = filtered
    shift, lift, downhill = load_response(
        b[R.load_shift_deg + k],
        b[R.stiffness_lift + k],
        compared,
        acceleration,
        b[R.per_expected_current + k],
        b[R.load_deadband_mps2 + k],
        b[R.uphill_gain_deg_per_mps2 + k],
        b[R.downhill_gain_deg_per_mps2 + k],
        b[R.load_shift_cap_deg + k],
        b[R.load_rise_deg_per_s + k] * DT_S,
        b[R.load_fall_deg_per_s + k] * DT_S,
        b[R.stiffness_lift_per_mps2 + k],
        b[R.stiffness_lift_cap_ratio + k],
        LIFT_SHARE,
    )
    b[R.load_shift_deg + k] = shift
    b[R.stiffness_lift + k] = lift
    return downhill


@scalar
def respond_to_turn(b: Block, k: int, speed: float) -> float:
    """Advance both lags of the turn response, and return its nose lift in deg."""
    yaw_noise = _YAW_NOISE_SHARE * (b[R.gyro_noise_deg_per_s + k] / DEG_PER_RAD)
    yaw = b[R.yaw_seen_radps + k] + yaw_noise * b[R.yaw_gyro_noise + k]
    lag_1, lag_2, lift = turn_response(
        b[R.turn_lag_1_mps2 + k],
        b[R.turn_lag_2_mps2 + k],
        magnitude(yaw * speed),
        b[R.turn_share + k],
        b[R.turn_gain_deg_per_mps2 + k],
        b[R.turn_lift_cap_deg + k],
    )
    b[R.turn_lag_1_mps2 + k] = lag_1
    b[R.turn_lag_2_mps2 + k] = lag_2
    return lift


@scalar
def warn(b: Block, k: int) -> float:
    """Advance the nose lift that warns of the nearest limit, and return it in deg."""
    bus = b[R.bus_v + k]
    share = warning_share(
        (b[R.available_high_a + k] - b[R.current_filtered_a + k]) * b[R.per_phase_limit + k],
        b[R.reserve_warning_ratio + k],
        b[R.per_reserve_width + k],
        b[R.throttle_start_c + k] - b[R.mosfet_c + k],
        b[R.heat_warning_margin_k + k],
        b[R.per_heat_width + k],
        bus - b[R.bus_low_v + k],
        b[R.taper_start_v + k] - bus,
        b[R.bus_warning_margin_v + k],
        b[R.per_bus_width + k],
    )
    slew = b[R.warning_slew_deg_per_s + k] * DT_S
    warning = slewed(b[R.warning_now_deg + k], share * b[R.warning_lift_deg + k], slew, slew)
    b[R.warning_now_deg + k] = warning
    return warning


@scalar
def engage(b: Block, k: int, attitude: float) -> float:
    """Advance engagement, and return the pitch in deg from which the board comes level."""
    engaged, start_pitch, authority = engaged_by(
        attitude,
        b[R.engaged + k],
        b[R.engage_pitch_deg + k],
        b[R.authority + k],
        b[R.engage_angle_deg + k],
        b[R.level_slew_deg_per_s + k] * DT_S,
        b[R.build_up_per_step + k],
    )
    b[R.engaged + k] = engaged
    b[R.engage_pitch_deg + k] = start_pitch
    b[R.authority + k] = authority
    return start_pitch


@scalar
def balance(b: Block, k: int, error: float, speed: float, downhill: float) -> float:
    """Advance the rate filter, and return what stiffness, damping and integral ask for, in A."""
    rate = b[R.rate_filtered_radps + k]
    rate += (b[R.gyro_radps + k] - rate) * b[R.rate_share + k]
    b[R.rate_filtered_radps + k] = rate
    return balancing_current(
        error,
        rate,
        speed,
        downhill,
        b[R.stiffness_lift + k],
        b[R.integral_a + k],
        b[R.inner_gain_a_per_deg + k],
        b[R.inner_band_deg + k],
        b[R.base_gain_a_per_deg + k],
        b[R.mid_knee_deg + k],
        b[R.mid_gain_ratio + k],
        b[R.outer_knee_deg + k],
        b[R.outer_gain_ratio + k],
        b[R.rate_gain_a_per_deg_per_s + k],
        b[R.rate_current_cap_a + k],
        b[R.braking_stiffness_ratio + k],
        b[R.braking_damping_ratio + k],
    )


@scalar
def nest(b: Block, k: int, outer: float, speed: float) -> float:
    """Advance the inner loop on acceleration, and return the acceleration it misses in m/s2."""
    current, missing, lag = nested_current(
        outer,
        speed,
        b[R.accel_lag_mps + k],
        b[R.accel_share + k],
        b[R.per_expected_current + k],
        b[R.feed_forward_ratio + k],
        b[R.acceleration_gain_a_per_mps2 + k],
        b[R.accel_integral_a + k],
    )
    b[R.accel_lag_mps + k] = lag
    b[R.current_raw_a + k] = b[R.authority + k] * current
    return missing


@scalar
def limit(b: Block, k: int, error: float, missing: float, speed: float) -> None:
    """Bound the wanted current, and wind both integrals up by what is left."""
    raw = b[R.current_raw_a + k]
    allowed = allowed_current(
        raw,
        speed,
        b[R.braking_current_cap_a + k],
        b[R.available_low_a + k],
        b[R.available_high_a + k],
    )
    b[R.current_wanted_a + k] = allowed
    engaged = b[R.engaged + k]
    b[R.integral_a + k] = integrate(
        b[R.integral_a + k],
        error * engaged,
        b[R.integral_gain_a_per_deg_s + k],
        b[R.integral_clamp_a + k],
        raw - allowed,
        DT_S,
    )
    b[R.accel_integral_a + k] = integrate(
        b[R.accel_integral_a + k],
        missing * engaged,
        b[R.acceleration_integral_a_per_mps + k],
        b[R.acceleration_clamp_a + k],
        raw - allowed,
        DT_S,
    )


@scalar
def command(b: Block, k: int) -> None:
    """Hand the wanted current to the drive, later by the loop's delay."""
    wanted, was = b[R.current_wanted_a + k], b[R.wanted_was_a + k]
    b[R.current_commanded_a + k] = commanded_current(
        wanted,
        was,
        b[R.wanted_before_a + k],
        b[R.command_share_now + k],
        b[R.command_share_was + k],
        b[R.command_share_before + k],
    )
    b[R.wanted_before_a + k] = was
    b[R.wanted_was_a + k] = wanted
