"""Wheel, board and rider along the road, over a batch of lanes."""

import functools
from types import SimpleNamespace as Lanes

import numpy as np
from scipy.linalg import expm

from tests.reference.constants import (
    GRAVITY_MPS2,
    HOLD_DAMPING,
    HOLD_STIFFNESS,
    STAND_DAMPING_S,
    STAND_STIFFNESS,
    STICKING_MPS,
    SUPPORT_TIME_S,
    TAIL_FRICTION,
    TAIL_TURNAROUND_MPS,
    TURNAROUND_MPS,
    YAW_TIME_S,
)
from tests.reference.numpy_motion import Floats, bounce, current_of, drive, press, ramp


def resist(lanes: Lanes, headwind_mps: Floats, lateral_mps2: Floats) -> Floats:
    """Return rolling resistance, turn scrub and air drag together, in N."""
    turning = lanes.scrub_ratio * np.abs(lateral_mps2) / GRAVITY_MPS2
    rolling = lanes.wheel_load_n * (lanes.road_rolling_ratio + turning)
    air = lanes.speed_mps + headwind_mps
    drag = 0.5 * lanes.air_density_kg_m3 * lanes.drag_area_m2 * air * np.abs(air)
    return rolling * ramp(lanes.speed_mps, TURNAROUND_MPS) + drag


