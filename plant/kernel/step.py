"""One millisecond of a block: four passes over its lanes, each without a branch.

`b` is the block's flat buffer (plant/kernel/lane_layout.py). The passes read like the design:
what the sensors say, what the control law asks, what the rider does, how the plant moves. Each
function works on all lanes of the block, lane loop innermost, so that the compiler packs
neighbouring lanes.
"""

import numpy as np

from plant.compile import scalar
from plant.constants import (
    AMBIENT_C,
    COPPER_PER_K,
    COPPER_REFERENCE_C,
    DEG_PER_RAD,
    DT_S,
    GRAVITY_MPS2,
)
from plant.kernel.lane_layout import RING_SLOTS, RING_STEPS, ROAD_NAMES, WIDTH, Block, R
from plant.physics.battery import bus_voltage, open_circuit_voltage
from plant.physics.bodies import accelerations
from plant.physics.control import (
    LOAD_FILTER_S,
    braking_share,
    integrate,
    lift_under_load,
    load_residual,
    override,
    slewed,
    stiffness_current,
    warning_share,
)
from plant.physics.drive import current_window, derating, losses
from plant.physics.noise import ACCELEROMETER, GYRO, SWAY, YAW_GYRO, counter_noise
from plant.physics.reflex import (
    ANSWER_TIME_S,
    FORESIGHT_S,
    LEG_ADAPT_TIME_S,
    PREVIEW_S,
    asked_acceleration,
    bounded_moment,
    foot_command,
    heeded,
    trimmed,
)
from plant.physics.resistance import air_drag, rolling_resistance, turn_scrub
from plant.physics.scalar_math import clip, cosine, direction, magnitude, sine, smaller
from plant.physics.vertical import leg_load, tail_moment, tyre_load

_N_ROAD = len(ROAD_NAMES)
_GRADE = ROAD_NAMES.index("road_grade_rad")
SLOW_STEPS = 32  # open-circuit voltage, resistance and derating are renewed every 32 ms
TAIL_STIFFNESS_NM = 6000.0  # per rad, assumed: a tail bumper under a rider's foot
TAIL_DAMPING_NM_S = 60.0  # assumed: no bounce
TAIL_LEVER_M = 0.36  # assumed: axle to tail bumper
_TAIL_FRICTION = 0.4  # assumed: bumper on asphalt
_WINDING_ROOM_K = 10.0  # assumed: derating starts this far below the winding's limit
_YAW_TIME_S = 0.25  # assumed: how fast a rider turns in
_SWAY_TIME_S = 0.3  # assumed: correlation time of a standing person's sway
_HEED_TIME_S = 0.5  # assumed: time to notice a warning
_SUPPORT_TIME_S = 0.45  # assumed: time to lift the foot from the ground once engaged
_SHAKE_TIME_S = 0.02  # assumed: how long a shock rings in the frame
_YAW_NOISE_SHARE = 0.5  # assumed: yaw gyro noise over pitch gyro noise
_HOLD_STIFFNESS = 6.0  # per m, assumed: a foot on the ground holds the board's place
_HOLD_DAMPING = 1.0  # s per m, assumed
_STAND_STIFFNESS = 1.8  # per rad in m g h, assumed: a foot on the ground keeps the rider upright
_STAND_DAMPING_S = 0.5  # assumed
_SWAY_STEP = (2.0 * DT_S / _SWAY_TIME_S) ** 0.5  # keeps the sway's variance at one
_GUIDE_RATIO = 0.25  # assumed: how firmly the front foot sets the board's angle, in m g h per rad
_GUIDE_DAMPING_S = 0.02  # assumed
_BRAKE_SPEED = 0.3  # m/s, assumed: the braking cap applies above walking the board
_ACCELEROMETER_SHARE = 0.3  # assumed: share of the wheel's shaking that the IMU feels


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
    """Read the grade that the rider sees coming and the foot moment asked a reflex delay ago."""
    last = road.shape[0] - 2
    slot = step // RING_STEPS
    per_step = 1.0 / road_step
    for k in range(WIDTH):
        ahead = (b[R.distance_m + k] + PREVIEW_S * b[R.speed_mps + k]) * per_step
        ahead = ahead if ahead > 0.0 else 0.0
        ahead = ahead if ahead < last else float(last)
        b[R.seen_grade_rad + k] = road[np.uintp(int(ahead)), _GRADE]
        delayed = (slot - int(b[R.reflex_delay_slots + k])) & (RING_SLOTS - 1)
        b[R.foot_delayed_nm + k] = b[R.ring_0 + delayed * WIDTH + k]


