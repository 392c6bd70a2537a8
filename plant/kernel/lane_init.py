"""Initial values of lanes: constants that follow from board and rider, and the starting state.

A riding day sets up a hundred thousand lanes while a GPU rides as many. So lanes are set up
together, as arrays. Their bits are those of Python's numbers: what numpy might do otherwise is
asked of Python, number by number.
"""

import functools
import math
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias, TypeVar

import numpy as np

from plant.arrays import Floats
from plant.compile import entry
from plant.constants import AIR_DENSITY_KG_M3, AMBIENT_C, DT_S, GRAVITY_MPS2
from plant.description.board import Battery, Board, Drive, Motor
from plant.description.cells import CELL_OCV_V, open_circuit_voltage
from plant.description.course import Course, Start
from plant.description.profile_array import PROFILE_NAMES
from plant.description.rider import Rider, lever_and_inertia
from plant.elementary import elementwise
from plant.kernel.lane_layout import N_ROWS, RING_SLOTS, RING_STEPS, WIDTH, R
from plant.kernel.ride_columns import RideColumns, columns_of
from plant.physics.control import warning_widths
from plant.physics.frame_mode import mode_changes
from plant.physics.loop_delay import command_shares
from plant.physics.saturation import saturated, saturation

# Numbers of lanes by name, (lane,) each.
_Columns: TypeAlias = dict[str, Floats]
_Number = TypeVar("_Number", float, Floats)

