"""The control law over a batch of lanes, section by section of the profile."""

from types import SimpleNamespace as Lanes

import numpy as np

from plant.arrays import Floats
from tests.reference.constants import (
    BRAKE_ERROR_DEG,
    BRAKE_SPEED_MPS,
    CAP_SPEED_MPS,
    DT_S,
    HIGH_BUS_LIFT_RATIO,
    LEAST_BUS_MARGIN_V,
    LEAST_HEAT_MARGIN_K,
    LEAST_RESERVE_RATIO,
    LIFT_FILTER_S,
    LOAD_FILTER_S,
    OVERRIDE_MPS2,
    YAW_NOISE_SHARE,
)


def slewed(value: Floats, wanted: Floats, away: Floats, back: Floats) -> Floats:
    """Return `value` moved to `wanted` by at most `away` from zero or `back` towards it."""
    grows = (np.abs(wanted) > np.abs(value)) & (wanted * value >= 0.0)
    step = np.where(grows, away, back)
    return value + np.clip(wanted - value, -step, step)


def schedule(lanes: Lanes, error_deg: Floats) -> Floats:
    """Return the current of the gain schedule: four straight pieces, odd in the error."""
    size = np.abs(error_deg)
    band = lanes.inner_band_deg
    first = np.maximum(lanes.mid_knee_deg, band)
    second = np.maximum(lanes.outer_knee_deg, first)
    mid_gain = lanes.base_gain_a_per_deg * lanes.mid_gain_ratio
    at_band = lanes.inner_gain_a_per_deg * band
    at_first = at_band + lanes.base_gain_a_per_deg * (first - band)
    at_second = at_first + mid_gain * (second - first)
    current = np.select(
        [size <= band, size <= first, size <= second],
        [
            lanes.inner_gain_a_per_deg * size,
            at_band + lanes.base_gain_a_per_deg * (size - band),
            at_first + mid_gain * (size - first),
        ],
        at_second + mid_gain * lanes.outer_gain_ratio * (size - second),
    )
    return np.copysign(current, error_deg)


def respond_to_load(lanes: Lanes, speed: Floats) -> tuple[Floats, Floats]:
    """Advance wanted-pitch shift and stiffness lift; return uphill and downhill residual."""
    measured_a = lanes.current_a + lanes.current_offset_a
    lanes.current_filtered_a += (measured_a - lanes.current_filtered_a) * (DT_S / LOAD_FILTER_S)
    lanes.speed_filtered_mps += (speed - lanes.speed_filtered_mps) * (DT_S / LOAD_FILTER_S)
    measured = (speed - lanes.speed_filtered_mps) / LOAD_FILTER_S
    residual = lanes.current_filtered_a / lanes.expected_current_a_per_mps2 - measured
    uphill = np.maximum(residual - lanes.load_deadband_mps2, 0.0)
    downhill = np.maximum(-residual - lanes.load_deadband_mps2, 0.0)
    wanted = lanes.downhill_gain_deg_per_mps2 * downhill - lanes.uphill_gain_deg_per_mps2 * uphill
    lanes.load_shift_deg = slewed(
        lanes.load_shift_deg,
        np.clip(wanted, -lanes.load_shift_cap_deg, lanes.load_shift_cap_deg),
        lanes.load_rise_deg_per_s * DT_S,
        lanes.load_fall_deg_per_s * DT_S,
    )
    lift = 1.0 + lanes.stiffness_lift_per_mps2 * (uphill + downhill)
    lift = np.minimum(lift, lanes.stiffness_lift_cap_ratio)
    lanes.stiffness_lift += (lift - lanes.stiffness_lift) * (DT_S / LIFT_FILTER_S)
    return uphill, downhill