@scalar
def renew(b: Block) -> None:
    """Renew what changes slowly: source voltage, winding resistance, derated phase limit."""
    for k in range(WIDTH):
        warm = b[R.winding_c + k] - COPPER_REFERENCE_C
        b[R.winding_resistance_now_ohm + k] = b[R.phase_resistance_ohm + k] * (
            1.0 + COPPER_PER_K * warm
        )
        b[R.per_resistance_now + k] = 1.0 / (
            b[R.winding_resistance_now_ohm + k] + b[R.mosfet_resistance_ohm + k]
        )
        limit = b[R.winding_limit_c + k]
        b[R.limit_now_a + k] = (
            b[R.phase_current_limit_a + k]
            * derating(b[R.mosfet_c + k], b[R.throttle_start_c + k], b[R.throttle_end_c + k])
            * derating(b[R.winding_c + k], limit - _WINDING_ROOM_K, limit)
        )
        b[R.source_v + k] = b[R.cells_in_series + k] * open_circuit_voltage(
            b[R.charge_ratio_now + k]
        )


@scalar
def sense(b: Block, step: int) -> None:
    """Advance the sensors: gyro, attitude filter, wheel-speed tracking loop."""
    for k in range(WIDTH):
        seed = b[R.noise_seed + k]
        shake = b[R.shake_mps2 + k]
        noise = (b[R.gyro_noise_deg_per_s + k] + b[R.gyro_noise_per_mps2 + k] * shake) / DEG_PER_RAD
        felt = (
            b[R.pitch_rate_radps + k]
            + b[R.flex_rate_radps + k]
            + b[R.gyro_bias_deg_per_s + k] / DEG_PER_RAD
            + noise * counter_noise(seed, step, GYRO)
        )
        gyro = b[R.gyro_radps + k]
        gyro += (felt - gyro) * b[R.gyro_share + k]
        b[R.gyro_radps + k] = gyro

        accel = b[R.accel_mps2 + k]
        grade = b[R.road_grade_rad + k]
        upright = b[R.pitch_rad + k] + b[R.flex_rad + k]
        upright -= accel * cosine(grade) / (GRAVITY_MPS2 + accel * sine(grade))
        upright += (
            _ACCELEROMETER_SHARE * shake / GRAVITY_MPS2 * counter_noise(seed, step, ACCELEROMETER)
        )
        attitude = b[R.attitude_rad + k]
        pull = (upright - attitude) * b[R.per_attitude_time + k]
        b[R.attitude_rad + k] = attitude + (gyro + pull) * DT_S

        counts = b[R.counts_per_rad + k]
        turned = b[R.distance_m + k] * b[R.per_radius_m + k] - b[R.pitch_rad + k]
        seen = np.floor(turned * counts) * b[R.per_counts_per_rad + k]
        angle = b[R.rotor_angle_rad + k]
        speed = b[R.rotor_speed_radps + k]
        miss = seen - angle
        b[R.rotor_angle_rad + k] = angle + (speed + b[R.tracking_gain_per_s + k] * miss) * DT_S
        b[R.rotor_speed_radps + k] = speed + b[R.tracking_gain_per_s2 + k] * miss * DT_S


