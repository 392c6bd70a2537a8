"""The plant between two steps of the controller as a differential equation, for one lane.

Controller and rider act every millisecond, as in the kernel; what they ask is held until the next.
In between, the road passes under the wheel, and drive, battery, loads and bodies move continuously
and are solved by scipy to a tight tolerance. It is the limit that smaller plant steps must reach.

The tail stays off the ground, no foot is on the ground and the wheel holds: checked at each step.
"""

from collections.abc import Mapping
from types import SimpleNamespace as Lanes

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from plant.kernel.lane_layout import ROAD_NAMES
from plant.kernel.simulate import Ride
from tests.reference.constants import (
    AMBIENT_C,
    DT_S,
    GRAVITY_MPS2,
    LEG_ADAPT_TIME_S,
    SCRIPT_STEPS,
    SHAKE_TIME_S,
    SLOW_STEPS,
    TABLE_STEP_M,
    YAW_TIME_S,
)
from tests.reference.numpy_bodies import accelerate, resist, turn_in
from tests.reference.numpy_control import control
from tests.reference.numpy_motion import current_window, linear_current, renew
from tests.reference.numpy_plant import Reflex, road_and_script, starting_lanes
from tests.reference.numpy_rider import ride as ride_on
from tests.reference.numpy_sensing import read_road, sense

STATE = (
    "distance_m",
    "speed_mps",
    "pitch_rad",
    "pitch_rate_radps",
    "lean_rad",
    "lean_rate_radps",
    "current_a",
    "foot_moment_nm",
    "leg_rest_rad",
    "wheel_height_m",
    "wheel_rise_mps",
    "rider_height_m",
    "rider_rise_mps",
    "yaw_rate_radps",
    "rc_voltage_v",
    "charge_ratio_now",
    "mosfet_c",
    "winding_c",
    "flex_rad",
    "flex_rate_radps",
    "turned_rad",
    "shake_mps2",
)


def _electrical(now: Lanes, rate: dict[str, float]) -> float:
    """Fill in the rates of current, battery and heat; return the motor torque."""
    current = now.current_a
    rotor = now.speed_mps / now.radius_now_m - now.pitch_rate_radps
    rotor += now.yaw_rate_radps * now.roll_sine
    emf = now.torque_per_amp_nm / 1.5 * rotor
    reactance = now.pole_pairs * rotor * now.phase_inductance_h
    now.available_low_a, now.available_high_a, besides = current_window(now, emf, reactance)
    copper = 1.5 * now.winding_resistance_now_ohm * (current**2 + besides)
    conduction = 1.5 * now.mosfet_resistance_ohm * (current**2 + besides)
    switching_a = now.switching_loss_w_per_a_v * np.abs(current)
    # V = E - r P / V with P = fixed + switching V: a quadratic in V.
    torque: float = now.torque_per_amp_nm * linear_current(now, current)
    fixed_w = torque * rotor + copper + conduction + now.standby_power_w
    inner_v = now.source_v - now.rc_voltage_v - now.series_resistance_ohm * switching_a
    now.bus_v = 0.5 * (inner_v + np.sqrt(inner_v**2 - 4.0 * now.series_resistance_ohm * fixed_w))
    mosfet = conduction + switching_a * now.bus_v
    now.power_w = fixed_w + switching_a * now.bus_v
    now.battery_a = now.power_w / now.bus_v
    target = np.clip(now.current_commanded_a, now.available_low_a, now.available_high_a)
    rate["current_a"] = (target - current) / now.current_lag_s
    rate["rc_voltage_v"] = (now.battery_a * now.rc_resistance_ohm - now.rc_voltage_v) / (
        now.rc_time_s
    )
    rate["charge_ratio_now"] = -now.battery_a / (3600.0 * now.capacity_ah)
    rate["mosfet_c"] = (
        mosfet - (now.mosfet_c - AMBIENT_C) / now.mosfet_resistance_k_per_w
    ) / now.mosfet_heat_capacity_j_per_k
    rate["winding_c"] = (
        copper - (now.winding_c - AMBIENT_C) / now.winding_resistance_k_per_w
    ) / now.winding_heat_capacity_j_per_k
    return torque


