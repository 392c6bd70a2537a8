"""The three bodies linearised about level riding, with the rider's reflex closed.

The equations are those of plant/physics/bodies.py for small angles on the level. The reflex
carries an exact delay, so the system is x' = A x + A_delayed x(t - delay) + B i, with i the motor
current.
"""

from collections.abc import Sequence

import numpy as np

from plant.compile import entry
from plant.constants import AIR_DENSITY_KG_M3, GRAVITY_MPS2
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.lane_init import torque_per_amp
from plant.linear.delay_systems import DelayedSystem, Floats, first_order
from plant.physics.reflex import (
    FORESIGHT_S,
    LEG_ADAPT_TIME_S,
    asked_acceleration,
    carried_moment,
    foot_command,
    trimmed,
)

STATE_NAMES = (
    "speed_mps",
    "pitch_rad",
    "lean_rad",
    "pitch_rate_radps",
    "lean_rate_radps",
    "foot_moment_nm",
    "leg_rest_rad",
    "accel_wanted_mps2",
    "accel_trim_mps2",
)
OUTPUT_NAMES = ("pitch_rad", "pitch_rate_radps", "accel_mps2")
_SMALL = 1e-3  # a speed error in m/s at which no limit of the rider's acts
_asked_acceleration = entry(asked_acceleration)
_foot_command = entry(foot_command)
_trimmed = entry(trimmed)


def small_motion(
    total_mass_kg: float,
    mh_kg_m: Sequence[float],
    j_kg_m2: Sequence[float],
    *,
    gravity_mps2: float = GRAVITY_MPS2,
) -> tuple[Floats, Floats]:
    """Return mass matrix and gravity stiffness of upright pendulums on one moving base.

    Parameters
    ----------
    total_mass_kg : float
        Everything that moves along, the wheel's inertia over r^2 included.
    mh_kg_m, j_kg_m2 : sequence of float
        For each pendulum, mass times height over the pivot, and I + m h^2.
    gravity_mps2 : float

    Returns
    -------
    mass, gravity : (coordinate, coordinate) float64
        mass q'' = gravity q + forces, with q the base's distance and each pendulum's forward
        lean.
    """
    n_coordinates = 1 + len(mh_kg_m)
    mass = np.zeros((n_coordinates, n_coordinates))
    mass[0, 0] = total_mass_kg
    mass[0, 1:] = mass[1:, 0] = mh_kg_m
    mass[range(1, n_coordinates), range(1, n_coordinates)] = j_kg_m2
    gravity = np.diag([0.0, *(gravity_mps2 * np.asarray(mh_kg_m))])
    return mass, gravity


def linear_ride(
    board: Board, riders: Sequence[Rider], *, speeds_mps: Sequence[float] = (5.0,)
) -> DelayedSystem:
    """Linearise level riding at steady speeds: for each speed, all riders.

    Rolling resistance and turning do not change with small motions about a steady speed; air
    drag gives 2 F / v.
    """
    parts = [_one_rider(board, rider, speed) for speed in speeds_mps for rider in riders]
    a, a_delayed, b = (np.stack([part[k] for part in parts]) for k in range(3))
    n_rides, n_states = b.shape
    c = np.zeros((n_rides, len(OUTPUT_NAMES), n_states))
    c[:, 0, _place("pitch_rad")] = 1.0
    c[:, 1, _place("pitch_rate_radps")] = 1.0
    c[:, 2] = a[:, 0]
    d = np.zeros((n_rides, len(OUTPUT_NAMES)))
    d[:, 2] = b[:, 0]
    delay_s = np.tile([rider.skill.reflex_delay_s for rider in riders], len(speeds_mps))
    return DelayedSystem(a=a, a_delayed=a_delayed, b=b, c=c, d=d, delay_s=delay_s)


def _place(name: str) -> int:
    return STATE_NAMES.index(name)


