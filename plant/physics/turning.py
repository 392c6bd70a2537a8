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
_PER_GRAVITY = 1.0 / GRAVITY_MPS2


@scalar
def turning_in(yaw_rate: float, wanted: float) -> float:
    """Return the yaw acceleration in rad/s2 on the way to the wanted yaw rate."""
    return (wanted - yaw_rate) / _YAW_TIME_S


@scalar
def leaned(lateral: float, lateral_rate: float, ratio: float) -> tuple[float, float, float, float]:
    """Return what a leaning body weighs in m/s2, and sine, cosine and rate in rad/s of the roll.

    A rider leans by the coordinated lean, whose tangent is the lateral acceleration over gravity:
    g cos(lean) + lateral sin(lean) then points along the body, and nothing tips it over. The
    board rolls by about `ratio` times that lean: the tangent of half the roll is `ratio` times that
    of half the lean. Both lag behind what is wanted as the yaw rate does. `lateral_rate` is the
    change of the lateral acceleration in m/s3.

    Notes
    -----
    With w = 1 / cos(lean), tan(lean / 2) = tan(lean) / (1 + w). Sine, cosine and derivative follow
    from the tangent of the half angle with one division and no second root.
    """
    tangent = lateral * _PER_GRAVITY
    weight = math.sqrt(1.0 + tangent * tangent)
    over = 1.0 + weight
    rolls = ratio * tangent
    per = 1.0 / (weight * (over * over + rolls * rolls))
    twice = 2.0 * over * per
    roll_s = rolls * twice * weight
    roll_c = (over * over - rolls * rolls) * weight * per
    return GRAVITY_MPS2 * weight, roll_s, roll_c, ratio * lateral_rate * _PER_GRAVITY * twice


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