def _vertical(now: Lanes, rate: dict[str, float], pressed: float) -> None:
    """Fill in the rates of wheel and rider up and down, with tyre and leg loads."""
    deck_mass = now.frame_mass_kg + now.wheel_mass_kg
    now.wheel_load_n = np.maximum(
        (now.mass_kg + deck_mass) * GRAVITY_MPS2
        + now.tyre_stiffness_n_per_m * (now.road_height_m - now.wheel_height_m)
        + now.tyre_damping_n_s_per_m * (now.speed_mps * now.road_slope - now.wheel_rise_mps),
        0.0,
    )
    now.leg_load_n = np.maximum(
        now.mass_kg * GRAVITY_MPS2
        + now.leg_stiffness_n_per_m * (now.wheel_height_m - now.rider_height_m)
        + now.leg_damping_n_s_per_m * (now.wheel_rise_mps - now.rider_rise_mps),
        0.0,
    )
    now.wheel_accel_mps2 = (now.wheel_load_n - now.leg_load_n) / deck_mass - pressed
    rate["wheel_height_m"] = now.wheel_rise_mps
    rate["wheel_rise_mps"] = now.wheel_accel_mps2
    rate["rider_height_m"] = now.rider_rise_mps
    rate["rider_rise_mps"] = now.leg_load_n / now.mass_kg - pressed
    rate["shake_mps2"] = (np.abs(now.wheel_accel_mps2) - now.shake_mps2) / SHAKE_TIME_S


def _feet(now: Lanes, rate: dict[str, float]) -> float:
    """Fill in the rates of the foot moment and the legs; return what presses on the board."""
    legs = now.leg_stiffness_ratio * (
        now.lean_rad - now.pitch_rad + now.leg_rest_rad
    ) + now.leg_damping_s * (now.lean_rate_radps - now.pitch_rate_radps)
    now.foot_limit_nm = now.leg_load_n * now.half_stance_m * now.foot_use_ratio
    rate["foot_moment_nm"] = (now.foot_delayed_nm - now.foot_moment_nm) / now.reflex_lag_s
    rate["leg_rest_rad"] = (now.pitch_rad - now.leg_rest_rad) / LEG_ADAPT_TIME_S
    moment = now.foot_moment_nm + now.rider_mgh_nm * legs
    feet: float = np.clip(moment, -now.foot_limit_nm, now.foot_limit_nm)
    return feet


def rates(now: Lanes, turn_radps: float, headwind_mps: float) -> dict[str, float]:
    """Return the time derivative of every state, and leave forces and voltages in `now`."""
    rate: dict[str, float] = {}
    # At a zero step this only works out what the turn is now.
    lateral = turn_in(now, 0.0, turn_radps)
    torque = _electrical(now, rate)
    gravity = np.hypot(GRAVITY_MPS2, lateral)
    pressed = gravity * np.cos(now.road_grade_rad) + now.speed_mps**2 * now.road_curvature_per_m
    _vertical(now, rate, pressed)
    feet = _feet(now, rate)
    weight_along = now.moving_mass_kg * GRAVITY_MPS2 * np.sin(now.road_grade_rad)
    against = resist(now, headwind_mps, lateral) + now.wheel_load_n * now.road_slope
    force = torque / now.radius_now_m
    now.accel_mps2, pitch_accel, lean_accel = accelerate(
        now,
        now.rolling_mass_kg,
        gravity=gravity,
        axle_mps2=now.wheel_accel_mps2 + now.speed_mps**2 * now.road_curvature_per_m,
        legs_mps2=now.leg_load_n / now.mass_kg - gravity * np.cos(now.road_grade_rad),
        push_n=force - against - weight_along,
        frame_nm=feet - torque,
        rider_nm=-feet,
    )
    omega = 2.0 * np.pi * now.flex_frequency_hz
    return rate | {
        "distance_m": now.speed_mps,
        "speed_mps": now.accel_mps2,
        "pitch_rad": now.pitch_rate_radps,
        "pitch_rate_radps": pitch_accel,
        "lean_rad": now.lean_rate_radps,
        "lean_rate_radps": lean_accel,
        "yaw_rate_radps": (turn_radps - now.yaw_rate_radps) / YAW_TIME_S,
        "turned_rad": now.turned_rate_radps,
        "flex_rad": now.flex_rate_radps,
        "flex_rate_radps": -torque / now.frame_inertia_kg_m2
        - omega * (2.0 * now.flex_damping_ratio * now.flex_rate_radps + omega * now.flex_rad),
    }