@scalar
def control(b: Block, step: int) -> None:
    """Advance the control law: from the sensors to the wanted current."""
    for k in range(WIDTH):
        attitude = b[R.attitude_rad + k] * DEG_PER_RAD
        speed = b[R.rotor_speed_radps + k] * b[R.wheel_radius_m + k]
        current = b[R.current_a + k]
        high = b[R.available_high_a + k]
        low = b[R.available_low_a + k]

        current_filtered = b[R.current_filtered_a + k]
        current_filtered += (current - current_filtered) * (DT_S / LOAD_FILTER_S)
        speed_filtered = b[R.speed_filtered_mps + k]
        speed_filtered += (speed - speed_filtered) * (DT_S / LOAD_FILTER_S)
        b[R.current_filtered_a + k] = current_filtered
        b[R.speed_filtered_mps + k] = speed_filtered
        accel = (speed - speed_filtered) / LOAD_FILTER_S
        uphill, downhill = load_residual(
            current_filtered,
            accel,
            b[R.per_expected_current + k],
            b[R.load_deadband_mps2 + k],
        )
        cap = b[R.load_shift_cap_deg + k]
        wanted_shift = clip(
            b[R.downhill_gain_deg_per_mps2 + k] * downhill
            - b[R.uphill_gain_deg_per_mps2 + k] * uphill,
            -cap,
            cap,
        )
        shift = slewed(
            b[R.load_shift_deg + k],
            wanted_shift,
            b[R.load_rise_deg_per_s + k] * DT_S,
            b[R.load_fall_deg_per_s + k] * DT_S,
        )
        lift = lift_under_load(
            b[R.stiffness_lift + k],
            uphill + downhill,
            b[R.stiffness_lift_per_mps2 + k],
            b[R.stiffness_lift_cap_ratio + k],
        )
        b[R.load_shift_deg + k] = shift
        b[R.stiffness_lift + k] = lift

        yaw = b[R.yaw_rate_radps + k] + _YAW_NOISE_SHARE * (
            b[R.gyro_noise_deg_per_s + k] / DEG_PER_RAD
        ) * counter_noise(b[R.noise_seed + k], step, YAW_GYRO)
        lag_1 = b[R.turn_lag_1_mps2 + k]
        lag_2 = b[R.turn_lag_2_mps2 + k]
        lag_2 += (lag_1 - lag_2) * b[R.turn_share + k]
        lag_1 += (magnitude(yaw * speed) - lag_1) * b[R.turn_share + k]
        b[R.turn_lag_1_mps2 + k] = lag_1
        b[R.turn_lag_2_mps2 + k] = lag_2
        turn_lift = smaller(b[R.turn_gain_deg_per_mps2 + k] * lag_2, b[R.turn_lift_cap_deg + k])

        reserve = (high - current_filtered) * b[R.per_phase_limit + k]
        bus = b[R.bus_v + k]
        warn = warning_share(
            reserve,
            b[R.reserve_warning_ratio + k],
            b[R.per_reserve_width + k],
            b[R.throttle_start_c + k] - b[R.mosfet_c + k],
            b[R.heat_warning_margin_k + k],
            b[R.per_heat_width + k],
            smaller(bus - b[R.bus_low_v + k], b[R.bus_high_v + k] - bus),
            b[R.bus_warning_margin_v + k],
            b[R.per_bus_width + k],
        )
        warning_slew = b[R.warning_slew_deg_per_s + k] * DT_S
        warning = slewed(
            b[R.warning_now_deg + k],
            warn * b[R.warning_lift_deg + k],
            warning_slew,
            warning_slew,
        )
        b[R.warning_now_deg + k] = warning

        near_level = attitude > -b[R.engage_angle_deg + k]
        engaged = 1.0 if (b[R.engaged + k] > 0.5 or near_level) else 0.0
        slew = b[R.level_slew_deg_per_s + k] * DT_S
        start_pitch = b[R.engage_pitch_deg + k]
        start_pitch = (
            clip(0.0, start_pitch - slew, start_pitch + slew) if engaged > 0.5 else attitude
        )
        authority = smaller(b[R.authority + k] + engaged * b[R.build_up_per_step + k], 1.0)
        b[R.engaged + k] = engaged
        b[R.engage_pitch_deg + k] = start_pitch
        b[R.authority + k] = authority

        wanted = start_pitch + shift - turn_lift - warning
        b[R.pitch_wanted_deg + k] = wanted
        error = attitude - wanted

        braking = braking_share(error, speed)
        soft = override(b[R.braking_stiffness_ratio + k], downhill)
        soft_rate = override(b[R.braking_damping_ratio + k], downhill)
        proportional = (
            stiffness_current(
                error,
                b[R.inner_gain_a_per_deg + k],
                b[R.inner_band_deg + k],
                b[R.base_gain_a_per_deg + k],
                b[R.mid_knee_deg + k],
                b[R.mid_gain_ratio + k],
                b[R.outer_knee_deg + k],
                b[R.outer_gain_ratio + k],
            )
            * lift
            * (1.0 + (soft - 1.0) * braking)
        )
        rate = b[R.rate_filtered_radps + k]
        rate += (b[R.gyro_radps + k] - rate) * b[R.rate_share + k]
        b[R.rate_filtered_radps + k] = rate
        rate_cap = b[R.rate_current_cap_a + k]
        damping = clip(
            b[R.rate_gain_a_per_deg_per_s + k]
            * rate
            * DEG_PER_RAD
            * (1.0 + (soft_rate - 1.0) * braking),
            -rate_cap,
            rate_cap,
        )
        outer = proportional + damping + b[R.integral_a + k]
        change = (speed - b[R.accel_lag_mps + k]) * b[R.accel_share + k]
        b[R.accel_lag_mps + k] += change
        missing = outer * b[R.per_expected_current + k] - change / DT_S
        raw = authority * (
            b[R.feed_forward_ratio + k] * outer
            + b[R.acceleration_gain_a_per_mps2 + k] * missing
            + b[R.accel_integral_a + k]
        )
        b[R.current_raw_a + k] = raw

        brake_cap = b[R.braking_current_cap_a + k]
        rolling = direction(speed, _BRAKE_SPEED)
        floor = -brake_cap if rolling >= 1.0 else low
        ceiling = brake_cap if rolling <= -1.0 else high
        allowed = clip(clip(raw, floor, ceiling), low, high)
        b[R.current_wanted_a + k] = allowed
        b[R.integral_a + k] = integrate(
            b[R.integral_a + k],
            error * engaged,
            b[R.integral_gain_a_per_deg_s + k],
            b[R.integral_clamp_a + k],
            raw - allowed,
        )
        b[R.accel_integral_a + k] = integrate(
            b[R.accel_integral_a + k],
            missing * engaged,
            b[R.acceleration_integral_a_per_mps + k],
            b[R.acceleration_clamp_a + k],
            raw - allowed,
        )


