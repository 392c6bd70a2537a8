"""Initial values of a lane: constants that follow from board and rider, and the starting state."""

import functools
import math

import numpy as np
from numpy.typing import NDArray

from plant.compile import entry
from plant.constants import AIR_DENSITY_KG_M3, AMBIENT_C, DT_S, GRAVITY_MPS2
from plant.description.board import Battery, Board, Drive, Frame, Motor
from plant.description.cells import CELL_OCV_V, open_circuit_voltage
from plant.description.course import Course, Start
from plant.description.profile_array import PROFILE_NAMES
from plant.description.quantity import numbers_of
from plant.description.rider import Rider
from plant.elementary import elementwise
from plant.kernel.lane_layout import N_ROWS, RING_SLOTS, RING_STEPS, WIDTH, R
from plant.physics.control import warning_widths
from plant.physics.frame_mode import mode_changes
from plant.physics.lag import lag_share, mean_share
from plant.physics.loop_delay import command_shares
from plant.physics.saturation import saturated, saturation

LEG_FREQUENCY_HZ = 2.5  # assumed: bent knees; ISO 2631-1 bodies resonate at 4-8 Hz seated
LEG_DAMPING_RATIO = 0.4  # assumed: muscles damp well
_ROW_OF = {row.name: row // WIDTH for row in R}  # looked up faster than in an enumeration
_RING = tuple(f"ring_{slot}" for slot in range(RING_SLOTS))
_saturated = entry(saturated)
_CUTS_OUT_PER_V = 1e9
_RPM_TO_TORQUE = math.sqrt(3.0) / 2.0 * 60.0 / (2.0 * math.pi)


def torque_per_amp(kv_rpm_per_v: float) -> float:
    """Return Kt in N m per A of amplitude-invariant q current, before saturation.

    Kt = (sqrt(3)/2) 60 / (2 pi Kv) = 8.26993 / Kv, with Kv in rpm per volt of line-to-line peak
    (flux linkage of the surface-magnet PMSM: lambda = Ke / (sqrt(3) p), Te = 1.5 p lambda iq).
    """
    return _RPM_TO_TORQUE / kv_rpm_per_v


def saturation_of(motor: Motor) -> tuple[float, float]:
    """Return the motor's saturation as `plant.physics.saturation` takes it, in 1/A^2 and A."""
    return saturation(motor.saturation_ratio, motor.saturation_current_a)


def per_taper(drive: Drive, battery: Battery) -> float:
    """Return the share of the charging limit for each V from the pack's source to `bus_high_v`.

    A share x = (high - V) / band of the limit flows at V = E + r x limit: x = (high - E) /
    (band + r limit). A drive without a band charges in full until it cuts out.
    """
    rise_v = battery.series_resistance_ohm * drive.regen_current_limit_a
    return 1.0 / (drive.regen_taper_v + rise_v) if drive.regen_taper_v > 0.0 else _CUTS_OUT_PER_V


def lag_shares(dt_per_time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return `lag_share` by the step over the lag's time, (lane,)."""
    return -elementwise(math.expm1, -dt_per_time)


def _board_constants(board: Board) -> dict[str, float]:
    torque = torque_per_amp(board.motor.kv_rpm_per_v)
    frame, wheel, sensors = board.frame, board.wheel, board.sensors
    tracking = 2.0 * math.pi * sensors.speed_tracking_hz
    per_square_a, end_a = saturation_of(board.motor)
    return {
        "torque_per_amp_nm": torque,
        "emf_per_radps_v": torque / 1.5,
        "saturation_per_square_a": per_square_a,
        "saturation_end_a": end_a,
        "deck_mass_kg": frame.frame_mass_kg + wheel.wheel_mass_kg,
        "nose_contact_rad": math.radians(frame.nose_contact_deg),
        "tail_contact_rad": math.radians(frame.tail_contact_deg),
        "flex_rad_per_nm": 1.0
        / (frame.frame_inertia_kg_m2 * (2.0 * math.pi * frame.flex_frequency_hz) ** 2),
        "counts_per_rad": 6.0 * board.motor.pole_pairs / (2.0 * math.pi),
        # Critically damped tracking loop of second order.
        "tracking_gain_per_s": 2.0 * tracking,
        "tracking_gain_per_s2": tracking**2,
        "gyro_share": lag_share(DT_S, sensors.gyro_lag_s),
        "turn_felt_ratio": 1.0 - sensors.turn_correction_ratio,
        "gyro_ramp_share": 1.0 - mean_share(DT_S, sensors.gyro_lag_s),
        # What the accelerometer takes for level, once the attitude filter has settled.
        "level_error_rad": math.radians(sensors.imu_tilt_deg)
        + sensors.accelerometer_bias_mps2 / GRAVITY_MPS2,
        "taper_start_v": board.taper_start_v,
        "per_taper_v": per_taper(board.drive, board.battery),
        "air_density_kg_m3": AIR_DENSITY_KG_M3,
    } | _command_shares(board.drive.loop_delay_s)


def _frame_mode(frame: Frame, dt_s: float) -> dict[str, float]:
    changes = mode_changes(frame.flex_frequency_hz, frame.flex_damping_ratio, dt_s)
    ways = ("angle_by_angle", "angle_by_rate", "rate_by_angle", "rate_by_rate")
    return {f"flex_{way}": change for way, change in zip(ways, changes, strict=True)}


@functools.lru_cache(maxsize=256)  # of many lanes, few have a delay of their own
def _command_shares(loop_delay_s: float) -> dict[str, float]:
    ages = ("now", "was", "before")
    shares = command_shares(loop_delay_s)
    return {f"command_share_{age}": share for age, share in zip(ages, shares, strict=True)}


# Reciprocal row -> the row it is taken of, and a factor on that row.
_RECIPROCALS = {
    "per_radius_m": ("wheel_radius_m", 1.0),
    "per_nose_contact": ("nose_contact_rad", 1.0),
    "per_torque_per_amp": ("torque_per_amp_nm", 1.0),
    "per_frame_j": ("frame_j_kg_m2", 1.0),
    "per_rider_j": ("rider_j_kg_m2", 1.0),
    "per_deck_mass": ("deck_mass_kg", 1.0),
    "per_rider_mass": ("mass_kg", 1.0),
    "per_phase_limit": ("phase_current_limit_a", 1.0),
    "per_counts_per_rad": ("counts_per_rad", 1.0),
    "per_attitude_time": ("attitude_time_s", 1.0),
    "per_rc_time": ("rc_time_s", 1.0),
    "per_charge": ("capacity_ah", 3600.0),
    "per_mosfet_heat_capacity": ("mosfet_heat_capacity_j_per_k", 1.0),
    "per_mosfet_resistance": ("mosfet_resistance_k_per_w", 1.0),
    "per_winding_heat_capacity": ("winding_heat_capacity_j_per_k", 1.0),
    "per_winding_resistance": ("winding_resistance_k_per_w", 1.0),
}


@functools.cache
def _cell_constants(chemistry: str) -> dict[str, float]:
    """Return the voltage of one cell at rest, at each point of its table."""
    return {f"rest_{point}_v": volts for point, volts in enumerate(CELL_OCV_V[chemistry])}


def _reciprocals(values: dict[str, float]) -> dict[str, float]:
    found = {name: 1.0 / (values[of] * factor) for name, (of, factor) in _RECIPROCALS.items()}
    rim_mass = values["rolling_mass_kg"] - values["moving_mass_kg"]
    standing = values["mass_kg"] * GRAVITY_MPS2 * values["half_stance_m"] * values["foot_use_ratio"]
    return found | {"per_rim_mass": 1.0 / rim_mass, "per_standing_limit": 1.0 / standing}


def reflex_slots(delay_s: float) -> int:
    """Return how many slots back the reflex reads, so that its mean delay is the nearest.

    A slot keeps its last command for all its steps: what is read is a step and a half younger
    than the slots say, on the mean. The slot being filled holds what was asked a ring ago.
    """
    held = 0.5 * (RING_STEPS - 1) * DT_S
    return max(round((delay_s + held) / (RING_STEPS * DT_S)), 1)


def _rider_constants(rider: Rider, board: Board) -> dict[str, float]:
    mass, height = rider.body.mass_kg, rider.com_above_ankle_m
    frame, ankle = board.frame, rider.body.deck_height_m
    frame_mh = frame.frame_mass_kg * frame.frame_com_height_m
    moving = mass + board.frame.frame_mass_kg + board.wheel.wheel_mass_kg
    leg = 2.0 * math.pi * LEG_FREQUENCY_HZ
    skill = rider.skill
    return {
        "frame_mh_kg_m": frame_mh + mass * ankle,
        "frame_j_kg_m2": frame.frame_inertia_kg_m2
        + frame_mh * frame.frame_com_height_m
        + mass * ankle**2,
        "rider_mh_kg_m": mass * height,
        "rider_j_kg_m2": rider.inertia_kg_m2 + mass * height**2,
        "rider_mgh_nm": mass * GRAVITY_MPS2 * height,
        "moving_mass_kg": moving,
        "rolling_mass_kg": moving + board.wheel.wheel_inertia_kg_m2 / board.wheel.wheel_radius_m**2,
        "leg_stiffness_n_per_m": mass * leg**2,
        "leg_damping_n_s_per_m": 2.0 * LEG_DAMPING_RATIO * mass * leg,
        "half_stance_m": 0.5 * rider.body.stance_m,
        "step_off_lean_rad": math.radians(skill.step_off_lean_deg),
        "smoothing_share": lag_share(DT_S, skill.smoothing_s),
        "reflex_delay_slots": reflex_slots(skill.reflex_delay_s),
    }


def _start(
    values: dict[str, float], chemistry: str, course: Course, grade_rad: float
) -> dict[str, float]:
    """Return the starting state: rolling or standing near balance, or tail down."""
    manoeuvre, part = course.manoeuvre, course.part
    charge = manoeuvre.charge_ratio
    charge = values["charge_ratio"] if charge is None else charge
    start = manoeuvre.start if part is None else Start.ROLLING
    first_mps = manoeuvre.speed_mps[0][1] if part is None else part.speed_mps
    speed = first_mps if start is Start.ROLLING else 0.0
    tail_down = start is Start.TAIL_DOWN
    force = values["moving_mass_kg"] * GRAVITY_MPS2 * math.sin(grade_rad)
    moment = 0.0 if tail_down else force * values["wheel_radius_m"]
    current_a = _saturated(
        moment / values["torque_per_amp_nm"],
        values["saturation_per_square_a"],
        values["saturation_end_a"],
    )
    # Where the hill asks more than the rider's weight can balance, the ride ends at once.
    balance = force * values["wheel_radius_m"] / values["rider_mgh_nm"]
    # A board that holds itself level holds what it takes for level.
    level = -values["level_error_rad"]
    pitch = -values["tail_contact_rad"] - grade_rad if tail_down else level
    attitude = pitch + values["level_error_rad"]
    cell_v = open_circuit_voltage(charge, chemistry)
    state: dict[str, float] = {
        "alive": 1.0,
        "speed_mps": speed,
        "pitch_rad": pitch,
        "attitude_rad": attitude,
        "engage_pitch_deg": math.degrees(attitude),
        "lean_rad": math.asin(min(max(balance, -1.0), 1.0)),
        "foot_moment_nm": moment,
        "foot_delayed_nm": moment,
        "foot_command_nm": moment,
        "current_a": current_a,
        "wanted_was_a": current_a,
        "wanted_before_a": current_a,
        "leg_rest_rad": pitch,
        "guide_pitch_rad": pitch,
        "road_grade_rad": grade_rad,
        "seen_grade_rad": grade_rad,
        "ground_pitch_rad": pitch + grade_rad,
        "rotor_angle_rad": -pitch,
        "rotor_speed_radps": speed / values["wheel_radius_m"],
        "speed_filtered_mps": speed,
        "accel_lag_mps": speed,
        "roll_cosine": 1.0,
        "radius_now_m": values["wheel_radius_m"],
        "per_radius_now": values["per_radius_m"],
        "stiffness_lift": 1.0,
        "engaged": 0.0 if tail_down else 1.0,
        "authority": 0.0 if tail_down else 1.0,
        "support": 1.0 if tail_down else 0.0,
        "start_tail_rad": -values["tail_contact_rad"] if tail_down else 0.0,
        "charge_ratio_now": charge,
        "source_v": values["cells_in_series"] * cell_v,
        "bus_v": values["cells_in_series"] * cell_v,
        "mosfet_c": manoeuvre.first_mosfet_c,
        "winding_c": AMBIENT_C,
        "limit_now_a": values["phase_current_limit_a"],
        "available_high_a": values["phase_current_limit_a"],
        "available_low_a": -values["phase_current_limit_a"],
        "foot_limit_nm": values["mass_kg"] * GRAVITY_MPS2 * values["half_stance_m"],
        "ask_accel_mps2": manoeuvre.ask_ratio * values["accel_limit_mps2"],
        "ask_braking_mps2": manoeuvre.ask_ratio * values["braking_limit_mps2"],
    }
    return state | dict.fromkeys(_RING, moment)


# Extremes start where every ride's first value replaces them.
_FIRST = {
    "least_reserve": 1.0,
    "least_nose_margin": 1.0,
    "bus_low": 1e9,
    "mosfet_peak": -273.0,
    "winding_peak": -273.0,
    "start_jerk": -1.0,  # stays where no tail-down start engages
}


def lane_template(
    board: Board, rider: Rider, course: Course, *, noise_seed: int, grade_rad: float, n_sub: int
) -> NDArray[np.float64]:
    """Return every row of a lane before its profile is filled in.

    Parameters
    ----------
    board, rider, course
        What is ridden, by whom, and how the ride begins.
    noise_seed : int
        Below 2**64.
    grade_rad : float
        Grade at the start.
    n_sub : int
        Plant sub-steps in each millisecond.

    Returns
    -------
    (row,) float64
        In the order of `plant.kernel.lane_layout.R`; the rows of the profile and those
        that follow from it are zero until `fill_profile`.
    """
    values = numbers_of(board) | numbers_of(rider)
    values |= _board_constants(board) | _rider_constants(rider, board)
    values |= _reciprocals(values) | _cell_constants(board.battery.chemistry)
    # Two halves: a row holds whole numbers exactly up to 2**53.
    values["noise_key_low"] = float(noise_seed % 2**32)
    values["noise_key_high"] = float(noise_seed // 2**32)
    values["foot_share"] = lag_share(DT_S / n_sub, rider.skill.reflex_lag_s)
    values["current_share"] = lag_share(DT_S / n_sub, board.drive.current_lag_s)
    values["current_mean_share"] = mean_share(DT_S / n_sub, board.drive.current_lag_s)
    values |= _frame_mode(board.frame, DT_S / n_sub)
    values |= _start(values, board.battery.chemistry, course, grade_rad) | _FIRST
    template = np.zeros(N_ROWS)
    template[_rows(tuple(values))] = list(values.values())
    return template


@functools.cache
def _rows(names: tuple[str, ...]) -> NDArray[np.intp]:
    """Return the rows of some numbers of a lane, of which the names hardly change."""
    return np.array([_ROW_OF[name] for name in names])


def fill_profile(rows: NDArray[np.float64], profiles: NDArray[np.float64]) -> None:
    """Write profiles, and what follows from them, into lanes, in place.

    Parameters
    ----------
    rows : (row, lane) float64
    profiles : (lane, parameter) float64
        In the order of `plant.kernel.lane_layout.PROFILE_NAMES`.
    """
    rows[: len(PROFILE_NAMES)] = profiles.T

    def row(name: str) -> NDArray[np.float64]:
        values: NDArray[np.float64] = rows[R[name] // WIDTH]
        return values

    row("rate_share")[:] = lag_shares(2.0 * np.pi * DT_S * row("rate_filter_hz"))
    row("accel_share")[:] = lag_shares(2.0 * np.pi * DT_S * row("acceleration_filter_hz"))
    row("turn_share")[:] = lag_shares(DT_S / row("turn_build_up_s"))
    row("per_expected_current")[:] = 1.0 / row("expected_current_a_per_mps2")
    row("build_up_per_step")[:] = DT_S / row("torque_build_up_s")
    widths = warning_widths(
        row("reserve_warning_ratio"), row("heat_warning_margin_k"), row("bus_warning_margin_v")
    )
    for name, width in zip(
        ("per_reserve_width", "per_heat_width", "per_bus_width"), widths, strict=True
    ):
        row(name)[:] = 1.0 / width
