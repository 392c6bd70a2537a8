"""A turn of one lane: how the rider comes into it, and what it weighs."""

import math

from plant.compile import scalar
from plant.constants import GRAVITY_MPS2

_YAW_TIME_S = 0.25  # assumed: how fast a rider turns in


@scalar
def turned(yaw_rate: float, wanted: float, h: float) -> float:
    """Return the yaw rate in rad/s after `h` s on the way to the wanted."""
    return yaw_rate + (wanted - yaw_rate) * (h / _YAW_TIME_S)


@scalar
def felt_gravity(lateral: float) -> float:
    """Return gravity along a board that leans into a turn, in m/s2; `lateral` in m/s2."""
    return math.sqrt(GRAVITY_MPS2 * GRAVITY_MPS2 + lateral * lateral)
