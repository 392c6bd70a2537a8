"""How drive, battery, loads and bodies move, over a batch of lanes.

Written over names and arrays so that one lane and many read alike. Semi-implicit Euler: rates
first, then places with the new rates.
"""

from types import SimpleNamespace as Lanes

import numpy as np

from plant.arrays import Floats
from tests.reference.constants import (
    AMBIENT_C,
    COPPER_PER_K,
    COPPER_REFERENCE_C,
    GRAVITY_MPS2,
    GUIDE_DAMPING_S,
    GUIDE_RATIO,
    LEAST_SLOPE_RATIO,
    LEAST_SOURCE_V,
    LEG_ADAPT_TIME_S,
    SHAKE_TIME_S,
    TAIL_DAMPING_NM_S,
    TAIL_LEVER_M,
    TAIL_STIFFNESS_NM,
    WINDING_HEADROOM_K,
)


def ramp(x: Floats, width: float) -> Floats:
    """Return the sign of `x`, straight through zero over plus and minus `width`."""
    return np.clip(x / width, -1.0, 1.0)


def renew(lanes: Lanes) -> None:
    """Renew source voltage, winding resistance and the derated phase limit."""
    lanes.winding_resistance_now_ohm = lanes.phase_resistance_ohm * (
        1.0 + COPPER_PER_K * (lanes.winding_c - COPPER_REFERENCE_C)
    )
    mosfet_room = (lanes.throttle_end_c - lanes.mosfet_c) / (
        lanes.throttle_end_c - lanes.throttle_start_c
    )
    winding_room = (lanes.winding_limit_c - lanes.winding_c) / WINDING_HEADROOM_K
    lanes.limit_now_a = (
        lanes.phase_current_limit_a
        * np.clip(mosfet_room, 0.0, 1.0)
        * np.clip(winding_room, 0.0, 1.0)
    )
    # The cell's table, straight in between; below empty held, beyond full along its last slope.
    table = np.stack([np.atleast_1d(getattr(lanes, f"rest_{point}_v")) for point in range(21)])
    filled = 20.0 * np.maximum(lanes.charge_ratio_now, 0.0)
    below = np.atleast_1d(np.minimum(np.floor(filled), 19.0)).astype(int)
    lane = np.arange(table.shape[1])
    lower, upper = table[below, lane], table[below + 1, lane]
    cell_v = lower + (filled - below) * (upper - lower)
    lanes.cell_rest_v = cell_v
    lanes.source_v = lanes.cells_in_series * cell_v
    renew_pack(lanes)


def renew_pack(lanes: Lanes) -> None:
    """Renew what the pack can give and take, and how far the phase voltage falls meanwhile."""
    ohm = lanes.series_resistance_ohm
    rest_v = np.maximum(lanes.source_v - lanes.rc_voltage_v, LEAST_SOURCE_V)
    drawn_a = np.minimum(lanes.battery_current_limit_a, rest_v / ohm / 2.0)
    full_w = drawn_a * (rest_v - drawn_a * ohm)
    lanes.discharge_now_w = np.maximum(full_w - lanes.standby_power_w, 0.0)
    # Charging current falls in a straight line over the band, at the voltage that it makes itself.
    room_v = lanes.bus_high_v - rest_v
    band_v = lanes.regen_taper_v + ohm * lanes.regen_current_limit_a
    share = np.where(lanes.regen_taper_v > 0.0, room_v / band_v, np.where(room_v > 0.0, 1.0, 0.0))
    taken_a = lanes.regen_current_limit_a * np.clip(share, 0.0, 1.0)
    lanes.charge_now_w = taken_a * (rest_v + taken_a * ohm) + lanes.standby_power_w
    # The square of the bus voltage falls in a straight line to its value at full power.
    fall = (rest_v**2 - (rest_v - drawn_a * ohm) ** 2) / full_w
    amplitude = lanes.modulation_limit_ratio / np.sqrt(3.0)
    lanes.phase_square_v2 = amplitude**2 * (rest_v**2 - fall * lanes.standby_power_w)
    lanes.sag_ohm = amplitude**2 * 1.5 * fall


