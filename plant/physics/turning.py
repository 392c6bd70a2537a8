"""A turn of one lane: how rider and board come into it, what it weighs, what a gyro feels.

Symbols: psi' yaw rate about the vertical and beta the board's roll into the turn, of one sign;
alpha its pitch about the axle, nose down, in the plane that rolls with it. That plane is where
the planar bodies live, so the order of the angles is yaw, roll, pitch. Along axes x forwards,
y left and z up of the board, its rates are

    p = -beta' cos(alpha) - psi' cos(beta) sin(alpha)
    q = alpha' - psi' sin(beta)
    r = psi' cos(beta) cos(alpha) - beta' sin(alpha)

A board that keeps level in a turn feels itself rear up by psi' sin(beta), left and right alike.
With pitch theta counted from the horizontal (yaw, pitch, roll phi) the same rate is written
q = theta' cos(phi) + psi' cos(theta) sin(phi) (Titterton & Weston, Strapdown Inertial Navigation
Technology, 2nd ed., chapter 3, from memory).
"""

import math

from plant.compile import scalar
from plant.constants import GRAVITY_MPS2

_YAW_TIME_S = 0.25  # assumed: how fast a rider turns in


@scalar
def turning_in(yaw_rate: float, wanted: float) -> float:
    """Return the yaw acceleration in rad/s2 on the way to the wanted yaw rate."""
    return (wanted - yaw_rate) / _YAW_TIME_S


@scalar
def felt_gravity(lateral: float) -> float:
    """Return gravity along a body that leans into a turn, in m/s2; `lateral` in m/s2.

    At the coordinated lean, tan = lateral / g, it is g cos(lean) + lateral sin(lean).
    """
    return math.sqrt(GRAVITY_MPS2 * GRAVITY_MPS2 + lateral * lateral)


@scalar
def rolled(lateral: float, lateral_rate: float, ratio: float) -> tuple[float, float, float]:
    """Return sine, cosine and rate in rad/s of the board's roll into a turn.

    The tangent of the roll is `ratio` times that of the coordinated lean, lateral acceleration
    over gravity; both lag behind what is wanted as the yaw rate does. `lateral_rate` is the
    change of the lateral acceleration in m/s3.
    """
    per_gravity = ratio / GRAVITY_MPS2
    tangent = per_gravity * lateral
    roll_c = 1.0 / math.sqrt(1.0 + tangent * tangent)
    return tangent * roll_c, roll_c, per_gravity * lateral_rate * roll_c * roll_c


@scalar
def rolling_radius(upright: float, crown: float, roll_c: float) -> float:
    """Return the radius in m on which a rolled wheel rolls.

    The tread's section is a circle of radius `crown`, as on a torus: its lowest point comes nearer
    to the axle by crown (1 - cos(roll)) (Cossalter, Motorcycle Dynamics, 2nd ed., from memory).
    """
    return upright - crown * (1.0 - roll_c)


@scalar
def felt_pitch_rate(pitch_rate: float, yaw_rate: float, roll_s: float) -> float:
    """Return the rate in rad/s that a gyro along the axle feels, nose down: q above."""
    return pitch_rate - yaw_rate * roll_s