@scalar
def ride(b: Block, step: int, speed_script: float, rise: float) -> None:
    """Advance the rider: what is asked, and the foot moment that the reflex commands."""
    for k in range(WIDTH):
        heed = b[R.heed + k]
        warned = heeded(b[R.warning_now_deg + k], b[R.warning_heed_ratio + k])
        heed += (warned - heed) * (DT_S / _HEED_TIME_S)
        b[R.heed + k] = heed
        free = 1.0 - b[R.support + k]
        wanted_speed = speed_script * (1.0 - heed) * free
        b[R.speed_wanted_now_mps + k] = wanted_speed
        speed_error = wanted_speed - b[R.speed_mps + k] - FORESIGHT_S * b[R.accel_mps2 + k]
        asked = asked_acceleration(speed_error, b[R.ask_accel_mps2 + k], b[R.ask_braking_mps2 + k])
        mind = b[R.accel_wanted_mps2 + k]
        mind += (asked * free - mind) * b[R.smoothing_share + k]
        b[R.accel_wanted_mps2 + k] = mind
        expected = b[R.accel_expected_mps2 + k]
        expected += (mind - expected) * (DT_S / ANSWER_TIME_S)
        b[R.accel_expected_mps2 + k] = expected
        trim = trimmed(
            b[R.accel_trim_mps2 + k],
            speed_error,
            asked,
            expected - b[R.accel_mps2 + k],
            DT_S * free,
        )
        b[R.accel_trim_mps2 + k] = trim
        mass = b[R.moving_mass_kg + k]

        # A rider sees the hill coming and leans into it.
        slope = GRAVITY_MPS2 * sine(b[R.seen_grade_rad + k])
        mgh = b[R.rider_mgh_nm + k]
        sway = b[R.sway + k]
        sway += -sway * (DT_S / _SWAY_TIME_S) + _SWAY_STEP * counter_noise(
            b[R.noise_seed + k], step, SWAY
        )
        b[R.sway + k] = sway
        balanced = foot_command(
            b[R.lean_rad + k],
            b[R.lean_rate_radps + k],
            mind + trim,
            mass * (mind + trim + slope),
            b[R.wheel_radius_m + k],
            mgh,
            b[R.lean_gain_ratio + k],
            b[R.lean_rate_gain_s + k],
            b[R.leg_stiffness_ratio + k],
        )
        balanced += mgh * b[R.sway_ratio + k] * sway
        balanced -= b[R.road_press_ratio + k] * b[R.foot_limit_nm + k]
        b[R.foot_command_nm + k] = balanced
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
    """Advance the plant by `dt`: drive, loads, bodies, frame mode, heat and charge."""
    for k in range(WIDTH):
        alive = b[R.alive + k]
        h = dt * alive
        pitch = b[R.pitch_rad + k]
        pitch_rate = b[R.pitch_rate_radps + k]
        lean = b[R.lean_rad + k]
        lean_rate = b[R.lean_rate_radps + k]
        speed = b[R.speed_mps + k]
        slip = b[R.slip_mps + k]
        grade = b[R.road_grade_rad + k]
        per_radius = b[R.per_radius_m + k]
        current = b[R.current_a + k]

        # Drive: the rotor turns against the board.
        rotor = (speed + slip) * per_radius - pitch_rate
        emf = b[R.emf_per_radps_v + k] * rotor
        reactance = b[R.pole_pairs + k] * rotor * b[R.phase_inductance_h + k]
        winding_r = b[R.winding_resistance_now_ohm + k]
        bus = b[R.bus_v + k]
        phase_v = b[R.modulation_limit_ratio + k] * bus * 0.5773502691896258
        low, high = current_window(
            emf,
            winding_r + b[R.mosfet_resistance_ohm + k],
            b[R.per_resistance_now + k],
            reactance,
            phase_v,
            b[R.limit_now_a + k],
            bus * b[R.battery_current_limit_a + k],
            bus * b[R.regen_current_limit_a + k],
        )
        b[R.available_low_a + k] = low
        b[R.available_high_a + k] = high
        target = clip(b[R.current_wanted_a + k], low, high)
        current += (target - current) * b[R.current_share + k] * alive
        b[R.current_a + k] = current
        torque = b[R.torque_per_amp_nm + k] * current
        copper, mosfet = losses(
            current,
            winding_r,
            b[R.mosfet_resistance_ohm + k],
            b[R.switching_loss_w_per_a_v + k],
            bus,
        )
        power = 1.5 * emf * current + copper + mosfet + b[R.standby_power_w + k]

        # Battery.
        rc = b[R.rc_voltage_v + k]
        new_bus, pack = bus_voltage(b[R.source_v + k] - rc, b[R.series_resistance_ohm + k], power)
        b[R.bus_v + k] = new_bus
        b[R.battery_a + k] = pack
        b[R.power_w + k] = power
        b[R.rc_voltage_v + k] = rc + (pack * b[R.rc_resistance_ohm + k] - rc) * (
            h * b[R.per_rc_time + k]
        )
        b[R.charge_ratio_now + k] -= pack * h * b[R.per_charge + k]

        # Heat.
        hot = b[R.mosfet_c + k]
        b[R.mosfet_c + k] = hot + (mosfet - (hot - AMBIENT_C) * b[R.per_mosfet_resistance + k]) * (
            h * b[R.per_mosfet_heat_capacity + k]
        )
        hot = b[R.winding_c + k]
        b[R.winding_c + k] = hot + (
            copper - (hot - AMBIENT_C) * b[R.per_winding_resistance + k]
        ) * (h * b[R.per_winding_heat_capacity + k])

        # Turning.
        yaw = b[R.yaw_rate_radps + k]
        yaw += (turn_script - yaw) * (h / _YAW_TIME_S)
        b[R.yaw_rate_radps + k] = yaw
        lateral = yaw * speed
        gravity = np.sqrt(GRAVITY_MPS2 * GRAVITY_MPS2 + lateral * lateral)
        pressed = gravity * cosine(grade) + speed * speed * b[R.road_curvature_per_m + k]

        # Loads.
        ground_pitch = pitch + grade
        b[R.ground_pitch_rad + k] = ground_pitch
        tail = tail_moment(
            -ground_pitch - b[R.tail_contact_rad + k],
            -pitch_rate,
            TAIL_STIFFNESS_NM,
            TAIL_DAMPING_NM_S,
            b[R.per_frame_j + k],
            h,
        )
        tail_load = tail / TAIL_LEVER_M
        wheel_z = b[R.wheel_height_m + k]
        wheel_vz = b[R.wheel_rise_mps + k]
        rider_z = b[R.rider_height_m + k]
        rider_vz = b[R.rider_rise_mps + k]
        slope = b[R.road_slope + k]
        rider_mass = b[R.mass_kg + k]
        deck_mass = b[R.deck_mass_kg + k]
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
            (rider_mass + deck_mass) * GRAVITY_MPS2,
            b[R.road_height_m + k] - wheel_z,
            speed * slope - wheel_vz,
            b[R.tyre_stiffness_n_per_m + k],
            b[R.tyre_damping_n_s_per_m + k],
            free_az,
            per_deck,
            h,
        )
        wheel_az = load * per_deck + free_az
        rider_az = legs * b[R.per_rider_mass + k] - pressed
        b[R.wheel_accel_mps2 + k] = wheel_az
        wheel_vz += wheel_az * h
        rider_vz += rider_az * h
        b[R.wheel_rise_mps + k] = wheel_vz
        b[R.rider_rise_mps + k] = rider_vz
        b[R.wheel_height_m + k] = wheel_z + wheel_vz * h
        b[R.rider_height_m + k] = rider_z + rider_vz * h
        b[R.wheel_load_n + k] = load
        b[R.leg_load_n + k] = legs
        shake = b[R.shake_mps2 + k]
        b[R.shake_mps2 + k] = shake + (magnitude(wheel_az) - shake) * (h / _SHAKE_TIME_S)

        # Feet.
        foot = b[R.foot_moment_nm + k]
        foot += (b[R.foot_delayed_nm + k] - foot) * b[R.foot_share + k] * alive
        b[R.foot_moment_nm + k] = foot
        mgh = b[R.rider_mgh_nm + k]
        rest = b[R.leg_rest_rad + k]
        b[R.leg_rest_rad + k] = rest + (pitch - rest) * (h / LEG_ADAPT_TIME_S)
        balancing = foot + mgh * (
            b[R.leg_stiffness_ratio + k] * (lean - (pitch - rest))
            + b[R.leg_damping_s + k] * (lean_rate - pitch_rate)
        )
        # With one foot on the ground the other only guides the board's angle.
        support = b[R.support + k]
        guiding = mgh * (
            _GUIDE_RATIO * (b[R.guide_pitch_rad + k] - pitch) - _GUIDE_DAMPING_S * pitch_rate
        )
        feet, foot_limit = bounded_moment(
            balancing + support * (guiding - balancing),
            legs,
            b[R.half_stance_m + k],
            b[R.foot_use_ratio + k],
        )
        b[R.board_moment_nm + k] = feet
        b[R.foot_limit_nm + k] = foot_limit

        # Ground forces: rolling without slip while friction can hold what is asked.
        rim_mass = b[R.rolling_mass_kg + k] - b[R.moving_mass_kg + k]
        drive_force = torque * per_radius
        friction = b[R.road_friction_ratio + k] * load
        asked = drive_force - rim_mass * b[R.accel_mps2 + k]
        holds = magnitude(slip) < 1e-9 and magnitude(asked) <= friction
        side = slip if magnitude(slip) >= 1e-9 else asked
        sliding = friction if side > 0.0 else -friction
        b[R.traction_n + k] = asked if holds else sliding
        inertia = b[R.rolling_mass_kg + k] if holds else b[R.moving_mass_kg + k]
        push = drive_force if holds else sliding
        weight_along = b[R.moving_mass_kg + k] * GRAVITY_MPS2 * sine(grade)
        steady_resist = (
            rolling_resistance(speed, load, b[R.road_rolling_ratio + k])
            + air_drag(speed, headwind, b[R.air_density_kg_m3 + k], b[R.drag_area_m2 + k])
            + turn_scrub(speed, load, lateral / GRAVITY_MPS2, b[R.scrub_ratio + k])
        )
        resist = (
            steady_resist
            + _TAIL_FRICTION * tail_load * direction(speed, 0.05)
            + load * slope
            + support * mgh * (_HOLD_STIFFNESS * b[R.distance_m + k] + _HOLD_DAMPING * speed)
        )
        # What the ride itself needs: the asked acceleration on this grade, whatever the profile.
        b[R.need_a + k] = (
            (b[R.rolling_mass_kg + k] * b[R.accel_wanted_mps2 + k] + weight_along + steady_resist)
            * b[R.wheel_radius_m + k]
            * b[R.per_torque_per_amp + k]
        )
        # Upright on a slope is the lean whose weight balances the wheel's moment.
        off_balance = mgh * lean - weight_along * b[R.wheel_radius_m + k]
        steady = -support * (_STAND_STIFFNESS * off_balance + _STAND_DAMPING_S * mgh * lean_rate)
        accel, pitch_accel, lean_accel = accelerations(
            pitch,
            pitch_rate,
            lean,
            lean_rate,
            grade,
            gravity,
            inertia,
            b[R.frame_mh_kg_m + k],
            b[R.per_frame_j + k],
            b[R.rider_mh_kg_m + k],
            b[R.per_rider_j + k],
            push - resist - weight_along,
            feet + tail - torque,
            steady - feet,
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

        # Slip ends when it would change sign.
        spun = slip + ((drive_force - sliding) * b[R.per_rim_mass + k] - accel) * h
        spun = 0.0 if (holds or (slip != 0.0 and spun * slip <= 0.0)) else spun
        b[R.slip_mps + k] = spun

        # Frame mode between motor and IMU.
        omega = b[R.flex_radps + k]
        flex = b[R.flex_rad + k]
        flex_rate = b[R.flex_rate_radps + k]
        flex_rate += (
            -torque * b[R.per_frame_inertia + k]
            - omega * (2.0 * b[R.flex_damping_ratio + k] * flex_rate + omega * flex)
        ) * h
        b[R.flex_rate_radps + k] = flex_rate
        b[R.flex_rad + k] = flex + flex_rate * h
        b[R.support + k] = support * (1.0 - b[R.engaged + k] * h / _SUPPORT_TIME_S)
