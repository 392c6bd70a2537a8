"""Planar wheel, board and rider: three coordinates, solved in closed form.

Symbols: s distance along the slope, theta board pitch and phi rider lean from the vertical (both
positive forwards and down), gamma grade angle; M total translating inertia. The board turns about
the axle and the rider about the ankles, which stand at height d above the axle on the board: a
double pendulum on a cart. With the rider's mass at the ankles counted to the board, m h is the
sum of mass times height over the pivot, and J the inertia about it. The axle follows a curved
road and bounces on its tyre, and legs give way between ankles and trunk. What each mass does along
the road's normal loads its pendulum like gravity turned by the grade.
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
    frame_pressed: float,
    rider_pressed: float,
    total_inertia: float,
    frame_mh: float,
    per_frame_j: float,
    rider_mh: float,
    per_rider_j: float,
    ankle_height: float,
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
    frame_pressed, rider_pressed : float
        Mass times height over the pivot times acceleration along the road's normal, summed over
        the masses of each body, in N m.
    total_inertia : float
        M in kg, the wheel's inertia over r^2 included while it rolls without slip.
    frame_mh, rider_mh : float
        m h of the board about the axle, the rider's mass at the ankles included, and of the rider
        about the ankles, in kg m.
    per_frame_j, per_rider_j : float
        1 / (I + m h^2) of the same, in 1/(kg m2).
    ankle_height : float
        The ankles over the axle, in m.
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
    Lagrange's equations of the three bodies. The two pendulums are solved for a given
    acceleration of the axle, which leaves one equation for the distance (Schur complement). How
    far tyre and legs give way is neglected beside the heights.
    """
    # Sums of angles by their addition theorems: cheaper than a series of each sum.
    along, across = cosine(grade), sine(grade)
    pitch_s, pitch_c = sine(pitch), cosine(pitch)
    lean_s, lean_c = sine(lean), cosine(lean)
    frame_c = frame_mh * (pitch_c * along - pitch_s * across)
    rider_c = rider_mh * (lean_c * along - lean_s * across)
    frame_n = pitch_s * along + pitch_c * across
    rider_n = lean_s * along + lean_c * across
    twist_s = pitch_s * lean_c - pitch_c * lean_s
    twist_c = pitch_c * lean_c + pitch_s * lean_s
    coupling = rider_mh * ankle_height
    frame_a = per_frame_j * (
        frame_moment
        + frame_mh * gravity * pitch_s
        + frame_pressed * frame_n
        - coupling * lean_rate * lean_rate * twist_s
    )
    rider_a = per_rider_j * (
        rider_moment
        + rider_mh * gravity * lean_s
        + rider_pressed * rider_n
        + coupling * pitch_rate * pitch_rate * twist_s
    )
    force = (
        path_force
        + frame_mh * pitch_rate * pitch_rate * frame_n
        + rider_mh * lean_rate * lean_rate * rider_n
    )
    # Each pendulum alone, then with the other's answer taken in.
    frame_share, rider_share = frame_c * per_frame_j, rider_c * per_rider_j
    to_frame, to_rider = coupling * twist_c * per_frame_j, coupling * twist_c * per_rider_j
    per_own = 1.0 / (1.0 - to_frame * to_rider)
    frame_free = (frame_a - to_frame * rider_a) * per_own
    rider_free = (rider_a - to_rider * frame_a) * per_own
    frame_drawn = (frame_share - to_frame * rider_share) * per_own
    rider_drawn = (rider_share - to_rider * frame_share) * per_own
    accel = (force - frame_c * frame_free - rider_c * rider_free) / (
        total_inertia - frame_c * frame_drawn - rider_c * rider_drawn
    )
    return accel, frame_free - frame_drawn * accel, rider_free - rider_drawn * accel
