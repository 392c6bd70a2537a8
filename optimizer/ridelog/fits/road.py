"""What the road takes: acceleration for each ampere, rolling resistance and air drag.

Over each window the change of speed is what the current gives less gravity, rolling and air.
"""

import numpy as np

from optimizer.ridelog.fits.robust_fit import Fit, Unknown, robust_fit
from optimizer.study.log_data.resampling import RideLog, window_means
from optimizer.study.log_data.rolling import distance_m, recorded_heights
from plant.arrays import Floats
from plant.constants import AIR_DENSITY_KG_M3, GRAVITY_MPS2
from plant.description.board import Board
from plant.kernel.lane_init import torque_per_amp

WINDOW_S = 2.0  # longer than a swing of the rider's body
_BLOCK_S = 20.0
_MOVING_MPS = 0.7  # below, friction turns round and wheel speed is unsure
_FEWEST = 30


def masses(board: Board, rider_mass_kg: float) -> tuple[float, float]:
    """Return the moving mass, and that with the turning wheel's inertia added, in kg."""
    moving = rider_mass_kg + board.wheel.wheel_mass_kg + board.frame.frame_mass_kg
    return moving, moving + board.wheel.wheel_inertia_kg_m2 / board.wheel.wheel_radius_m**2


def kv_of_load(expected_current_a_per_mps2: float, board: Board, rider_mass_kg: float) -> float:
    """Return the Kv in rpm/V of a motor with which an acceleration takes so much current."""
    _, felt_kg = masses(board, rider_mass_kg)
    torque_per_mps2 = felt_kg * board.wheel.wheel_radius_m
    return torque_per_amp(1.0) * expected_current_a_per_mps2 / torque_per_mps2


def grade_sine(log: RideLog) -> Floats | None:
    """Return the sine of the grade from the altitude over the distance; None without altitude."""
    recorded = recorded_heights(log)
    if recorded is None:
        return None
    route, start_m = recorded
    slope = np.gradient(route.height_m, route.distance_m)
    at = np.interp(distance_m(log) - start_m, route.distance_m, slope)
    return np.asarray(at / np.sqrt(1.0 + at * at))


def fit_road(log: RideLog, board: Board, rider_mass_kg: float) -> Fit | str:
    """Return the fit, or why there is none.

    Estimates `expected_current_a_per_mps2` (over the acceleration that an ampere gives),
    `rolling_ratio`, and `drag_area_m2`, the last with the masses taken as true.
    """
    if not log.has("current_a", "speed_mps"):
        return "needs motor current and wheel speed"
    moving_kg, felt_kg = masses(board, rider_mass_kg)
    width = max(round(WINDOW_S / log.dt_s), 2)
    speed = log.signals["speed_mps"]
    sine = grade_sine(log)
    climb = np.zeros_like(speed) if sine is None else sine
    change = window_means(log, _change(log, width), width)
    current = window_means(log, log.signals["current_a"], width)
    square = window_means(log, speed * np.abs(speed), width)
    forward = window_means(log, np.sign(speed) * np.sqrt(1.0 - climb**2), width)
    climbing = window_means(log, climb, width)
    slowest = window_means(log, (np.abs(speed) < _MOVING_MPS).astype(np.float64), width)
    time_s = window_means(log, log.time_s, width)
    rows = np.isfinite(change + current + square + climbing) & (slowest == 0.0)
    if np.count_nonzero(rows) < _FEWEST:
        return f"needs a minute of riding above {_MOVING_MPS:g} m/s"
    weight_ratio = moving_kg / felt_kg * GRAVITY_MPS2
    air = 0.5 * AIR_DENSITY_KG_M3 / felt_kg
    change, current, square = change[rows], current[rows], square[rows]
    forward, climbing = forward[rows], climbing[rows]

    def residuals(unknown: Floats) -> Floats:
        expected, rolling, drag_area = unknown
        model = current / expected - weight_ratio * (rolling * forward + climbing)
        return np.asarray(change - model + air * drag_area * square)

    undetermined = [
        "drag_area_m2 holds any steady wind: ride the route both ways",
        "rolling_ratio is the mean over the ride's surfaces",
    ]
    if sine is None:
        undetermined.append("rolling_ratio holds the mean grade, for the log has no altitude")
    if np.ptp(np.abs(speed[np.isfinite(speed)])) < 3.0:
        undetermined.append(
            "rolling and drag are alike over a speed range below 3 m/s: ride faster too"
        )
    return robust_fit(
        residuals,
        (
            Unknown(name="expected_current_a_per_mps2", start=20.0, low=0.5, high=200.0),
            Unknown(name="rolling_ratio", start=0.015, low=-0.1, high=0.5),
            Unknown(name="drag_area_m2", start=0.6, low=-1.0, high=3.0),
        ),
        title="Road load",
        time_s=time_s[rows],
        residual_unit="m/s2",
        block_rows=round(_BLOCK_S / WINDOW_S),
        undetermined=undetermined,
    )


def _change(log: RideLog, width: int) -> Floats:
    """Return values whose mean over a window is the change of speed over it, in m/s2."""
    change = np.full_like(log.time_s, np.nan)
    for part in log.parts():
        speed = log.signals["speed_mps"][part]
        change[part] = np.gradient(speed, log.dt_s) if len(speed) >= width else np.nan
    return change


def grade_from_load(fit: Fit, board: Board, rider_mass_kg: float) -> Floats:
    """Return the sine of the grade that the fitted road load leaves unexplained, (row,)."""
    moving_kg, felt_kg = masses(board, rider_mass_kg)
    return np.asarray(-fit.residual * felt_kg / (moving_kg * GRAVITY_MPS2))
