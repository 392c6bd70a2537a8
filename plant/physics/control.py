"""The control law of one lane, section by section of the profile.

Angles in deg and gains in A/deg, as in the profile. A pitch error is positive when the nose is
below the wanted level; a positive current drives forward and lifts the nose.
"""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from plant.compile import scalar
from plant.constants import DEG_PER_RAD, DT_S
from plant.physics.scalar_math import clip, direction, larger, magnitude, smaller

LOAD_FILTER_S = 0.10  # assumed: current and acceleration pass equal filters before comparison
_LIFT_FILTER_S = 0.15  # assumed: the stiffness lift follows the load residual with this lag
LIFT_SHARE = DT_S / _LIFT_FILTER_S  # of the way, in one step
_BRAKE_SPEED_MPS = 0.5  # assumed: braking settings blend in up to this speed
_BRAKE_ERROR_DEG = 0.3  # assumed: and up to this pitch error
_CAP_SPEED_MPS = 0.3  # assumed: the braking cap applies above walking the board
_OVERRIDE_MPS2 = 1.0  # assumed: downhill residual that fully overrides soft braking
_HIGH_BUS_LIFT_RATIO = 0.5  # assumed: a whole lift took the tail to the ground down 25 %
_LEAST_RESERVE_RATIO = 0.02  # assumed: a warning that starts later still does not jump
_LEAST_HEAT_MARGIN_K = 0.5  # assumed: as above
_LEAST_BUS_MARGIN_V = 0.2  # assumed: as above

_Number = TypeVar("_Number", float, NDArray[np.float64])


@scalar
def stiffness_current(
    error: float,
    inner_gain: float,
    inner_band: float,
    base_gain: float,
    mid_knee: float,
    mid_ratio: float,
    outer_knee: float,
    outer_ratio: float,
) -> float:
    """Return the current in A that the gain schedule asks for a pitch error in deg."""
    size = magnitude(error)
    first = larger(mid_knee, inner_band)
    second = larger(outer_knee, first)
    mid_gain = base_gain * mid_ratio
    current = (
        inner_gain * smaller(size, inner_band)
        + base_gain * clip(size - inner_band, 0.0, first - inner_band)
        + mid_gain * clip(size - first, 0.0, second - first)
        + mid_gain * outer_ratio * larger(size - second, 0.0)
    )
    return current if error > 0.0 else -current


@scalar
def braking_share(error: float, speed: float) -> float:
    """Return 1 where the wanted current opposes the motion, 0 where it drives, blended."""
    return clip(-direction(error, _BRAKE_ERROR_DEG) * direction(speed, _BRAKE_SPEED_MPS), 0.0, 1.0)


@scalar
def override(ratio: float, downhill: float) -> float:
    """Return a soft braking ratio brought back towards 1 by a downhill residual in m/s2."""
    back = ratio + (1.0 - ratio) * clip(downhill / _OVERRIDE_MPS2, 0.0, 1.0)
    return back if ratio < 1.0 else ratio


@scalar
def load_residual(
    current: float, acceleration: float, per_expected: float, deadband: float
) -> tuple[float, float]:
    """Return uphill and downhill residual beyond the deadband in m/s2, both from zero up.

    The residual is the acceleration that the current should give on the flat (`per_expected` in
    m/s2 per A), less the measured.
    """
    residual = current * per_expected - acceleration
    return larger(residual - deadband, 0.0), larger(-residual - deadband, 0.0)


@scalar
def slewed(value: float, wanted: float, rise: float, fall: float) -> float:
    """Return `value` moved towards `wanted`: by `rise` away from zero, by `fall` towards it."""
    grows = magnitude(wanted) > magnitude(value) and wanted * value >= 0.0
    step = rise if grows else fall
    return value + clip(wanted - value, -step, step)


@scalar
def lift_under_load(lift: float, residual: float, gain: float, cap: float, share: float) -> float:
    """Return the stiffness ratio under load, moved by `share` towards 1 + gain residual."""
    wanted = smaller(1.0 + gain * residual, cap)
    return lift + (wanted - lift) * share


