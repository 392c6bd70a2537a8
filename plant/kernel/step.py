"""One millisecond of a block: passes over its lanes, each without a branch.

`b` is the block's flat buffer (plant/kernel/lane_layout.py). The passes read like the design:
what the sensors say, what the control law asks, what the rider does, how the plant moves. Each
works on all lanes of the block, lane loop innermost, so that the compiler packs neighbouring
lanes; what it calls is one lane's, and is inlined.
"""

import numpy as np

from plant.compile import scalar
from plant.constants import DEG_PER_RAD, GRAVITY_MPS2
from plant.description.cells import CELL_INTERVALS
from plant.kernel.lane_control import (
    balance,
    command,
    engage,
    limit,
    nest,
    respond_to_load,
    respond_to_turn,
    warn,
)
from plant.kernel.lane_drive import discharge, drive, renew_pack, warm
from plant.kernel.lane_layout import RING_SLOTS, RING_STEPS, ROAD_NAMES, WIDTH, Block, R
from plant.kernel.lane_motion import (
    accelerate,
    bounce,
    flex,
    grip,
    lift_foot,
    press,
    resist,
    slip,
    touch_tail,
    turn,
)
from plant.kernel.lane_rider import command_feet, want_acceleration, want_speed
from plant.kernel.lane_sensors import draw_noise, estimate_attitude, feel_rate, track_wheel
from plant.physics.control import wanted_pitch
from plant.physics.heat import derated_limit, winding_resistance
from plant.physics.reflex import PREVIEW_S
from plant.physics.scalar_math import sine

_N_ROAD = len(ROAD_NAMES)
_GRADE = ROAD_NAMES.index("road_grade_rad")
_ROLLING = ROAD_NAMES.index("road_rolling_ratio")
SLOW_STEPS = 32  # open-circuit voltage, resistance and derating are renewed every 32 ms


@scalar
def stand_on(b: Block, road: Block, road_step: float) -> None:
    """Read the road under each lane.

    This pass and the next are not packed: every lane reads at its own place.
    """
    last = road.shape[0] - 2
    per_step = 1.0 / road_step
    for k in range(WIDTH):
        place = b[R.distance_m + k] * per_step
        place = place if place > 0.0 else 0.0
        place = place if place < last else float(last)
        share = place - int(place)
        cell = np.uintp(int(place))  # unsigned: an index that needs no check for a negative one
        for column in range(_N_ROAD):
            here = road[cell, column]
            there = road[cell + np.uintp(1), column]
            b[R.road_height_m + column * WIDTH + k] = here + share * (there - here)


@scalar
def look_ahead(b: Block, road: Block, road_step: float, step: int) -> None:
    """Read the grade and ground that the rider sees coming, and the foot moment asked before."""
    last = road.shape[0] - 2
    slot = step // RING_STEPS
    per_step = 1.0 / road_step
    for k in range(WIDTH):
        ahead = (b[R.distance_m + k] + PREVIEW_S * b[R.speed_mps + k]) * per_step
        ahead = ahead if ahead > 0.0 else 0.0
        ahead = ahead if ahead < last else float(last)
        b[R.seen_grade_rad + k] = road[np.uintp(int(ahead)), _GRADE]
        b[R.seen_rolling_ratio + k] = road[np.uintp(int(ahead)), _ROLLING]
        delayed = (slot - int(b[R.reflex_delay_slots + k])) & (RING_SLOTS - 1)
        b[R.foot_delayed_nm + k] = b[R.ring_0 + delayed * WIDTH + k]


@scalar
def rest(b: Block) -> None:
    """Read the voltage at rest of one cell of each lane off its table; not packed, as above."""
    for k in range(WIDTH):
        place = b[R.charge_ratio_now + k] * CELL_INTERVALS
        place = place if place > 0.0 else 0.0
        # Beyond full the last slope goes on.
        cell = place if place < CELL_INTERVALS - 1 else float(CELL_INTERVALS - 1)
        row = R.rest_0_v + int(cell) * WIDTH + k
        here = b[row]
        b[R.cell_rest_v + k] = here + (place - int(cell)) * (b[row + WIDTH] - here)