def _roots(a: Floats, b: Floats, c: Floats) -> tuple[Floats, Floats]:
    """Return both roots of a x^2 + b x + c; its lowest point twice where it has none."""
    root = np.sqrt(np.maximum(b * b - 4.0 * a * c, 0.0))
    return (-b - root) / (2.0 * a), (-b + root) / (2.0 * a)


def diodes(lanes: Lanes, emf_v: Floats, reactance_ohm: Floats) -> tuple[Floats, Floats]:
    """Return the current that a rectifier forces, and its amplitude, in A; 0 where none conducts.

    E = 3 sqrt(3) / pi e behind 2 R + 3 / pi |X|, by the power balance of shaft, bus and heat.
    """
    size = np.abs(emf_v)
    resistance = lanes.winding_resistance_now_ohm + lanes.mosfet_resistance_ohm
    behind = 2.0 * resistance + 3.0 / np.pi * np.abs(reactance_ohm)
    into_bus = np.maximum(3.0 * np.sqrt(3.0) / np.pi * size - lanes.bus_v, 0.0) / behind
    shaft_w = lanes.bus_v * into_bus + 2.0 * resistance * into_bus**2
    with np.errstate(divide="ignore", invalid="ignore"):
        braking = np.where(into_bus > 0.0, shaft_w / (1.5 * size), 0.0)
    return -np.sign(emf_v) * braking, 2.0 / np.sqrt(3.0) * into_bus