def _stand_on(now: Lanes, road: NDArray[np.float64]) -> None:
    """Interpolate the road's columns under the wheel."""
    place = min(max(now.distance_m / TABLE_STEP_M, 0.0), len(road) - 2.0)
    cell = int(place)
    here = road[cell] + (place - cell) * (road[cell + 1] - road[cell])
    vars(now).update(zip(ROAD_NAMES, here.tolist(), strict=True))


def _between(
    lanes: Lanes,
    road: NDArray[np.float64],
    *,
    turn_radps: float,
    headwind_mps: float,
    tolerance: float,
) -> None:
    """Move the plant through one millisecond."""
    numbers = {name: float(values[0]) for name, values in vars(lanes).items()}
    del numbers["noise_seed"]  # whole, and beyond what a float holds exactly
    now = Lanes(**numbers)

    def slope(_: float, state: NDArray[np.float64]) -> list[float]:
        vars(now).update(zip(STATE, state.tolist(), strict=True))
        _stand_on(now, road)
        rate = rates(now, turn_radps, headwind_mps)
        return [float(rate[name]) for name in STATE]

    start = [getattr(now, name) for name in STATE]
    scale = np.maximum(np.abs(start), 1e-3)
    solved = solve_ivp(
        slope, (0.0, DT_S), start, method="DOP853", rtol=tolerance, atol=tolerance * scale
    )
    slope(DT_S, solved.y[:, -1])
    friction = now.road_friction_ratio * now.wheel_load_n
    rim_kg = now.rolling_mass_kg - now.moving_mass_kg
    asked = now.torque_per_amp_nm * now.current_a / now.radius_now_m - rim_kg * now.accel_mps2
    over = -now.pitch_rad - now.road_grade_rad - now.tail_contact_rad
    if abs(asked) > friction or over > 0.0 or now.support > 0.0:
        raise ValueError("the wheel slips or something else than it touches the ground")
    for name, value in vars(now).items():
        setattr(lanes, name, np.array([value]))


def ride_continuously(
    profile: NDArray[np.float64],
    ride: Ride,
    *,
    n_steps: int,
    rows: Mapping[str, float],
    tolerance: float = 1e-9,
) -> dict[str, NDArray[np.float64]]:
    """Ride one lane and return every state after each millisecond, by name.

    Parameters
    ----------
    profile : (parameter,) float64
        In the order of `plant.kernel.lane_layout.PROFILE_NAMES`.
    ride : Ride
        Not from tail-down.
    n_steps : int
        Milliseconds to ride.
    rows : mapping of row name to a number
        Starting values that replace those of board and rider.
    tolerance : float
        Relative tolerance of the solution within each millisecond.
    """
    road, script = road_and_script(ride)
    lanes = starting_lanes(profile[None, :], [ride], grade_rad=[road[0, 2]])
    for name, value in rows.items():
        setattr(lanes, name, np.array([value]))
    reflex = Reflex(lanes)
    record: dict[str, list[float]] = {name: [] for name in STATE}
    for step in range(n_steps):
        point, late = divmod(step, SCRIPT_STEPS)
        share = late / SCRIPT_STEPS
        wanted = ((1.0 - share) * script[point] + share * script[point + 1]).tolist()
        if step % SLOW_STEPS == 0:
            renew(lanes)
        read_road(lanes, road[None], TABLE_STEP_M, of_lane=np.zeros(1, dtype=np.int64))
        lanes.foot_delayed_nm = reflex.read(step)
        sense(lanes, step)
        control(lanes, step)
        ride_on(lanes, step, wanted[0], wanted[3])
        reflex.write(step, lanes.foot_command_nm)
        _between(lanes, road, turn_radps=wanted[1], headwind_mps=wanted[2], tolerance=tolerance)
        for name in STATE:
            record[name].append(float(getattr(lanes, name)[0]))
    return {name: np.array(values) for name, values in record.items()}