LEG_FREQUENCY_HZ = 2.5  # assumed: bent knees; ISO 2631-1 bodies resonate at 4-8 Hz seated
LEG_DAMPING_RATIO = 0.4  # assumed: muscles damp well
_ROW_OF = {row.name: row // WIDTH for row in R}  # looked up faster than in an enumeration
_RING = tuple(f"ring_{slot}" for slot in range(RING_SLOTS))
_saturated = entry(saturated)
_CUTS_OUT_PER_V = 1e9
_RPM_TO_TORQUE = math.sqrt(3.0) / 2.0 * 60.0 / (2.0 * math.pi)


def torque_per_amp(kv_rpm_per_v: _Number) -> _Number:
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
    return _per_taper(
        drive.regen_taper_v, battery.series_resistance_ohm, drive.regen_current_limit_a
    )


def _per_taper(band_v: float, resistance_ohm: float, limit_a: float) -> float:
    rise_v = resistance_ohm * limit_a
    return 1.0 / (band_v + rise_v) if band_v > 0.0 else _CUTS_OUT_PER_V


def lag_shares(dt_per_time: Floats) -> Floats:
    """Return `lag_share` by the step over the lag's time, (lane,)."""
    return -elementwise(math.expm1, -dt_per_time)


def _each(function: Callable[..., Any], *columns: Floats) -> Any:
    """Return a function of Python's numbers for every lane, (lane,) or (result, lane)."""
    return np.array(list(map(function, *(column.tolist() for column in columns)))).T


def _squares(numbers: Floats) -> Floats:
    return elementwise(lambda number: number**2, numbers)  # numpy's last bits are others


# Of many lanes, few have a delay, an iron or a charge of their own.
_command_shares = functools.lru_cache(maxsize=256)(command_shares)
_saturation = functools.lru_cache(maxsize=256)(saturation)
_open_circuit_voltage = functools.lru_cache(maxsize=256)(open_circuit_voltage)


def _board_constants(given: _Columns, n_lanes: int) -> _Columns:
    torque = torque_per_amp(given["kv_rpm_per_v"])
    tracking = 2.0 * math.pi * given["speed_tracking_hz"]
    now, was, before = _each(_command_shares, given["loop_delay_s"])
    per_square_a, end_a = _each(
        _saturation, given["saturation_ratio"], given["saturation_current_a"]
    )
    return {
        "torque_per_amp_nm": torque,
        "emf_per_radps_v": torque / 1.5,
        "saturation_per_square_a": per_square_a,
        "saturation_end_a": end_a,
        "deck_mass_kg": given["frame_mass_kg"] + given["wheel_mass_kg"],
        "nose_contact_rad": elementwise(math.radians, given["nose_contact_deg"]),
        "tail_contact_rad": elementwise(math.radians, given["tail_contact_deg"]),
        "flex_rad_per_nm": 1.0
        / (given["frame_inertia_kg_m2"] * _squares(2.0 * math.pi * given["flex_frequency_hz"])),
        "counts_per_rad": 6.0 * given["pole_pairs"] / (2.0 * math.pi),
        # Critically damped tracking loop of second order.
        "tracking_gain_per_s": 2.0 * tracking,
        "tracking_gain_per_s2": _squares(tracking),
        "gyro_share": lag_shares(DT_S / given["gyro_lag_s"]),
        "turn_felt_ratio": 1.0 - given["turn_correction_ratio"],
        "gyro_ramp_share": 1.0 - _mean_shares(DT_S, given["gyro_lag_s"]),
        # What the accelerometer takes for level, once the attitude filter has settled.
        "level_error_rad": elementwise(math.radians, given["imu_tilt_deg"])
        + given["accelerometer_bias_mps2"] / GRAVITY_MPS2,
        "taper_start_v": given["bus_high_v"] - given["regen_taper_v"],
        "per_taper_v": _each(
            _per_taper,
            given["regen_taper_v"],
            given["series_resistance_ohm"],
            given["regen_current_limit_a"],
        ),
        "air_density_kg_m3": np.full(n_lanes, AIR_DENSITY_KG_M3),
        "command_share_now": now,
        "command_share_was": was,
        "command_share_before": before,
    }


def _mean_shares(dt_s: float, time_s: Floats) -> Floats:
    """Return `plant.physics.lag.mean_share` of lags, (lane,)."""
    return lag_shares(dt_s / time_s) * time_s / dt_s


def _frame_mode(given: _Columns, dt_s: float) -> _Columns:
    changes = _each(
        functools.partial(mode_changes, dt_s=dt_s),
        given["flex_frequency_hz"],
        given["flex_damping_ratio"],
    )
    ways = ("angle_by_angle", "angle_by_rate", "rate_by_angle", "rate_by_rate")
    return {f"flex_{way}": change for way, change in zip(ways, changes, strict=True)}


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


def _cell_constants(chemistries: Sequence[str]) -> _Columns:
    """Return the voltage of one cell at rest, at each point of its table."""
    known = sorted(set(chemistries))
    tables = np.array([CELL_OCV_V[chemistry] for chemistry in known])
    of_lanes = tables[[known.index(chemistry) for chemistry in chemistries]].T
    return {f"rest_{point}_v": volts for point, volts in enumerate(of_lanes)}


def _reciprocals(values: _Columns) -> _Columns:
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


def _rider_constants(given: _Columns) -> _Columns:
    mass, ankle = given["mass_kg"], given["deck_height_m"]
    height, inertia = _each(lever_and_inertia, mass, given["stature_m"])
    frame_mh = given["frame_mass_kg"] * given["frame_com_height_m"]
    moving = mass + given["frame_mass_kg"] + given["wheel_mass_kg"]
    leg = 2.0 * math.pi * LEG_FREQUENCY_HZ
    return {
        "frame_mh_kg_m": frame_mh + mass * ankle,
        "frame_j_kg_m2": given["frame_inertia_kg_m2"]
        + frame_mh * given["frame_com_height_m"]
        + mass * _squares(ankle),
        "rider_mh_kg_m": mass * height,
        "rider_j_kg_m2": inertia + mass * _squares(height),
        "rider_mgh_nm": mass * GRAVITY_MPS2 * height,
        "moving_mass_kg": moving,
        "rolling_mass_kg": moving
        + given["wheel_inertia_kg_m2"] / _squares(given["wheel_radius_m"]),
        "leg_stiffness_n_per_m": mass * leg**2,
        "leg_damping_n_s_per_m": 2.0 * LEG_DAMPING_RATIO * mass * leg,
        "half_stance_m": 0.5 * given["stance_m"],
        "step_off_lean_rad": elementwise(math.radians, given["step_off_lean_deg"]),
        "smoothing_share": lag_shares(DT_S / given["smoothing_s"]),
        "reflex_delay_slots": elementwise(reflex_slots, given["reflex_delay_s"]),
    }


def _first(course: Course) -> tuple[float, float, float, float, float]:
    """Return charge (NaN: the board's own), speed, whether tail down, MOSFET and how hard asked."""
    manoeuvre, part = course.manoeuvre, course.part
    charge = manoeuvre.charge_ratio
    start = manoeuvre.start if part is None else Start.ROLLING
    first_mps = manoeuvre.speed_mps[0][1] if part is None else part.speed_mps
    return (
        math.nan if charge is None else charge,
        first_mps if start is Start.ROLLING else 0.0,
        float(start is Start.TAIL_DOWN),
        manoeuvre.first_mosfet_c,
        manoeuvre.ask_ratio,
    )


def _start(values: _Columns, rides: RideColumns, grade_rad: Floats) -> _Columns:
    """Return the starting state: rolling or standing near balance, or tail down."""
    of_courses = np.array([_first(course) for course in rides.courses])
    charge, speed, down, mosfet_c, ask_ratio = of_courses[rides.course_of].T
    tail_down = down > 0.0
    charge = np.where(np.isnan(charge), values["charge_ratio"], charge)
    force = values["moving_mass_kg"] * GRAVITY_MPS2 * elementwise(math.sin, grade_rad)
    moment = np.where(tail_down, 0.0, force * values["wheel_radius_m"])
    current_a = _each(
        _saturated,
        moment / values["torque_per_amp_nm"],
        values["saturation_per_square_a"],
        values["saturation_end_a"],
    )
    # Where the hill asks more than the rider's weight can balance, the ride ends at once.
    balance = force * values["wheel_radius_m"] / values["rider_mgh_nm"]
    # A board that holds itself level holds what it takes for level.
    level = -values["level_error_rad"]
    pitch = np.where(tail_down, -values["tail_contact_rad"] - grade_rad, level)
    attitude = pitch + values["level_error_rad"]
    cell_v = np.array(list(map(_open_circuit_voltage, charge.tolist(), rides.chemistries)))
    limit_a = values["phase_current_limit_a"]
    one, none = np.ones(len(rides)), np.zeros(len(rides))
    state = {
        "alive": one,
        "speed_mps": speed,
        "pitch_rad": pitch,
        "attitude_rad": attitude,
        "engage_pitch_deg": elementwise(math.degrees, attitude),
        "lean_rad": elementwise(math.asin, np.clip(balance, -1.0, 1.0)),
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
        "roll_cosine": one,
        "radius_now_m": values["wheel_radius_m"],
        "per_radius_now": values["per_radius_m"],
        "stiffness_lift": one,
        "engaged": np.where(tail_down, none, one),
        "authority": np.where(tail_down, none, one),
        "support": np.where(tail_down, one, none),
        "start_tail_rad": np.where(tail_down, -values["tail_contact_rad"], none),
        "charge_ratio_now": charge,
        "source_v": values["cells_in_series"] * cell_v,
        "bus_v": values["cells_in_series"] * cell_v,
        "mosfet_c": mosfet_c,
        "winding_c": np.full(len(rides), AMBIENT_C),
        "limit_now_a": limit_a,
        "available_high_a": limit_a,
        "available_low_a": -limit_a,
        "foot_limit_nm": values["mass_kg"] * GRAVITY_MPS2 * values["half_stance_m"],
        "ask_accel_mps2": ask_ratio * values["accel_limit_mps2"],
        "ask_braking_mps2": ask_ratio * values["braking_limit_mps2"],
    }
    return state | dict.fromkeys(_RING, moment)


# Extremes start where every ride's first value replaces them.
_EXTREMES = {
    "least_reserve": 1.0,
    "least_nose_margin": 1.0,
    "bus_low": 1e9,
    "mosfet_peak": -273.0,
    "winding_peak": -273.0,
    "start_jerk": -1.0,  # stays where no tail-down start engages
}


def lane_templates(rides: RideColumns, *, grade_rad: Floats, n_sub: int) -> Floats:
    """Return every row of rides' lanes before their profiles are filled in.

    Parameters
    ----------
    rides : RideColumns
        What is ridden, by whom, and how the rides begin.
    grade_rad : (ride,) float64
        Grade at the start.
    n_sub : int
        Plant sub-steps in each millisecond.

    Returns
    -------
    (ride, row) float64
        In the order of `plant.kernel.lane_layout.R`; the rows of the profile and those
        that follow from it are zero until `fill_profile`.
    """
    step_s = DT_S / n_sub
    values = dict(rides.numbers)
    values |= _board_constants(values, len(rides)) | _rider_constants(values)
    values |= _reciprocals(values) | _cell_constants(rides.chemistries)
    # Two halves: a row holds whole numbers exactly up to 2**53.
    values["noise_key_low"] = (rides.noise_seeds & np.uint64(2**32 - 1)).astype(np.float64)
    values["noise_key_high"] = (rides.noise_seeds >> np.uint64(32)).astype(np.float64)
    values["foot_share"] = lag_shares(step_s / values["reflex_lag_s"])
    values["current_share"] = lag_shares(step_s / values["current_lag_s"])
    values["current_mean_share"] = _mean_shares(step_s, values["current_lag_s"])
    values |= _frame_mode(values, step_s) | _start(values, rides, grade_rad)
    rows = np.zeros((N_ROWS, len(rides)))
    for name, first in _EXTREMES.items():
        rows[_ROW_OF[name]] = first
    for name, column in values.items():
        rows[_ROW_OF[name]] = column
    return rows.T


def lane_template(
    board: Board, rider: Rider, course: Course, *, noise_seed: int, grade_rad: float, n_sub: int
) -> Floats:
    """Return the row of one lane, (row,): see `lane_templates`."""
    ride = columns_of([(course, board, rider, noise_seed)])
    [template] = lane_templates(ride, grade_rad=np.array([grade_rad]), n_sub=n_sub)
    return np.array(template)


def fill_profile(rows: Floats, profiles: Floats) -> None:
    """Write profiles, and what follows from them, into lanes, in place.

    Parameters
    ----------
    rows : (row, lane) float64
    profiles : (lane, parameter) float64
        In the order of `plant.kernel.lane_layout.PROFILE_NAMES`.
    """
    rows[: len(PROFILE_NAMES)] = profiles.T

    def row(name: str) -> Floats:
        values: Floats = rows[R[name] // WIDTH]
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
