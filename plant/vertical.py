"""Wheel load: tyre spring under wheel and board, legs under the rider, tail on the ground."""

from plant.compile import scalar
from plant.scalars import larger


@scalar
def tyre_load(
    static: float, gap: float, gap_rate: float, stiffness: float, damping: float
) -> float:
    """Return the wheel load in N, never below zero: the wheel can leave the ground.

    `static` is the load at rest in N, `gap` how far the road stands above the wheel's rest
    position in m.
    """
    return larger(static + stiffness * gap + damping * gap_rate, 0.0)


@scalar
def leg_load(static: float, gap: float, gap_rate: float, stiffness: float, damping: float) -> float:
    """Return the load that the legs carry in N, never below zero: feet can not pull."""
    return larger(static + stiffness * gap + damping * gap_rate, 0.0)


@scalar
def tail_moment(over: float, over_rate: float, stiffness: float, damping: float) -> float:
    """Return the moment of the tail on the ground in N m, positive nose down.

    `over` is the angle by which the board is pitched past tail contact, in rad.
    """
    moment = stiffness * over + damping * over_rate
    return moment if (over > 0.0 and moment > 0.0) else 0.0