@scalar
def load_filters(
    current: float,
    speed: float,
    current_filtered: float,
    speed_filtered: float,
    share: float,
    midway: float,
) -> tuple[float, float, float, float]:
    """Return both filters after one step, and the current and acceleration to compare.

    What is compared is taken `midway` through the step, from 0 at its start to 1 at its end: a
    step that is long against the filters would lag at its end.
    """
    current_change = (current - current_filtered) * share
    speed_change = (speed - speed_filtered) * share
    acceleration = (speed - (speed_filtered + midway * speed_change)) / LOAD_FILTER_S
    compared = current_filtered + midway * current_change
    return (
        current_filtered + current_change,
        speed_filtered + speed_change,
        compared,
        acceleration,
    )


@scalar
def load_response(
    shift: float,
    lift: float,
    current: float,
    acceleration: float,
    per_expected: float,
    deadband: float,
    uphill_gain: float,
    downhill_gain: float,
    shift_cap: float,
    rise: float,
    fall: float,
    lift_gain: float,
    lift_cap: float,
    lift_share: float,
) -> tuple[float, float, float]:
    """Return the wanted pitch's shift in deg, the stiffness ratio, and the downhill residual.

    `rise` and `fall` are the most that the shift moves in the step, in deg; `lift_share` is how
    much of its way the stiffness ratio goes.
    """
    uphill, downhill = load_residual(current, acceleration, per_expected, deadband)
    wanted = clip(downhill_gain * downhill - uphill_gain * uphill, -shift_cap, shift_cap)
    shift = slewed(shift, wanted, rise, fall)
    lift = lift_under_load(lift, uphill + downhill, lift_gain, lift_cap, lift_share)
    return shift, lift, downhill


@scalar
def turn_response(
    lag_1: float, lag_2: float, lateral: float, share: float, gain: float, cap: float
) -> tuple[float, float, float]:
    """Return both lags of the lateral acceleration in m/s2, and the nose lift in deg.

    Two equal lags make the lift slow at turn-in and strongest from the middle of the turn on.
    """
    lag_2 += (lag_1 - lag_2) * share
    lag_1 += (lateral - lag_1) * share
    return lag_1, lag_2, smaller(gain * lag_2, cap)


@scalar
def wanted_pitch(level: float, shift: float, turn_lift: float, warning: float) -> float:
    """Return the pitch in deg that the law holds: level or start, moved by load, turn, warning."""
    return level + shift - turn_lift - warning


@scalar
def balancing_current(
    error: float,
    rate_radps: float,
    speed: float,
    downhill: float,
    lift: float,
    integral: float,
    inner_gain: float,
    inner_band: float,
    base_gain: float,
    mid_knee: float,
    mid_ratio: float,
    outer_knee: float,
    outer_ratio: float,
    rate_gain: float,
    rate_cap: float,
    braking_stiffness: float,
    braking_damping: float,
) -> float:
    """Return the current in A that stiffness, damping and integral ask for together."""
    braking = braking_share(error, speed)
    soft = override(braking_stiffness, downhill)
    soft_rate = override(braking_damping, downhill)
    stiffness = (
        stiffness_current(
            error, inner_gain, inner_band, base_gain, mid_knee, mid_ratio, outer_knee, outer_ratio
        )
        * lift
        * (1.0 + (soft - 1.0) * braking)
    )
    damping = rate_gain * rate_radps * DEG_PER_RAD * (1.0 + (soft_rate - 1.0) * braking)
    return stiffness + clip(damping, -rate_cap, rate_cap) + integral


@scalar
def engaged_by(
    attitude: float,
    engaged: float,
    start_pitch: float,
    authority: float,
    engage_angle: float,
    slew: float,
    build_up: float,
) -> tuple[float, float, float]:
    """Return whether the board has engaged, the pitch it starts from, and the share of its torque.

    Once near level, the wanted pitch comes to it by `slew` deg a step and the torque by
    `build_up`, a share of the whole.
    """
    near_level = attitude > -engage_angle
    engaged = 1.0 if (engaged > 0.5 or near_level) else 0.0
    start_pitch = clip(0.0, start_pitch - slew, start_pitch + slew) if engaged > 0.5 else attitude
    return engaged, start_pitch, smaller(authority + engaged * build_up, 1.0)


