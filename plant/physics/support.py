"""The foot that a rider keeps on the ground until the board engages at a tail-down start.

`support` is how much of it is left, 1 before engagement to 0; m g h of the rider is written mgh.
"""

from plant.compile import scalar

_SUPPORT_TIME_S = 0.45  # assumed: time to lift the foot from the ground once engaged
_HOLD_STIFFNESS = 6.0  # per m, assumed: a foot on the ground holds the board's place
_HOLD_DAMPING = 1.0  # s per m, assumed
_STAND_STIFFNESS = 1.8  # per rad in m g h, assumed: a foot on the ground keeps the rider upright
_STAND_DAMPING_S = 0.5  # assumed
_GUIDE_RATIO = 0.25  # assumed: how firmly the front foot sets the board's angle, in m g h per rad
_GUIDE_DAMPING_S = 0.02  # assumed


@scalar
def lifted(support: float, engaged: float, h: float) -> float:
    """Return what is left of the support after `h` s."""
    return support * (1.0 - engaged * h / _SUPPORT_TIME_S)


@scalar
def guiding_moment(mgh: float, guide: float, pitch: float, pitch_rate: float) -> float:
    """Return the moment in N m with which the foot on the board sets its angle to `guide`."""
    return mgh * (_GUIDE_RATIO * (guide - pitch) - _GUIDE_DAMPING_S * pitch_rate)


@scalar
def holding_force(support: float, mgh: float, distance: float, speed: float) -> float:
    """Return the force in N with which the foot on the ground holds the board back."""
    return support * mgh * (_HOLD_STIFFNESS * distance + _HOLD_DAMPING * speed)


@scalar
def steadying_moment(
    support: float, mgh: float, lean: float, lean_rate: float, weight_moment: float
) -> float:
    """Return the moment on the rider in N m with which the foot on the ground keeps them upright.

    Upright on a slope is the lean whose weight balances the wheel's `weight_moment`.
    """
    off_balance = mgh * lean - weight_moment
    return -support * (_STAND_STIFFNESS * off_balance + _STAND_DAMPING_S * mgh * lean_rate)
