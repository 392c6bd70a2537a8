"""What rides are judged by and how they end, over a batch of lanes."""

from types import SimpleNamespace as Lanes

import numpy as np

from plant.arrays import Flags, Floats
from plant.kernel.outcomes import Outcome
from tests.reference.constants import (
    ACCEL_TIME_S,
    DEMAND_TIME_S,
    DT_S,
    FEEL_ACCEL_MPS2,
    GRAVITY_MPS2,
    HARD_TAIL_RAD,
    LEAST_FEEL,
    LEVEL_RAD,
    OFF_SPEED_MPS,
    OFF_TIME_S,
    ROLL_BACK_LIMIT_MPS,
    SETTLED_DEG,
    WARNING_PERCEIVED_DEG,
)
from tests.reference.wk_weighting import digital_sections

_WK_SECTIONS = digital_sections().tolist()


def _valid(lanes: Lanes) -> Flags:
    """Return which lanes are inside what the model can describe; NaN is not."""
    bounds = {
        "pitch_rad": 1.0,
        "lean_rad": 1.0,
        "speed_mps": 40.0,
        "current_a": 2000.0,
        "wheel_height_m": 2.0,
    }
    return np.all([np.abs(getattr(lanes, name)) < most for name, most in bounds.items()], axis=0)


def _ending(lanes: Lanes, valid: Flags) -> Floats:
    """Return why each ride ends now, 0 while it goes on; the first reason that holds counts."""
    reasons = [
        (~valid, Outcome.OUTSIDE_MODEL),
        (lanes.ground_pitch_rad > lanes.nose_contact_rad, Outcome.NOSE_DOWN),
        (
            lanes.ground_pitch_rad < -lanes.tail_contact_rad - HARD_TAIL_RAD,
            Outcome.TAIL_STRIKE,
        ),
        (np.abs(lanes.lean_rad) > lanes.step_off_lean_rad, Outcome.RIDER_OFF),
        (lanes.bus_v > lanes.bus_high_v, Outcome.BUS_TOO_HIGH),
        (lanes.bus_v < lanes.bus_low_v, Outcome.BUS_TOO_LOW),
        (lanes.speed_mps < -ROLL_BACK_LIMIT_MPS, Outcome.SPEED_LOST),
        (lanes.off_time_s > OFF_TIME_S, Outcome.SPEED_LOST),
    ]
    return np.select([holds for holds, _ in reasons], [float(code) for _, code in reasons], 0.0)


def _weighted(lanes: Lanes, on: Flags) -> Floats:
    """Pass the wheel's vertical acceleration through the four sections of Wk."""
    signal = np.where(on, (lanes.wheel_rise_mps - lanes.wheel_rise_was) / DT_S, 0.0)
    lanes.wheel_rise_was = lanes.wheel_rise_mps
    for number, (b0, b1, b2, _, a1, a2) in enumerate(_WK_SECTIONS):
        first, second = f"weighting_{2 * number + 1}", f"weighting_{2 * number + 2}"
        filtered = b0 * signal + getattr(lanes, first)
        setattr(lanes, first, b1 * signal - a1 * filtered + getattr(lanes, second))
        setattr(lanes, second, b2 * signal - a2 * filtered)
        signal = filtered
    return signal


def _keep(lanes: Lanes, name: str, value: Floats, when: Flags, *, least: bool = False) -> None:
    """Keep the largest, or least, value so far."""
    so_far = getattr(lanes, name)
    better = value < so_far if least else value > so_far
    setattr(lanes, name, np.where(when & better, value, so_far))


def _add(lanes: Lanes, name: str, value: Floats, when: Flags) -> None:
    setattr(lanes, name, getattr(lanes, name) + np.where(when, value, 0.0))


def end_rides(lanes: Lanes) -> tuple[Flags, Floats]:
    """End the rides that are over; return which lanes still count and their time step."""
    riding = lanes.alive > 0.5
    on = riding & _valid(lanes)
    dt = np.where(on, DT_S, 0.0)
    off = np.abs(lanes.speed_mps - lanes.speed_wanted_now_mps) > OFF_SPEED_MPS
    lanes.off_time_s = np.where(off, lanes.off_time_s + dt, 0.0)
    code = _ending(lanes, _valid(lanes))
    lanes.outcome = np.where(riding, code, lanes.outcome)
    lanes.alive = np.where(code == 0.0, lanes.alive, 0.0)
    return on, dt


def measure_ride(lanes: Lanes, on: Flags, dt: Floats, hold: Floats, count: Floats) -> None:
    """Update what the ride's level-holding, currents and margins are judged by."""
    pitch_deg = np.degrees(lanes.pitch_rad)
    lanes.ride_time_s = lanes.ride_time_s + dt
    held = dt * hold
    _add(lanes, "hold_time_s", held, on)
    _add(lanes, "hold_pitch_deg_s", held * pitch_deg, on)
    _keep(lanes, "hold_pitch_most", pitch_deg, on & (held > 0.0))
    _add(lanes, "hold_square_deg2_s", held * pitch_deg**2, on)
    _add(lanes, "hold_rate_square", held * np.degrees(lanes.pitch_rate_radps) ** 2, on)
    size = np.abs(lanes.current_a)
    _keep(lanes, "peak_a", size, on)
    _keep(lanes, "roll_back", -lanes.speed_mps, on)
    _keep(lanes, "counted_excess_a", size - np.abs(lanes.need_a), on & (count > 0.5))
    lanes.demand_a = lanes.demand_a + (lanes.current_raw_a - lanes.demand_a) * (
        DT_S / DEMAND_TIME_S
    )
    reserve = (lanes.available_high_a - lanes.demand_a) / lanes.phase_current_limit_a
    _keep(lanes, "least_reserve", reserve, on, least=True)
    margin = 1.0 - lanes.ground_pitch_rad / lanes.nose_contact_rad
    _keep(lanes, "least_nose_margin", margin, on, least=True)
    _add(lanes, "vibration_square", dt * _weighted(lanes, on) ** 2, on)
    _add(lanes, "energy_j", dt * lanes.bus_v * lanes.battery_a, on)
    _keep(lanes, "mosfet_peak", lanes.mosfet_c, on)
    _keep(lanes, "winding_peak", lanes.winding_c, on)
    _keep(lanes, "bus_high", lanes.bus_v, on)
    _keep(lanes, "bus_low", lanes.bus_v, on, least=True)
    _keep(lanes, "battery_peak", lanes.battery_a, on)
    _add(lanes, "warning_time", dt, lanes.warning_now_deg >= WARNING_PERCEIVED_DEG)