@scalar
def nested_current(
    outer: float,
    speed: float,
    lag: float,
    share: float,
    per_expected: float,
    feed_forward: float,
    gain: float,
    integral: float,
) -> tuple[float, float, float]:
    """Return the current in A of the inner loop on acceleration, what it misses, and its lag.

    The outer loop's current stands for the acceleration that it should give; the measured one is
    the change of the wheel speed, filtered by `share`; the missing is in m/s2, the lag in m/s.
    """
    change = (speed - lag) * share
    missing = outer * per_expected - change / DT_S
    return feed_forward * outer + gain * missing + integral, missing, lag + change


@scalar
def allowed_current(raw: float, speed: float, braking_cap: float, low: float, high: float) -> float:
    """Return a wanted current inside the braking cap and what the drive can give, in A."""
    rolling = direction(speed, _CAP_SPEED_MPS)
    floor = -braking_cap if rolling >= 1.0 else low
    ceiling = braking_cap if rolling <= -1.0 else high
    return clip(clip(raw, floor, ceiling), low, high)


def warning_widths(
    reserve_warning_ratio: _Number, heat_margin_k: _Number, bus_margin_v: _Number
) -> tuple[_Number, _Number, _Number]:
    """Return over what width each warning grows from nothing to its full.

    Parameters
    ----------
    reserve_warning_ratio : float or (lane,) float64
        Torque reserve, as a ratio of the phase current limit, at which its warning starts.
    heat_margin_k, bus_margin_v : float or (lane,) float64
        How far before the throttle temperature and the bus-voltage limit their warnings start.

    Returns
    -------
    tuple of float or (lane,) float64
        Half the reserve at which the warning starts, as a ratio: the lift is full before the
        reserve is gone. The whole margin in K, and the whole margin in V.
    """
    return (
        0.5 * np.maximum(reserve_warning_ratio, _LEAST_RESERVE_RATIO),
        np.maximum(heat_margin_k, _LEAST_HEAT_MARGIN_K),
        np.maximum(bus_margin_v, _LEAST_BUS_MARGIN_V),
    )


@scalar
def below(value: float, start: float, per_width: float) -> float:
    """Return how far `value` has gone below `start`, 0 to 1 over the width 1 / `per_width`."""
    return clip((start - value) * per_width, 0.0, 1.0)


@scalar
def warning_share(
    reserve: float,
    reserve_start: float,
    per_reserve_width: float,
    heat_room: float,
    heat_margin: float,
    per_heat_width: float,
    low_room: float,
    high_room: float,
    bus_margin: float,
    per_bus_width: float,
) -> float:
    """Return how strongly to warn, 0 to 1, by the nearest of the limits.

    Torque reserve as a ratio; the room left to the throttle temperature in K, to the low cut-out
    and to where the drive starts to let go of braking in V; each with the margin at which its
    warning starts and one over its width (`warning_widths`).

    A high bus lifts the nose half as far. It comes while the board brakes, mostly downhill, where
    the tail is near the ground; and a lift makes the rider brake, which charges the pack more.
    """
    by_reserve = below(reserve, reserve_start, per_reserve_width)
    by_heat = below(heat_room, heat_margin, per_heat_width)
    by_low = below(low_room, bus_margin, per_bus_width)
    by_high = _HIGH_BUS_LIFT_RATIO * below(high_room, bus_margin, per_bus_width)
    return larger(larger(by_reserve, by_heat), larger(by_low, by_high))


@scalar
def integrate(
    integral: float, error: float, gain: float, clamp: float, excess: float, dt: float
) -> float:
    """Return the integral's current after `dt` s; it holds while the drive saturates its way.

    `excess` is wanted less available current: anti-windup by conditional integration.
    """
    winding_up = error * excess > 0.0
    step = 0.0 if winding_up else gain * error * dt
    return clip(integral + step, -clamp, clamp)
