"""The rider of one lane: what is wanted, and the foot moment that balances.

Moments are positive when the feet press the nose down. m g h of the rider over the ankles is
written mgh.
"""

from plant.compile import scalar
from plant.constants import DT_S, GRAVITY_MPS2, WARNING_PERCEIVED_DEG
from plant.physics.scalar_math import clip, direction, larger, magnitude

_SPEED_TIME_S = 1.5  # assumed: a rider asks to close a speed error in about this time
FORESIGHT_S = 0.5  # assumed: a rider judges speed this far ahead from the push felt
ANSWER_TIME_S = 0.8  # assumed: a rider expects the push this long after asking for it
_TRIM_RATE_PER_S2 = 0.05  # assumed: how fast the feel for slope and wind adapts
_FEEL_RATE_PER_S = 0.3  # assumed: how fast a rider leans more where a push does not come
_PLAIN_MPS2 = 0.4  # assumed: a push that differs by less passes for the one asked
_TRIM_LIMIT_MPS2 = 1.0  # assumed: what a rider adds by feel
PREVIEW_S = 0.25  # assumed: a rider answers slope and ground seen this far ahead
_ROLLING_MPS = 0.5  # assumed: slower than this a rider feels less of the ground's resistance
LEG_ADAPT_TIME_S = 0.3  # assumed: ankles relax to a new angle of the board in this time
_SWAY_TIME_S = 0.3  # assumed: correlation time of a standing person's sway
_SWAY_STEP: float = (2.0 * DT_S / _SWAY_TIME_S) ** 0.5  # keeps the sway's variance at one
HEED_TIME_S = 0.5  # assumed: time to notice a warning
WARNING_PLAIN_DEG = 5.0  # assumed: nose lift at which nobody overlooks it


@scalar
def asked_acceleration(speed_error: float, accel_limit: float, braking_limit: float) -> float:
    """Return the acceleration a rider asks for, in m/s2, from the speed error in m/s."""
    return clip(speed_error / _SPEED_TIME_S, -braking_limit, accel_limit)


@scalar
def trimmed(trim: float, speed_error: float, asked: float, missing: float, dt: float) -> float:
    """Return the acceleration in m/s2 that the rider adds against slope, ground and wind, by feel.

    It follows the speed error, but not where the rider asks for the most; and wherever the push
    `missing` by now from the one expected is plain, it follows that, either way.
    """
    free = magnitude(asked - speed_error / _SPEED_TIME_S) < 1e-9
    plain = missing - clip(missing, -_PLAIN_MPS2, _PLAIN_MPS2)
    rate = _FEEL_RATE_PER_S * plain + (_TRIM_RATE_PER_S2 * speed_error if free else 0.0)
    return clip(trim + rate * dt, -_TRIM_LIMIT_MPS2, _TRIM_LIMIT_MPS2)


@scalar
def expected_resistance(slope: float, rolling_ratio: float, speed: float) -> float:
    """Return what a rider expects slope and ground to take from the acceleration, in m/s2.

    `slope` is gravity's part along the slope, in m/s2. Air is not expected: wind is not seen.
    """
    return slope + GRAVITY_MPS2 * rolling_ratio * direction(speed, _ROLLING_MPS)


@scalar
def carried_moment(force: float, radius: float, acceleration: float, board_mh: float) -> float:
    """Return the moment in N m that the feet carry while board and rider keep their angles.

    The motor's moment F r reaches the rider through the feet, and so does what it takes to speed
    up the board and the rider's weight at the ankles, whose m h over the axle is `board_mh`.
    """
    return force * radius + board_mh * acceleration


@scalar
def foot_command(
    lean: float,
    lean_rate: float,
    acceleration: float,
    carried: float,
    mgh: float,
    lean_gain: float,
    rate_gain: float,
    leg_stiffness: float,
) -> float:
    """Return the foot moment in N m that the reflex commands.

    The lean that balances an acceleration a and a moment T `carried` through the feet is a/g +
    T / m g h. The legs are set to rest at that lean, so their own stiffness answers departures
    from it without delay.
    """
    balanced = mgh * acceleration / GRAVITY_MPS2 + carried  # m g h times the lean that balances
    reflex = mgh * (lean_gain * lean + rate_gain * lean_rate) - lean_gain * balanced
    return carried + reflex - leg_stiffness * balanced


@scalar
def swayed(sway: float, noise: float) -> float:
    """Return the sway of unit variance after one step of noise of unit variance."""
    return sway + (-sway * (DT_S / _SWAY_TIME_S) + _SWAY_STEP * noise)


@scalar
def leg_moment(
    mgh: float,
    stiffness: float,
    damping_s: float,
    twist: float,
    twist_rate: float,
) -> float:
    """Return the foot moment in N m of the legs themselves.

    `twist` is how far the rider leans from where the legs rest on the board, in rad; `stiffness`
    and `damping_s` are in units of m g h.
    """
    return mgh * (stiffness * twist + damping_s * twist_rate)


@scalar
def heeded(warning: float, heed_ratio: float) -> float:
    """Return the share of the wanted speed given up for a warning's nose lift in deg."""
    width = WARNING_PLAIN_DEG - WARNING_PERCEIVED_DEG
    return heed_ratio * clip((warning - WARNING_PERCEIVED_DEG) / width, 0.0, 1.0)


@scalar
def bounded_moment(
    moment: float, load: float, half_stance: float, use_ratio: float
) -> tuple[float, float]:
    """Return the foot moment inside what the feet can press, and that bound, in N m."""
    limit = larger(load * half_stance * use_ratio, 0.0)
    return clip(moment, -limit, limit), limit
