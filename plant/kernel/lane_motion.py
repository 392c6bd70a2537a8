"""Loads, feet and bodies on the rows of one lane: semi-implicit Euler steps of `h` s."""

from plant.compile import scalar
from plant.constants import GRAVITY_MPS2
from plant.kernel.lane_layout import Block, R
from plant.physics.bodies import accelerations
from plant.physics.frame_mode import flexed
from plant.physics.reflex import LEG_ADAPT_TIME_S, bounded_moment, leg_moment
from plant.physics.resistance import air_drag, rolling_resistance, turn_scrub
from plant.physics.saturation import saturated
from plant.physics.scalar_math import cosine
from plant.physics.support import guiding_moment, holding_force, lifted, steadying_moment
from plant.physics.traction import ground_force, slipped
from plant.physics.turning import leaned, rolling_radius, turning_in
from plant.physics.vertical import leg_load, shaken, tail_contact, tail_drag, tyre_load


@scalar
def turn(b: Block, k: int, turn_script: float, h: float) -> tuple[float, float, float]:
    """Advance yaw rate and roll; return lateral and felt gravity, and what presses, all in m/s2."""
    yaw = b[R.yaw_rate_radps + k]
    yaw_accel = turning_in(yaw, turn_script)
    yaw += yaw_accel * h
    b[R.yaw_rate_radps + k] = yaw
    speed = b[R.speed_mps + k]
    lateral = yaw * speed
    b[R.lateral_mps2 + k] = lateral
    gravity, roll_s, roll_c, roll_rate = leaned(
        lateral, yaw_accel * speed + yaw * b[R.accel_mps2 + k], b[R.roll_ratio + k]
    )
    b[R.roll_sine + k] = roll_s
    b[R.roll_cosine + k] = roll_c
    b[R.roll_rate_radps + k] = roll_rate
    radius = rolling_radius(b[R.wheel_radius_m + k], b[R.crown_radius_m + k], roll_c)
    per_radius = 1.0 / radius
    b[R.radius_now_m + k] = radius
    b[R.per_radius_now + k] = per_radius
    # What the rotor turns against the board beyond the way over the upright wheel's radius.
    b[R.turned_rad + k] += (speed * (per_radius - b[R.per_radius_m + k]) + yaw * roll_s) * h
    curvature = b[R.road_curvature_per_m + k]
    pressed = gravity * cosine(b[R.road_grade_rad + k]) + speed * speed * curvature
    return lateral, gravity, pressed


@scalar
def touch_tail(b: Block, k: int, h: float) -> tuple[float, float]:
    """Return moment in N m and load in N of the tail on the ground."""
    over_rate = -b[R.pitch_rate_radps + k]
    ground_pitch = b[R.pitch_rad + k] + b[R.road_grade_rad + k]
    b[R.ground_pitch_rad + k] = ground_pitch
    return tail_contact(
        -ground_pitch - b[R.tail_contact_rad + k], over_rate, b[R.per_frame_j + k], h
    )