def current_window(
    lanes: Lanes, emf_v: Floats, reactance_ohm: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return lowest and highest current under every limit, and the square of what flows besides."""
    resistance = lanes.winding_resistance_now_ohm + lanes.mosfet_resistance_ohm
    z2 = resistance**2 + reactance_ohm**2
    most = lanes.field_weakening_a
    most = np.where(emf_v * reactance_ohm > z2 * most, most, 0.0)
    # (e - X d + R i)^2 + (X i + R d)^2 = u^2 - s (e i + R i^2)
    missing = emf_v**2 - lanes.phase_square_v2
    gained = 2.0 * emf_v * reactance_ohm * most - z2 * most**2
    square = z2 + lanes.sag_ohm * resistance
    straight = 2.0 * emf_v * resistance + lanes.sag_ohm * emf_v
    volt_low, volt_high = _roots(square, straight, missing - gained)
    lost = missing > gained
    volt_high = np.where(lost & (emf_v > 0.0), 0.0, volt_high)
    volt_low = np.where(lost & (emf_v < 0.0), 0.0, volt_low)
    # d rises with the squared voltage that the present current lacks.
    now = lanes.current_a
    lacking = missing + straight * now + square * now**2
    with np.errstate(divide="ignore", invalid="ignore"):
        used = np.where(gained > 0.0, most * np.clip(lacking / gained, 0.0, 1.0), 0.0)
    # 1.5 (e i + R i^2) = P, discharging and charging
    discharge_w, charge_w = lanes.discharge_now_w, lanes.charge_now_w
    low, high = _roots(1.5 * resistance, 1.5 * emf_v, -discharge_w)
    charge_low, charge_high = _roots(1.5 * resistance, 1.5 * emf_v, charge_w)
    binds = emf_v**2 > 4.0 / 1.5 * resistance * charge_w
    low = np.where(binds & (emf_v > 0.0), charge_high, low)
    high = np.where(binds & (emf_v < 0.0), charge_low, high)
    low = np.maximum(np.maximum(volt_low, low), -lanes.limit_now_a)
    high = np.minimum(np.minimum(volt_high, high), lanes.limit_now_a)
    # A drive that has lost control leaves the motor to its diodes.
    forced, amplitude = diodes(lanes, emf_v, reactance_ohm)
    conducts = lost & (forced != 0.0)
    besides = np.where(conducts, np.maximum(amplitude**2 - forced**2, 0.0), used**2)
    return np.where(conducts, forced, low), np.where(conducts, forced, high), besides


def linear_current(lanes: Lanes, current_a: Floats) -> Floats:
    """Return torque over the torque constant, in A: i - c i^3, from a slope of a quarter straight.

    The loss is the declared share at the declared current, which fixes c.
    """
    c = lanes.saturation_ratio / lanes.saturation_current_a**2
    size = np.abs(current_a)
    with np.errstate(divide="ignore"):
        knee = 0.5 / np.sqrt(c)
    inside = np.minimum(size, knee)
    curved = inside - c * inside**3
    return np.sign(current_a) * (curved + LEAST_SLOPE_RATIO * (size - inside))


def current_of(lanes: Lanes, linear_a: Floats) -> Floats:
    """Return the current whose `linear_current` it is: the cubic's least root, by its angle."""
    c = lanes.saturation_ratio / lanes.saturation_current_a**2
    size = np.abs(linear_a)
    with np.errstate(divide="ignore", invalid="ignore"):
        knee = 0.5 / np.sqrt(c)
        # i - c i^3 = x by i = 2 / sqrt(3 c) sin(a / 3), with sin(a) = x sqrt(27 c) / 2
        inside = np.minimum(size, 0.75 * knee)
        angle = np.arcsin(np.minimum(0.5 * inside * np.sqrt(27.0 * c), 1.0))
        curved = np.where(c > 0.0, 2.0 / np.sqrt(3.0 * c) * np.sin(angle / 3.0), inside)
    return np.sign(linear_a) * (curved + (size - inside) / LEAST_SLOPE_RATIO)


def drive(lanes: Lanes, dt_s: Floats) -> Floats:
    """Advance current, battery and heat; return the motor torque in N m."""
    rotor = (lanes.speed_mps + lanes.slip_mps) / lanes.radius_now_m - (
        lanes.pitch_rate_radps - lanes.yaw_rate_radps * lanes.roll_sine
    )
    emf = lanes.torque_per_amp_nm / 1.5 * rotor
    reactance = lanes.pole_pairs * rotor * lanes.phase_inductance_h
    low, high, besides = current_window(lanes, emf, reactance)
    lanes.available_low_a, lanes.available_high_a = low, high
    target = np.clip(lanes.current_commanded_a - lanes.current_offset_a, low, high)
    start = lanes.current_a
    lanes.current_a = start + (target - start) * lanes.current_share * lanes.alive
    # tau i' = target - i, over the step: the mean of i is the target less tau times its change.
    step_s = -lanes.current_lag_s * np.log1p(-lanes.current_share)
    current = target - lanes.current_lag_s * (lanes.current_a - start) / step_s

    copper = 1.5 * lanes.winding_resistance_now_ohm * (current**2 + besides)
    mosfet = (
        1.5 * lanes.mosfet_resistance_ohm * (current**2 + besides)
        + lanes.switching_loss_w_per_a_v * np.abs(current) * lanes.bus_v
    )
    torque = lanes.torque_per_amp_nm * linear_current(lanes, current)
    lanes.power_w = torque * rotor + copper + mosfet + lanes.standby_power_w
    discharge(lanes, dt_s)
    lanes.mosfet_c = lanes.mosfet_c + dt_s / lanes.mosfet_heat_capacity_j_per_k * (
        mosfet - (lanes.mosfet_c - AMBIENT_C) / lanes.mosfet_resistance_k_per_w
    )
    lanes.winding_c = lanes.winding_c + dt_s / lanes.winding_heat_capacity_j_per_k * (
        copper - (lanes.winding_c - AMBIENT_C) / lanes.winding_resistance_k_per_w
    )
    return torque


def discharge(lanes: Lanes, dt_s: Floats) -> None:
    """Advance bus voltage, pack current, the RC pair and the charge."""
    inner_v = lanes.source_v - lanes.rc_voltage_v
    square = inner_v**2 - 4.0 * lanes.series_resistance_ohm * lanes.power_w
    held_v = 0.5 * (inner_v + np.sqrt(np.maximum(square, 0.0)))
    lanes.bus_v = np.where(square >= 0.0, held_v, 0.0)  # more than the pack can give
    lanes.battery_a = lanes.power_w / held_v
    lanes.rc_voltage_v = lanes.rc_voltage_v + dt_s / lanes.rc_time_s * (
        lanes.battery_a * lanes.rc_resistance_ohm - lanes.rc_voltage_v
    )
    lanes.charge_ratio_now = lanes.charge_ratio_now - dt_s * lanes.battery_a / (
        3600.0 * lanes.capacity_ah
    )


def bounce(lanes: Lanes, dt_s: Floats, pressed_mps2: Floats) -> tuple[Floats, Floats]:
    """Advance wheel and rider vertically; return the tail's moment in N m and load in N."""
    lanes.ground_pitch_rad = lanes.pitch_rad + lanes.road_grade_rad
    over = -lanes.ground_pitch_rad - lanes.tail_contact_rad
    # Dampers act on the rate at the end of the step, which they change themselves.
    tail = (TAIL_STIFFNESS_NM * over - TAIL_DAMPING_NM_S * lanes.pitch_rate_radps) / (
        1.0 + dt_s * TAIL_DAMPING_NM_S / lanes.frame_j_kg_m2
    )
    tail = np.where((over > 0.0) & (tail > 0.0), tail, 0.0)
    deck_mass = lanes.frame_mass_kg + lanes.wheel_mass_kg
    lanes.leg_load_n = np.maximum(
        lanes.mass_kg * GRAVITY_MPS2
        + lanes.leg_stiffness_n_per_m * (lanes.wheel_height_m - lanes.rider_height_m)
        + lanes.leg_damping_n_s_per_m * (lanes.wheel_rise_mps - lanes.rider_rise_mps),
        0.0,
    )
    damping = lanes.tyre_damping_n_s_per_m
    without = (tail / TAIL_LEVER_M - lanes.leg_load_n) / deck_mass - pressed_mps2
    rise_without = lanes.wheel_rise_mps + dt_s * without
    load = (
        (lanes.mass_kg + deck_mass) * GRAVITY_MPS2
        + lanes.tyre_stiffness_n_per_m * (lanes.road_height_m - lanes.wheel_height_m)
        + damping * (lanes.speed_mps * lanes.road_slope - rise_without)
    ) / (1.0 + dt_s * damping / deck_mass)
    lanes.wheel_load_n = np.maximum(load, 0.0)
    lift = lanes.wheel_load_n + tail / TAIL_LEVER_M - lanes.leg_load_n
    lanes.wheel_accel_mps2 = lift / deck_mass - pressed_mps2
    lanes.wheel_rise_mps = lanes.wheel_rise_mps + lanes.wheel_accel_mps2 * dt_s
    lanes.rider_rise_mps = (
        lanes.rider_rise_mps + (lanes.leg_load_n / lanes.mass_kg - pressed_mps2) * dt_s
    )
    lanes.wheel_height_m = lanes.wheel_height_m + lanes.wheel_rise_mps * dt_s
    lanes.rider_height_m = lanes.rider_height_m + lanes.rider_rise_mps * dt_s
    lanes.shake_mps2 = lanes.shake_mps2 + (np.abs(lanes.wheel_accel_mps2) - lanes.shake_mps2) * (
        dt_s / SHAKE_TIME_S
    )
    return tail, tail / TAIL_LEVER_M


def press(lanes: Lanes, dt_s: Floats) -> Floats:
    """Advance the feet and return the moment with which they press the nose down, in N m."""
    lanes.foot_moment_nm = lanes.foot_moment_nm + (lanes.foot_delayed_nm - lanes.foot_moment_nm) * (
        lanes.foot_share * lanes.alive
    )
    mgh = lanes.rider_mgh_nm
    legs = lanes.leg_stiffness_ratio * (
        lanes.lean_rad - lanes.pitch_rad + lanes.leg_rest_rad
    ) + lanes.leg_damping_s * (lanes.lean_rate_radps - lanes.pitch_rate_radps)
    guide = (
        GUIDE_RATIO * (lanes.guide_pitch_rad - lanes.pitch_rad)
        - GUIDE_DAMPING_S * lanes.pitch_rate_radps
    )
    balancing = lanes.foot_moment_nm + mgh * legs
    moment = (1.0 - lanes.support) * balancing + lanes.support * mgh * guide
    lanes.leg_rest_rad = lanes.leg_rest_rad + (lanes.pitch_rad - lanes.leg_rest_rad) * (
        dt_s / LEG_ADAPT_TIME_S
    )
    lanes.foot_limit_nm = np.maximum(
        lanes.leg_load_n * lanes.half_stance_m * lanes.foot_use_ratio, 0.0
    )
    lanes.board_moment_nm = np.clip(moment, -lanes.foot_limit_nm, lanes.foot_limit_nm)
    return lanes.board_moment_nm
