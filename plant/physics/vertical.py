"""Wheel load: tyre spring under wheel and board, legs under the rider, tail on the ground."""

from plant.compile import scalar
from plant.physics.scalar_math import direction, larger, magnitude

_TAIL_STIFFNESS_NM = 6000.0  # per rad, assumed: a tail bumper under a rider's foot
_TAIL_DAMPING_NM_S = 60.0  # assumed: no bounce
_TAIL_LEVER_M = 0.36  # assumed: axle to tail bumper
_TAIL_FRICTION = 0.4  # assumed: bumper on asphalt
_TAIL_TURNAROUND_MPS = 0.05  # the bumper's friction turns around with the speed over this width
_SHAKE_TIME_S = 0.02  # assumed: how long a shock rings in the frame


@scalar
def tyre_load(
    static: float,
    gap: float,
    gap_rate: float,
    stiffness: float,
    damping: float,
    free: float,
    per_mass: float,
    h: float,
) -> float:
    """Return the wheel load in N, never below zero: the wheel can leave the ground.

    `static` is the load at rest in N, `gap` how far the road stands above the wheel's rest
    position in m. The damping acts on the wheel's speed at the step's end, `h` s ahead, to which
    `free` is the acceleration in m/s2 without the tyre and `per_mass` one over the wheel's and
    board's mass: a wheel this light would show an explicit damper's error.
    """
    ahead = static + stiffness * gap + damping * (gap_rate - h * free)
    return larger(ahead / (1.0 + h * damping * per_mass), 0.0)


@scalar
def leg_load(static: float, gap: float, gap_rate: float, stiffness: float, damping: float) -> float:
    """Return the load that the legs carry in N, never below zero: feet can not pull."""
    return larger(static + stiffness * gap + damping * gap_rate, 0.0)


@scalar
def tail_contact(
    over: float, over_rate: float, per_inertia: float, h: float
) -> tuple[float, float]:
    """Return moment and load of the tail on the ground, in N m, positive nose down, and in N.

    `over` is the angle by which the board is pitched past tail contact, in rad. As with the tyre,
    the damping acts on the rate `h` s ahead, with one over the board's inertia in `per_inertia`.
    """
    moment = (_TAIL_DAMPING_NM_S * over_rate + _TAIL_STIFFNESS_NM * over) / (
        1.0 + h * _TAIL_DAMPING_NM_S * per_inertia
    )
    moment = moment if (over > 0.0 and moment > 0.0) else 0.0
    return moment, moment / _TAIL_LEVER_M


@scalar
def tail_drag(load: float, speed: float) -> float:
    """Return the force in N with which a tail on the ground brakes."""
    return _TAIL_FRICTION * load * direction(speed, _TAIL_TURNAROUND_MPS)


@scalar
def shaken(shake: float, acceleration: float, h: float) -> float:
    """Return the frame's shaking in m/s2 after `h` s of a vertical acceleration of the wheel."""
    return shake + (magnitude(acceleration) - shake) * (h / _SHAKE_TIME_S)