def accelerate(
    lanes: Lanes,
    inertia_kg: Floats,
    *,
    gravity: Floats,
    axle_mps2: Floats,
    legs_mps2: Floats,
    push_n: Floats,
    frame_nm: Floats,
    rider_nm: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Solve the three bodies' equations for their accelerations.

    With a = mb hb + mr d of the board and the rider's mass at the ankles, d over the axle, and
    mr hr of the rider over the ankles:

    inertia s'' + a cos(theta + gamma) theta'' + mr hr cos(phi + gamma) phi'' = push + ...
    a cos(theta + gamma) s'' + Jb theta'' + mr hr d cos(theta - phi) phi'' = a g sin(theta) + ...
    mr hr cos(phi + gamma) s'' + mr hr d cos(theta - phi) theta'' + Jr phi'' = mr g hr sin(phi) ...

    Along the road's normal the board moves with the axle, and the rider's mass with what the legs
    carry: mb hb n and mr d n', times sin(theta + gamma), and mr hr n' sin(phi + gamma).
    """
    frame_angle = lanes.pitch_rad + lanes.road_grade_rad
    rider_angle = lanes.lean_rad + lanes.road_grade_rad
    twist = lanes.pitch_rad - lanes.lean_rad
    frame_mh, rider_mh = lanes.frame_mh_kg_m, lanes.rider_mh_kg_m
    coupling = rider_mh * lanes.deck_height_m
    along = np.stack(
        np.broadcast_arrays(
            inertia_kg, frame_mh * np.cos(frame_angle), rider_mh * np.cos(rider_angle)
        ),
        axis=-1,
    )
    together = coupling * np.cos(twist)
    frame = np.stack(np.broadcast_arrays(along[..., 1], lanes.frame_j_kg_m2, together), axis=-1)
    rider = np.stack(np.broadcast_arrays(along[..., 2], together, lanes.rider_j_kg_m2), axis=-1)
    frame_rate, rider_rate = lanes.pitch_rate_radps**2, lanes.lean_rate_radps**2
    force = (
        push_n
        + frame_mh * frame_rate * np.sin(frame_angle)
        + rider_mh * rider_rate * np.sin(rider_angle)
    )
    frame_nm = (
        frame_nm
        + frame_mh * gravity * np.sin(lanes.pitch_rad)
        + lanes.frame_mass_kg * lanes.frame_com_height_m * axle_mps2 * np.sin(frame_angle)
        + lanes.mass_kg * lanes.deck_height_m * legs_mps2 * np.sin(frame_angle)
        - coupling * rider_rate * np.sin(twist)
    )
    rider_nm = (
        rider_nm
        + rider_mh * (gravity * np.sin(lanes.lean_rad) + legs_mps2 * np.sin(rider_angle))
        + coupling * frame_rate * np.sin(twist)
    )
    forces = np.stack(np.broadcast_arrays(force, frame_nm, rider_nm), axis=-1)
    solved = np.linalg.solve(np.stack([along, frame, rider], axis=-2), forces[..., None])[..., 0]
    return solved[..., 0], solved[..., 1], solved[..., 2]


def grip(lanes: Lanes, torque_nm: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the force at the ground, the inertia that moves with it, and whether it holds."""
    force = torque_nm / lanes.radius_now_m
    friction = lanes.road_friction_ratio * lanes.wheel_load_n
    rim_kg = lanes.rolling_mass_kg - lanes.moving_mass_kg
    asked = force - rim_kg * lanes.accel_mps2
    slipping = np.abs(lanes.slip_mps) >= STICKING_MPS
    holds = ~slipping & (np.abs(asked) <= friction)
    side = np.where(slipping, lanes.slip_mps, asked)
    sliding = np.where(side > 0.0, friction, -friction)
    lanes.traction_n = np.where(holds, asked, sliding)
    inertia = np.where(holds, lanes.rolling_mass_kg, lanes.moving_mass_kg)
    return np.where(holds, force, sliding), inertia, holds


def spin(lanes: Lanes, torque_nm: Floats, holds: Floats, dt_s: Floats) -> None:
    """Advance the slip of the wheel; it ends when it would change sign."""
    rim_kg = lanes.rolling_mass_kg - lanes.moving_mass_kg
    free = torque_nm / lanes.radius_now_m - lanes.traction_n
    slip = lanes.slip_mps + (free / rim_kg - lanes.accel_mps2) * dt_s
    caught = (lanes.slip_mps != 0.0) & (slip * lanes.slip_mps <= 0.0)
    lanes.slip_mps = np.where(holds | caught, 0.0, slip)


@functools.cache
def flex_step(frequency_hz: float, damping_ratio: float, inertia: float, dt_s: float) -> Floats:
    """Return how angle and rate follow from angle, rate and a torque that holds, (2, 3)."""
    omega = 2.0 * np.pi * frequency_hz
    moves = [
        [0.0, 1.0, 0.0],
        [-(omega**2), -2.0 * damping_ratio * omega, -1.0 / inertia],
        [0.0] * 3,
    ]
    step: Floats = expm(dt_s * np.array(moves))[:2]
    return step


def flex(lanes: Lanes, torque_nm: Floats, dt_s: Floats) -> None:
    """Advance the frame's mode between motor and IMU."""
    numbers = (lanes.flex_frequency_hz, lanes.flex_damping_ratio, lanes.frame_inertia_kg_m2, dt_s)
    moves = np.stack([flex_step(*map(float, lane)) for lane in zip(*numbers, strict=True)])
    state = np.stack([lanes.flex_rad, lanes.flex_rate_radps, torque_nm], axis=1)
    lanes.flex_rad, lanes.flex_rate_radps = (moves * state[:, None, :]).sum(axis=2).T


def turn_in(lanes: Lanes, dt_s: Floats, turn_radps: Floats) -> Floats:
    """Advance yaw rate and roll, and return the lateral acceleration in m/s2."""
    yaw_accel = (turn_radps - lanes.yaw_rate_radps) / YAW_TIME_S
    lanes.yaw_rate_radps = lanes.yaw_rate_radps + yaw_accel * dt_s
    lanes.lateral_mps2 = lanes.yaw_rate_radps * lanes.speed_mps
    changes = yaw_accel * lanes.speed_mps + lanes.yaw_rate_radps * lanes.accel_mps2
    lean = np.arctan2(lanes.lateral_mps2, GRAVITY_MPS2)
    lean_rate = changes / GRAVITY_MPS2 * np.cos(lean) ** 2
    half = lanes.roll_ratio * np.tan(0.5 * lean)
    lanes.roll_sine = np.sin(2.0 * np.arctan(half))
    lanes.roll_cosine = np.cos(2.0 * np.arctan(half))
    # Where a torus touches the ground when it is tilted.
    lanes.radius_now_m = lanes.wheel_radius_m - lanes.crown_radius_m * (1.0 - lanes.roll_cosine)
    lanes.per_radius_now = 1.0 / lanes.radius_now_m
    lanes.turned_rate_radps = (
        lanes.speed_mps / lanes.radius_now_m
        - lanes.speed_mps / lanes.wheel_radius_m
        + lanes.yaw_rate_radps * lanes.roll_sine
    )
    lanes.turned_rad = lanes.turned_rad + lanes.turned_rate_radps * dt_s
    # The derivative of 2 atan(ratio tan(lean / 2)).
    lanes.roll_rate_radps = lanes.roll_ratio * lean_rate / np.cos(0.5 * lean) ** 2 / (1.0 + half**2)
    return lanes.lateral_mps2


def move(lanes: Lanes, dt_s: float, turn_radps: Floats, headwind_mps: Floats) -> None:
    """Advance the whole plant by `dt_s`; lanes whose ride has ended stand still."""
    dt = dt_s * lanes.alive
    torque = drive(lanes, dt)
    lateral = turn_in(lanes, dt, turn_radps)
    gravity = np.hypot(GRAVITY_MPS2, lateral)
    pressed = (
        gravity * np.cos(lanes.road_grade_rad) + lanes.speed_mps**2 * lanes.road_curvature_per_m
    )
    tail, tail_load = bounce(lanes, dt, pressed)
    feet = press(lanes, dt)
    push, inertia, holds = grip(lanes, torque)

    mgh, support = lanes.rider_mgh_nm, lanes.support
    weight_along = lanes.moving_mass_kg * GRAVITY_MPS2 * np.sin(lanes.road_grade_rad)
    steady = resist(lanes, headwind_mps, lateral)
    against = (
        steady
        + TAIL_FRICTION * tail_load * ramp(lanes.speed_mps, TAIL_TURNAROUND_MPS)
        + lanes.wheel_load_n * lanes.road_slope
        + support * mgh * (HOLD_STIFFNESS * lanes.distance_m + HOLD_DAMPING * lanes.speed_mps)
    )
    asked = lanes.rolling_mass_kg * lanes.accel_wanted_mps2 + weight_along + steady
    lanes.need_a = current_of(lanes, asked * lanes.radius_now_m / lanes.torque_per_amp_nm)
    upright = lanes.lean_rad - weight_along * lanes.wheel_radius_m / mgh
    standing = (
        -support * mgh * (STAND_STIFFNESS * upright + STAND_DAMPING_S * lanes.lean_rate_radps)
    )
    lanes.accel_mps2, pitch_accel, lean_accel = accelerate(
        lanes,
        inertia,
        gravity=gravity,
        axle_mps2=lanes.wheel_accel_mps2 + lanes.speed_mps**2 * lanes.road_curvature_per_m,
        legs_mps2=lanes.leg_load_n / lanes.mass_kg - gravity * np.cos(lanes.road_grade_rad),
        push_n=push - against - weight_along,
        frame_nm=feet + tail - torque,
        rider_nm=standing - feet,
    )
    lanes.speed_mps = lanes.speed_mps + lanes.accel_mps2 * dt
    lanes.pitch_rate_radps = lanes.pitch_rate_radps + pitch_accel * dt
    lanes.lean_rate_radps = lanes.lean_rate_radps + lean_accel * dt
    lanes.distance_m = lanes.distance_m + lanes.speed_mps * dt
    lanes.pitch_rad = lanes.pitch_rad + lanes.pitch_rate_radps * dt
    lanes.lean_rad = lanes.lean_rad + lanes.lean_rate_radps * dt
    spin(lanes, torque, holds, dt)
    flex(lanes, torque, dt)
    lanes.support = support * (1.0 - lanes.engaged * dt / SUPPORT_TIME_S)