@scalar
def bounce(b: Block, k: int, tail_load: float, pressed: float, h: float) -> float:
    """Advance wheel and rider vertically, and write the loads of tyre and legs.

    Returns the rider's acceleration on the road's frame, in m/s2.
    """
    wheel_z, wheel_vz = b[R.wheel_height_m + k], b[R.wheel_rise_mps + k]
    rider_z, rider_vz = b[R.rider_height_m + k], b[R.rider_rise_mps + k]
    rider_mass = b[R.mass_kg + k]
    legs = leg_load(
        rider_mass * GRAVITY_MPS2,
        wheel_z - rider_z,
        wheel_vz - rider_vz,
        b[R.leg_stiffness_n_per_m + k],
        b[R.leg_damping_n_s_per_m + k],
    )
    per_deck = b[R.per_deck_mass + k]
    free_az = (tail_load - legs) * per_deck - pressed
    load = tyre_load(
        (rider_mass + b[R.deck_mass_kg + k]) * GRAVITY_MPS2,
        b[R.road_height_m + k] - wheel_z,
        b[R.speed_mps + k] * b[R.road_slope + k] - wheel_vz,
        b[R.tyre_stiffness_n_per_m + k],
        b[R.tyre_damping_n_s_per_m + k],
        free_az,
        per_deck,
        h,
    )
    wheel_az = load * per_deck + free_az
    b[R.wheel_accel_mps2 + k] = wheel_az
    wheel_vz += wheel_az * h
    rider_az: float = legs * b[R.per_rider_mass + k] - pressed
    rider_vz += rider_az * h
    b[R.wheel_rise_mps + k] = wheel_vz
    b[R.rider_rise_mps + k] = rider_vz
    b[R.wheel_height_m + k] = wheel_z + wheel_vz * h
    b[R.rider_height_m + k] = rider_z + rider_vz * h
    b[R.wheel_load_n + k] = load
    b[R.leg_load_n + k] = legs
    b[R.shake_mps2 + k] = shaken(b[R.shake_mps2 + k], wheel_az, h)
    return rider_az


@scalar
def press(b: Block, k: int, h: float) -> float:
    """Advance the feet, and return the moment with which they press the nose down, in N m."""
    pitch, pitch_rate = b[R.pitch_rad + k], b[R.pitch_rate_radps + k]
    foot = b[R.foot_moment_nm + k]
    foot += (b[R.foot_delayed_nm + k] - foot) * b[R.foot_share + k] * b[R.alive + k]
    b[R.foot_moment_nm + k] = foot
    rest = b[R.leg_rest_rad + k]
    b[R.leg_rest_rad + k] = rest + (pitch - rest) * (h / LEG_ADAPT_TIME_S)
    mgh = b[R.rider_mgh_nm + k]
    balancing = foot + leg_moment(
        mgh,
        b[R.leg_stiffness_ratio + k],
        b[R.leg_damping_s + k],
        b[R.lean_rad + k] - (pitch - rest),
        b[R.lean_rate_radps + k] - pitch_rate,
    )
    # With one foot on the ground the other only guides the board's angle.
    guiding = guiding_moment(mgh, b[R.guide_pitch_rad + k], pitch, pitch_rate)
    feet, limit = bounded_moment(
        balancing + b[R.support + k] * (guiding - balancing),
        b[R.leg_load_n + k],
        b[R.half_stance_m + k],
        b[R.foot_use_ratio + k],
    )
    b[R.board_moment_nm + k] = feet
    b[R.foot_limit_nm + k] = limit
    return feet


@scalar
def grip(b: Block, k: int, torque: float) -> tuple[float, float, bool]:
    """Return the drive's force, the ground's while sliding, both in N, and if the wheel holds."""
    drive_force = torque * b[R.per_radius_now + k]
    traction, sliding, holds = ground_force(
        drive_force,
        b[R.rolling_mass_kg + k] - b[R.moving_mass_kg + k],
        b[R.accel_mps2 + k],
        b[R.road_friction_ratio + k] * b[R.wheel_load_n + k],
        b[R.slip_mps + k],
    )
    b[R.traction_n + k] = traction
    return drive_force, sliding, holds


@scalar
def resist(
    b: Block, k: int, weight_along: float, lateral: float, tail_load: float, headwind: float
) -> float:
    """Return what holds the ride back in N, and write the current that the ride itself needs."""
    speed, load = b[R.speed_mps + k], b[R.wheel_load_n + k]
    steady = (
        rolling_resistance(speed, load, b[R.road_rolling_ratio + k])
        + air_drag(speed, headwind, b[R.air_density_kg_m3 + k], b[R.drag_area_m2 + k])
        + turn_scrub(speed, load, lateral / GRAVITY_MPS2, b[R.scrub_ratio + k])
    )
    # What the ride itself needs: the asked acceleration on this grade, whatever the profile.
    linear = (
        (b[R.rolling_mass_kg + k] * b[R.accel_wanted_mps2 + k] + weight_along + steady)
        * b[R.radius_now_m + k]
        * b[R.per_torque_per_amp + k]
    )
    b[R.need_a + k] = saturated(linear, b[R.saturation_per_square_a + k], b[R.saturation_end_a + k])
    holding = holding_force(b[R.support + k], b[R.rider_mgh_nm + k], b[R.distance_m + k], speed)
    resisting: float = steady + tail_drag(tail_load, speed) + load * b[R.road_slope + k] + holding
    return resisting