def measure_feel(lanes: Lanes, on: Flags, dt: Floats, rise: Floats) -> None:
    """Update what the rider feels: pitch per acceleration, effort, start, traction."""
    pitch_deg = np.degrees(lanes.pitch_rad)
    smooth = lanes.accel_smooth_mps2
    smooth = smooth + (lanes.accel_mps2 - smooth) * (DT_S / ACCEL_TIME_S)
    lanes.accel_smooth_mps2 = smooth
    change = (smooth - lanes.accel_smoother_mps2) / ACCEL_TIME_S
    lanes.accel_smoother_mps2 = lanes.accel_smoother_mps2 + change * DT_S
    level = on & (np.abs(lanes.road_grade_rad) < LEVEL_RAD) & (lanes.support < 0.5)
    gains = level & (np.minimum(smooth, lanes.accel_wanted_mps2) > FEEL_ACCEL_MPS2)
    brakes = level & (np.maximum(smooth, lanes.accel_wanted_mps2) < -FEEL_ACCEL_MPS2)
    for name, counted in (("feel", gains), ("braking", brakes)):
        _add(lanes, f"{name}_product", smooth * pitch_deg * dt, counted)
        _add(lanes, f"{name}_square", smooth**2 * dt, counted)
    standing = lanes.mass_kg * GRAVITY_MPS2 * lanes.half_stance_m * lanes.foot_use_ratio
    effort = -lanes.board_moment_nm / standing
    _keep(lanes, "tail_effort", effort, on & (lanes.support < 0.5))
    starting = (lanes.start_tail_rad < 0.0) & (lanes.engaged > 0.5)
    _keep(lanes, "start_jerk", np.abs(change), on & starting)
    settled = (lanes.authority >= 1.0) & (np.abs(pitch_deg) < SETTLED_DEG)
    lanes.started_s = np.where(settled, 1.0, lanes.started_s)
    _add(lanes, "start_time_s", dt, on & (rise > 0.0) & (lanes.started_s < 0.5))
    most = np.maximum(lanes.wheel_load_n * lanes.road_friction_ratio, 1.0)
    _keep(lanes, "traction_peak", np.minimum(np.abs(lanes.traction_n) / most, 1.0), on)


def metrics(lanes: Lanes) -> dict[str, Floats]:
    """Return the metrics of finished rides by name."""

    def share(top: Floats, under: Floats) -> Floats:
        return np.where(under > 0.0, top / np.where(under > 0.0, under, 1.0), 0.0)

    def pitch_per(product: Floats, square: Floats) -> Floats:
        return np.where(square > LEAST_FEEL, share(product, square), np.nan)

    tail_down = lanes.start_tail_rad < 0.0
    square_mean = {
        "hold_pitch_rms_deg": share(lanes.hold_square_deg2_s, lanes.hold_time_s),
        "hold_pitch_rate_rms_deg_per_s": share(lanes.hold_rate_square, lanes.hold_time_s),
        "vibration_mps2": share(lanes.vibration_square, lanes.ride_time_s),
    }
    plain = {
        "excess_current_a": "counted_excess_a",
        "hold_pitch_most_deg": "hold_pitch_most",
        "peak_current_a": "peak_a",
        "least_reserve_ratio": "least_reserve",
        "least_nose_margin_ratio": "least_nose_margin",
        "tail_effort_ratio": "tail_effort",
        "traction_peak_ratio": "traction_peak",
        "mosfet_peak_c": "mosfet_peak",
        "winding_peak_c": "winding_peak",
        "bus_high_v": "bus_high",
        "bus_low_v": "bus_low",
        "battery_peak_a": "battery_peak",
        "warning_time_s": "warning_time",
        "end_speed_mps": "speed_mps",
        "roll_back_mps": "roll_back",
        "ride_time_s": "ride_time_s",
        "distance_m": "distance_m",
    }
    return (
        {name: getattr(lanes, row) for name, row in plain.items()}
        | {name: np.sqrt(value) for name, value in square_mean.items()}
        | {
            "energy_wh": lanes.energy_j / 3600.0,
            "hold_pitch_mean_deg": share(lanes.hold_pitch_deg_s, lanes.hold_time_s),
            "feel_deg_per_mps2": pitch_per(lanes.feel_product, lanes.feel_square),
            "braking_feel_deg_per_mps2": pitch_per(lanes.braking_product, lanes.braking_square),
            "start_jerk_mps3": np.where(
                tail_down & (lanes.engaged > 0.5), lanes.start_jerk, np.nan
            ),
            "start_delay_s": np.where(tail_down, lanes.start_time_s, np.nan),
        }
    )