def respond_to_turn(lanes: Lanes, speed: Floats) -> Floats:
    """Advance the two lags of the turn response and return its nose lift in deg."""
    noise = YAW_NOISE_SHARE * np.radians(lanes.gyro_noise_deg_per_s) * lanes.yaw_gyro_noise
    lateral = np.abs((lanes.yaw_seen_radps + noise) * speed)
    share = -np.expm1(-DT_S / lanes.turn_build_up_s)
    lanes.turn_lag_2_mps2 += (lanes.turn_lag_1_mps2 - lanes.turn_lag_2_mps2) * share
    lanes.turn_lag_1_mps2 += (lateral - lanes.turn_lag_1_mps2) * share
    return np.minimum(lanes.turn_gain_deg_per_mps2 * lanes.turn_lag_2_mps2, lanes.turn_lift_cap_deg)


def warn(lanes: Lanes) -> None:
    """Advance the nose lift that warns of the nearest of four limits."""
    reserve = (lanes.available_high_a - lanes.current_filtered_a) / lanes.phase_current_limit_a
    start = lanes.reserve_warning_ratio
    heat_room = lanes.throttle_start_c - lanes.mosfet_c
    low_room = lanes.bus_v - lanes.bus_low_v
    high_room = lanes.bus_high_v - lanes.regen_taper_v - lanes.bus_v
    bus_width = np.maximum(lanes.bus_warning_margin_v, LEAST_BUS_MARGIN_V)
    shares = [
        (start - reserve) / (0.5 * np.maximum(start, LEAST_RESERVE_RATIO)),
        (lanes.heat_warning_margin_k - heat_room)
        / np.maximum(lanes.heat_warning_margin_k, LEAST_HEAT_MARGIN_K),
        (lanes.bus_warning_margin_v - low_room) / bus_width,
        HIGH_BUS_LIFT_RATIO * np.minimum((lanes.bus_warning_margin_v - high_room) / bus_width, 1.0),
    ]
    share = np.clip(np.max(shares, axis=0), 0.0, 1.0)
    slew = lanes.warning_slew_deg_per_s * DT_S
    lanes.warning_now_deg = slewed(
        lanes.warning_now_deg, share * lanes.warning_lift_deg, slew, slew
    )


def engage(lanes: Lanes, attitude_deg: Floats) -> None:
    """Advance engagement: once near level the wanted pitch slews to it and torque builds up."""
    near_level = attitude_deg > -lanes.engage_angle_deg
    lanes.engaged = np.where((lanes.engaged > 0.5) | near_level, 1.0, 0.0)
    slew = lanes.level_slew_deg_per_s * DT_S
    levelling = lanes.engage_pitch_deg + np.clip(-lanes.engage_pitch_deg, -slew, slew)
    lanes.engage_pitch_deg = np.where(lanes.engaged > 0.5, levelling, attitude_deg)
    step = lanes.engaged * DT_S / lanes.torque_build_up_s
    lanes.authority = np.minimum(lanes.authority + step, 1.0)


def _overridden(ratio: Floats, downhill: Floats) -> Floats:
    """Return soft braking ratios brought back towards 1 by a downhill residual."""
    back = np.clip(downhill / OVERRIDE_MPS2, 0.0, 1.0)
    return np.where(ratio < 1.0, ratio + (1.0 - ratio) * back, ratio)


def balance(lanes: Lanes, error_deg: Floats, speed: Floats, downhill: Floats) -> Floats:
    """Advance the rate filter and return stiffness, damping and integral together, in A."""
    opposing = -np.clip(error_deg / BRAKE_ERROR_DEG, -1.0, 1.0) * np.clip(
        speed / BRAKE_SPEED_MPS, -1.0, 1.0
    )
    braking = np.clip(opposing, 0.0, 1.0)
    stiffness_ratio = 1.0 + (_overridden(lanes.braking_stiffness_ratio, downhill) - 1.0) * braking
    damping_ratio = 1.0 + (_overridden(lanes.braking_damping_ratio, downhill) - 1.0) * braking
    share = -np.expm1(-2.0 * np.pi * lanes.rate_filter_hz * DT_S)
    lanes.rate_filtered_radps += (lanes.gyro_radps - lanes.rate_filtered_radps) * share
    damping = (
        lanes.rate_gain_a_per_deg_per_s * np.degrees(lanes.rate_filtered_radps) * damping_ratio
    )
    damping = np.clip(damping, -lanes.rate_current_cap_a, lanes.rate_current_cap_a)
    proportional = schedule(lanes, error_deg) * lanes.stiffness_lift * stiffness_ratio
    return proportional + damping + lanes.integral_a


