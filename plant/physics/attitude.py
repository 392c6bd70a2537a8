"""The attitude filter of one lane: three gyros integrated in space, pulled to an accelerometer."""

from plant.compile import scalar
from plant.constants import GRAVITY_MPS2
from plant.physics.scalar_math import cosine, sine

_PER_GRAVITY = 1.0 / GRAVITY_MPS2


@scalar
def felt_tilt(
    pitch: float,
    forwards: float,
    upwards: float,
    lateral: float,
    roll_s: float,
    roll_c: float,
) -> tuple[float, float]:
    """Return the pitch in rad, and the tangent of the roll, that an accelerometer takes for true.

    It feels what is under way beside gravity: `forwards` and `lateral` are accelerations in m/s2,
    `upwards` gravity and the vertical acceleration together. In a coordinated turn it feels no
    roll at all. A filter that takes wheel speed times yaw rate off the accelerometer is left with
    a smaller `lateral` (Euston, Coote, Mahony, Kim & Hamel 2008, A complementary filter for
    attitude estimation of a fixed-wing UAV, IROS, from memory).
    """
    across = upwards * roll_c + lateral * roll_s
    # Along the board it feels about g: one over it by the first two terms of the series in it.
    per_across = (2.0 - across * _PER_GRAVITY) * _PER_GRAVITY
    roll = (upwards * roll_s - lateral * roll_c) * per_across
    return pitch - forwards / across, roll


@scalar
def estimated(
    attitude: float,
    roll_seen: float,
    pitch: float,
    gyro: float,
    yaw_rate: float,
    roll_c: float,
    roll_rate: float,
    pitch_felt: float,
    roll_felt: float,
    per_time: float,
    h: float,
) -> tuple[float, float, float]:
    """Return the estimates of pitch and roll in rad after `h` s, and of the yaw rate in rad/s.

    Parameters
    ----------
    attitude, roll_seen : float
        The estimates before.
    pitch : float
        True pitch of the sensor.
    gyro : float
        What the gyro along the axle says, in rad/s.
    yaw_rate, roll_c, roll_rate : float
        True motion, from which the two other gyros are worked out. They are taken without lag
        and noise: what they add in one step passes through an integral and a small angle.
    pitch_felt, roll_felt : float
        What the accelerometer says: pitch, and tangent of the roll.
    per_time : float
        One over the time in which the accelerometer corrects the gyros, per s.

    Notes
    -----
    A complementary filter integrates the rates p, q and r of plant/physics/turning.py, solved for
    the angles:

        psi' cos(beta) = r cos(alpha) - p sin(alpha)
        alpha'         = q + psi' sin(beta)
        beta'          = -p cos(alpha) - r sin(alpha)

    with its own estimates for alpha and beta on the right. With p and r of the true motion, the
    first and the last become psi' cos(beta) cos(e) + beta' sin(e) and
    beta' cos(e) - psi' cos(beta) sin(e), where e is by how much it overestimates the pitch; e is
    taken as small.

    The correction pulls both estimates to what the accelerometer feels (Mahony, Hamel & Pflimlin
    2008, IEEE Trans. Automatic Control 53:1203, from memory: the sine of the angle between). In a
    long turn that pulls the roll towards none, which the yaw then turns into pitch.
    """
    roll_seen_s, roll_seen_c = sine(roll_seen), cosine(roll_seen)
    over = attitude - pitch
    levelled = yaw_rate * roll_c
    yaw_seen = (levelled + roll_rate * over) / roll_seen_c
    pull = (pitch_felt - attitude) * per_time
    roll_pull = (roll_felt * roll_seen_c - roll_seen_s) * per_time
    attitude += (gyro + yaw_seen * roll_seen_s + pull) * h
    roll_seen += (roll_rate - levelled * over + roll_pull) * h
    return attitude, roll_seen, yaw_seen