@scalar
def renew(b: Block) -> None:
    """Renew what changes slowly: winding resistance, derated phase limit, and the pack."""
    rest(b)
    for k in range(WIDTH):
        resistance = winding_resistance(b[R.phase_resistance_ohm + k], b[R.winding_c + k])
        b[R.winding_resistance_now_ohm + k] = resistance
        b[R.per_resistance_now + k] = 1.0 / (resistance + b[R.mosfet_resistance_ohm + k])
        b[R.limit_now_a + k] = derated_limit(
            b[R.phase_current_limit_a + k],
            b[R.mosfet_c + k],
            b[R.throttle_start_c + k],
            b[R.throttle_end_c + k],
            b[R.winding_c + k],
            b[R.winding_limit_c + k],
        )
        renew_pack(b, k)


@scalar
def sense(b: Block, step: int) -> None:
    """Draw the noise of this step, and advance the sensors."""
    for k in range(WIDTH):
        draw_noise(b, k, step)
        feel_rate(b, k)
        estimate_attitude(b, k)
        track_wheel(b, k)


@scalar
def control(b: Block) -> None:
    """Advance the control law: from the sensors to the current that the drive is asked for."""
    for k in range(WIDTH):
        attitude = b[R.attitude_rad + k] * DEG_PER_RAD
        speed = b[R.rotor_speed_radps + k] * b[R.wheel_radius_m + k]
        downhill = respond_to_load(b, k, speed)
        turn_lift = respond_to_turn(b, k, speed)
        warning = warn(b, k)
        start_pitch = engage(b, k, attitude)
        wanted = wanted_pitch(start_pitch, b[R.load_shift_deg + k], turn_lift, warning)
        b[R.pitch_wanted_deg + k] = wanted
        error = attitude - wanted
        outer = balance(b, k, error, speed, downhill)
        missing = nest(b, k, outer, speed)
        limit(b, k, error, missing, speed)
        command(b, k)


@scalar
def ride(b: Block, speed_script: float, rise: float) -> None:
    """Advance the rider: what is asked, and the foot moment that the reflex commands."""
    for k in range(WIDTH):
        free = 1.0 - b[R.support + k]
        speed_error = want_speed(b, k, speed_script, free)
        want_acceleration(b, k, speed_error, free)
        command_feet(b, k)
        b[R.guide_pitch_rad + k] = (1.0 - rise) * (
            b[R.start_tail_rad + k] - b[R.road_grade_rad + k]
        )


@scalar
def remember(b: Block, step: int) -> None:
    """Store the commanded foot moment in the ring from which the delayed reflex reads."""
    row = R.ring_0 + ((step // RING_STEPS) & (RING_SLOTS - 1)) * WIDTH
    for k in range(WIDTH):
        b[row + k] = b[R.foot_command_nm + k]


@scalar
def move(b: Block, dt: float, turn_script: float, headwind: float) -> None:
    """Advance the plant by `dt`; a lane whose ride has ended stands still."""
    for k in range(WIDTH):
        h = dt * b[R.alive + k]
        torque, copper, mosfet, power = drive(b, k)
        discharge(b, k, power, h)
        warm(b, k, copper, mosfet, h)
        lateral, gravity, pressed = turn(b, k, turn_script, h)
        tail, tail_load = touch_tail(b, k, h)
        rider_rise = bounce(b, k, tail_load, pressed, h)
        feet = press(b, k, h)
        drive_force, sliding, holds = grip(b, k, torque)
        weight_along = b[R.moving_mass_kg + k] * GRAVITY_MPS2 * sine(b[R.road_grade_rad + k])
        resisting = resist(b, k, weight_along, lateral, tail_load, headwind)
        inertia = b[R.rolling_mass_kg + k] if holds else b[R.moving_mass_kg + k]
        push = drive_force if holds else sliding
        path_force = push - resisting - weight_along
        frame_moment = feet + tail - torque
        accelerate(
            b, k, inertia, gravity, path_force, rider_rise, frame_moment, feet, weight_along, h
        )
        slip(b, k, holds, drive_force - sliding, h)
        flex(b, k, torque)
        lift_foot(b, k, h)