def nest(lanes: Lanes, outer_a: Floats, speed: Floats) -> tuple[Floats, Floats]:
    """Return the inner loop's current, and the acceleration it misses."""
    share = -np.expm1(-2.0 * np.pi * lanes.acceleration_filter_hz * DT_S)
    before = lanes.accel_lag_mps
    lanes.accel_lag_mps = before + (speed - before) * share
    measured = (lanes.accel_lag_mps - before) / DT_S
    missing = outer_a / lanes.expected_current_a_per_mps2 - measured
    current = lanes.feed_forward_ratio * outer_a + lanes.accel_integral_a
    return current + lanes.acceleration_gain_a_per_mps2 * missing, missing


def limit(lanes: Lanes, raw_a: Floats, speed: Floats) -> Floats:
    """Return the current inside the braking cap and what the drive can give."""
    cap = lanes.braking_current_cap_a
    capped = np.where(speed >= CAP_SPEED_MPS, np.maximum(raw_a, -cap), raw_a)
    capped = np.where(speed <= -CAP_SPEED_MPS, np.minimum(capped, cap), capped)
    return np.clip(capped, lanes.available_low_a, lanes.available_high_a)


def wind(
    integral_a: Floats, error: Floats, excess_a: Floats, *, gain: Floats, clamp: Floats
) -> Floats:
    """Return an integral after a step: held while it would ask for what the drive can not give."""
    growth = np.where(error * excess_a > 0.0, 0.0, gain * error * DT_S)
    return np.clip(integral_a + growth, -clamp, clamp)


def command(lanes: Lanes) -> None:
    """Hold each wanted current from when it arrives until the next one arrives."""
    # The delay to the middle of a hold of one step, less the half that the hold itself takes.
    late_steps = lanes.loop_delay_s / DT_S - 0.5
    wanted = np.stack([lanes.current_wanted_a, lanes.wanted_was_a, lanes.wanted_before_a])
    whole = np.floor(late_steps).astype(int)
    older, newer = np.minimum(whole + 1, 2), whole
    lane = np.arange(whole.size)
    until = late_steps - whole  # the part of this step before the newer of two commands arrives
    lanes.current_commanded_a = until * wanted[older, lane] + (1.0 - until) * wanted[newer, lane]
    lanes.wanted_before_a = lanes.wanted_was_a
    lanes.wanted_was_a = lanes.current_wanted_a


def control(lanes: Lanes, step: int) -> None:
    """Advance the control law: from the sensors to the current that the drive is asked for."""
    attitude_deg = np.degrees(lanes.attitude_rad)
    speed = lanes.rotor_speed_radps * lanes.wheel_radius_m
    _, downhill = respond_to_load(lanes, speed)
    turn_lift_deg = respond_to_turn(lanes, speed)
    warn(lanes)
    engage(lanes, attitude_deg)
    lanes.pitch_wanted_deg = (
        lanes.engage_pitch_deg + lanes.load_shift_deg - turn_lift_deg - lanes.warning_now_deg
    )
    error_deg = attitude_deg - lanes.pitch_wanted_deg
    outer_a = balance(lanes, error_deg, speed, downhill)
    inner_a, missing = nest(lanes, outer_a, speed)
    lanes.current_raw_a = lanes.authority * inner_a
    lanes.current_wanted_a = limit(lanes, lanes.current_raw_a, speed)
    command(lanes)
    excess = lanes.current_raw_a - lanes.current_wanted_a
    lanes.integral_a = wind(
        lanes.integral_a,
        error_deg * lanes.engaged,
        excess,
        gain=lanes.integral_gain_a_per_deg_s,
        clamp=lanes.integral_clamp_a,
    )
    lanes.accel_integral_a = wind(
        lanes.accel_integral_a,
        missing * lanes.engaged,
        excess,
        gain=lanes.acceleration_integral_a_per_mps,
        clamp=lanes.acceleration_clamp_a,
    )
