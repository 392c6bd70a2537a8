"""Wheel load: tyre spring under wheel and board, legs under the rider, tail on the ground."""

from plant.compile import scalar
from plant.physics.scalar_math import larger


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
def tail_moment(
    over: float, over_rate: float, stiffness: float, damping: float, per_inertia: float, h: float
) -> float:
    """Return the moment of the tail on the ground in N m, positive nose down.

    `over` is the angle by which the board is pitched past tail contact, in rad. As with the tyre,
    the damping acts on the rate `h` s ahead, with one over the board's inertia in `per_inertia`.
    """
    moment = (stiffness * over + damping * over_rate) / (1.0 + h * damping * per_inertia)
    return moment if (over > 0.0 and moment > 0.0) else 0.0