def _one_rider(board: Board, rider: Rider, speed_mps: float) -> tuple[Floats, Floats, Floats]:
    """Return a, a_delayed and b: the bodies moved by torque and feet, then the rider's mind."""
    skill, mass_kg = rider.skill, rider.body.mass_kg
    mgh = mass_kg * GRAVITY_MPS2 * rider.com_above_ankle_m
    a = np.zeros((len(STATE_NAMES), len(STATE_NAMES)))
    b = np.zeros(len(STATE_NAMES))
    a[:5, :5], forces = _bodies(board, rider, speed_mps)
    b[:5] = forces[:, 0]
    a[:5, _place("foot_moment_nm")] = forces[:, 1]
    # The legs rest at the board's own angle, to which they adapt.
    a[:5, _place("leg_rest_rad")] = forces[:, 1] * mgh * skill.leg_stiffness_ratio
    a[_place("leg_rest_rad"), _place("pitch_rad")] = 1.0 / LEG_ADAPT_TIME_S
    a[_place("leg_rest_rad"), _place("leg_rest_rad")] = -1.0 / LEG_ADAPT_TIME_S

    # Keeping speed: what is asked of the error in speed, predicted from the push felt.
    asked = _asked_acceleration(_SMALL, 1.0, 1.0) / _SMALL
    learnt = _trimmed(0.0, _SMALL, asked * _SMALL, 0.0, 1.0) / _SMALL
    error = -FORESIGHT_S * a[0]
    error[0] -= 1.0
    a[_place("accel_wanted_mps2")] = asked * error / skill.smoothing_s
    a[_place("accel_wanted_mps2"), _place("accel_wanted_mps2")] -= 1.0 / skill.smoothing_s
    b[_place("accel_wanted_mps2")] = -asked * FORESIGHT_S * b[0] / skill.smoothing_s
    a[_place("accel_trim_mps2")] = learnt * error
    b[_place("accel_trim_mps2")] = -learnt * FORESIGHT_S * b[0]

    a[_place("foot_moment_nm"), _place("foot_moment_nm")] = -1.0 / skill.reflex_lag_s
    a_delayed = np.zeros_like(a)
    a_delayed[_place("foot_moment_nm")] = _reflex(board, rider) / skill.reflex_lag_s
    return a, a_delayed, b


def _bodies(board: Board, rider: Rider, speed_mps: float) -> tuple[Floats, Floats]:
    """Return how the first five states move, and the effects of current and foot moment."""
    wheel, frame, body, skill = board.wheel, board.frame, rider.body, rider.skill
    height, ankle = rider.com_above_ankle_m, body.deck_height_m
    rider_mh = body.mass_kg * height
    frame_mh = frame.frame_mass_kg * frame.frame_com_height_m
    mass, gravity = small_motion(
        wheel.wheel_mass_kg
        + frame.frame_mass_kg
        + body.mass_kg
        + wheel.wheel_inertia_kg_m2 / wheel.wheel_radius_m**2,
        (frame_mh + body.mass_kg * ankle, rider_mh),
        (
            frame.frame_inertia_kg_m2
            + frame_mh * frame.frame_com_height_m
            + body.mass_kg * ankle**2,
            rider.inertia_kg_m2 + rider_mh * height,
        ),
    )
    mass[1, 2] = mass[2, 1] = rider_mh * ankle  # the ankles move with the board
    # The legs twist the rider against the board.
    twist = np.array([[0.0, 0.0, 0.0], [0.0, 1.0, -1.0], [0.0, -1.0, 1.0]])
    damping = rider_mh * GRAVITY_MPS2 * skill.leg_damping_s * twist
    damping[0, 0] = AIR_DENSITY_KG_M3 * body.drag_area_m2 * abs(speed_mps)
    stiffness = rider_mh * GRAVITY_MPS2 * skill.leg_stiffness_ratio * twist - gravity
    torque = torque_per_amp(board.motor.kv_rpm_per_v)
    inputs = np.array([[torque / wheel.wheel_radius_m, 0.0], [-torque, 1.0], [0.0, -1.0]])
    moves, forces = first_order(mass, damping, stiffness, inputs)
    # Distance itself has no effect: state 0 of `moves` is dropped, speed comes first.
    order = [3, 1, 2, 4, 5]
    return moves[np.ix_(order, order)], forces[order]


def _reflex(board: Board, rider: Rider) -> Floats:
    """Return the commanded foot moment per state: the reflex is linear, so unit inputs tell it."""
    skill, mass_kg = rider.skill, rider.body.mass_kg
    moving_kg = mass_kg + board.frame.frame_mass_kg + board.wheel.wheel_mass_kg

    frame_mh = board.frame.frame_mass_kg * board.frame.frame_com_height_m

    def commanded(lean: float, lean_rate: float, accel: float) -> float:
        return _foot_command(
            lean,
            lean_rate,
            accel,
            carried_moment(
                moving_kg * accel,
                board.wheel.wheel_radius_m,
                accel,
                frame_mh + mass_kg * rider.body.deck_height_m,
            ),
            mass_kg * GRAVITY_MPS2 * rider.com_above_ankle_m,
            skill.lean_gain_ratio,
            skill.lean_rate_gain_s,
            skill.leg_stiffness_ratio,
        )

    row = np.zeros(len(STATE_NAMES))
    row[_place("lean_rad")] = commanded(1.0, 0.0, 0.0)
    row[_place("lean_rate_radps")] = commanded(0.0, 1.0, 0.0)
    row[[_place("accel_wanted_mps2"), _place("accel_trim_mps2")]] = commanded(0.0, 0.0, 1.0)
    return row
