"""Planar wheel, board and rider: three coordinates, solved in closed form.

Symbols: s distance along the slope, theta board pitch and phi rider lean from the vertical (both
positive forwards and down), gamma grade angle; M total translating inertia, a = m h for a body
at height h over the axle, J = I + m h^2.
"""

from plant.compile import scalar
from plant.physics.scalar_math import cosine, sine


@scalar
def accelerations(
    pitch: float,
    pitch_rate: float,
    lean: float,
    lean_rate: float,
    grade: float,
    gravity: float,
    total_inertia: float,
    frame_mh: float,
    per_frame_j: float,
    rider_mh: float,
    per_rider_j: float,
    path_force: float,
    frame_moment: float,
    rider_moment: float,
) -> tuple[float, float, float]:
    """Return the accelerations of distance, pitch and lean.

    Parameters
    ----------
    pitch, pitch_rate, lean, lean_rate, grade : float
        In rad and rad/s.
    gravity : float
        Acceleration that loads the bodies, in m/s2.
    total_inertia : float
        M in kg, the wheel's inertia over r^2 included while it rolls without slip.
    frame_mh, rider_mh : float
        m h of each body, in kg m.
    per_frame_j, per_rider_j : float
        1 / (I + m h^2) of each body, in 1/(kg m2).
    path_force : float
        Force along the slope, gravity's part included, in N.
    frame_moment, rider_moment : float
        Moments on board and rider other than gravity's, in N m.

    Returns
    -------
    tuple of float
        In m/s2, rad/s2, rad/s2.

    Notes
    -----
    Lagrange's equations of the three bodies. Each pendulum couples with the distance alone, so
    the 3 x 3 system reduces to one equation for the distance (Schur complement).
    """
    # Sums of angles by their addition theorems: cheaper than a series of each sum.
    along, across = cosine(grade), sine(grade)
    pitch_s, pitch_c = sine(pitch), cosine(pitch)
    lean_s, lean_c = sine(lean), cosine(lean)
    frame_c = frame_mh * (pitch_c * along - pitch_s * across)
    rider_c = rider_mh * (lean_c * along - lean_s * across)
    frame_q = frame_moment + frame_mh * gravity * pitch_s
    rider_q = rider_moment + rider_mh * gravity * lean_s
    force = (
        path_force
        + frame_mh * pitch_rate * pitch_rate * (pitch_s * along + pitch_c * across)
        + rider_mh * lean_rate * lean_rate * (lean_s * along + lean_c * across)
    )
    frame_share = frame_c * per_frame_j
    rider_share = rider_c * per_rider_j
    accel = (force - frame_share * frame_q - rider_share * rider_q) / (
        total_inertia - frame_share * frame_c - rider_share * rider_c
    )
    pitch_accel = (frame_q - frame_c * accel) * per_frame_j
    lean_accel = (rider_q - rider_c * accel) * per_rider_j
    return accel, pitch_accel, lean_accel