@scalar
def accelerate(
    b: Block,
    k: int,
    inertia: float,
    gravity: float,
    path_force: float,
    rider_rise: float,
    frame_moment: float,
    feet: float,
    weight_along: float,
    h: float,
) -> None:
    """Advance distance, pitch and lean, rates first."""
    pitch, pitch_rate = b[R.pitch_rad + k], b[R.pitch_rate_radps + k]
    lean, lean_rate = b[R.lean_rad + k], b[R.lean_rate_radps + k]
    steadying = steadying_moment(
        b[R.support + k],
        b[R.rider_mgh_nm + k],
        lean,
        lean_rate,
        weight_along * b[R.wheel_radius_m + k],
    )
    speed = b[R.speed_mps + k]
    curved = speed * speed * b[R.road_curvature_per_m + k]
    frame_mh, rider_mh = b[R.frame_mh_kg_m + k], b[R.rider_mh_kg_m + k]
    carried_mh = b[R.mass_kg + k] * b[R.deck_height_m + k]  # the legs carry the rider's part
    accel, pitch_accel, lean_accel = accelerations(
        pitch,
        pitch_rate,
        lean,
        lean_rate,
        b[R.road_grade_rad + k],
        gravity,
        (frame_mh - carried_mh) * (b[R.wheel_accel_mps2 + k] + curved)
        + carried_mh * (rider_rise + curved),
        rider_mh * (rider_rise + curved),
        inertia,
        frame_mh,
        b[R.per_frame_j + k],
        rider_mh,
        b[R.per_rider_j + k],
        b[R.deck_height_m + k],
        path_force,
        frame_moment,
        steadying - feet,
    )
    b[R.accel_mps2 + k] = accel
    speed += accel * h
    pitch_rate += pitch_accel * h
    lean_rate += lean_accel * h
    b[R.speed_mps + k] = speed
    b[R.pitch_rate_radps + k] = pitch_rate
    b[R.lean_rate_radps + k] = lean_rate
    b[R.distance_m + k] += speed * h
    b[R.pitch_rad + k] = pitch + pitch_rate * h
    b[R.lean_rad + k] = lean + lean_rate * h


@scalar
def slip(b: Block, k: int, holds: bool, spare_force: float, h: float) -> None:
    """Advance the slip of the wheel on the ground."""
    b[R.slip_mps + k] = slipped(
        b[R.slip_mps + k], holds, spare_force, b[R.per_rim_mass + k], b[R.accel_mps2 + k], h
    )


@scalar
def flex(b: Block, k: int, torque: float) -> None:
    """Advance the frame's mode between motor and IMU by one plant step."""
    angle, rate = b[R.flex_rad + k], b[R.flex_rate_radps + k]
    change, rate_change = flexed(
        angle,
        rate,
        torque,
        b[R.flex_rad_per_nm + k],
        b[R.flex_angle_by_angle + k],
        b[R.flex_angle_by_rate + k],
        b[R.flex_rate_by_angle + k],
        b[R.flex_rate_by_rate + k],
    )
    b[R.flex_rad + k] = angle + change * b[R.alive + k]
    b[R.flex_rate_radps + k] = rate + rate_change * b[R.alive + k]


@scalar
def lift_foot(b: Block, k: int, h: float) -> None:
    """Advance how much a foot on the ground still supports."""
    b[R.support + k] = lifted(b[R.support + k], b[R.engaged + k], h)
