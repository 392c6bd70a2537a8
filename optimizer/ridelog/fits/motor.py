"""The motor from voltage, current and speed: Kv, phase resistance, inductance.

With the duty: the steady-state voltage of a surface-magnet machine, its q-axis current alone
flowing. Without: the power that the pack gives. The model is computed sample by sample and then
averaged, for it is not linear; the windows are long against the current's noise, which would make
the resistance look smaller (errors in a regressor: Fuller 1987; from memory).
"""

import math

import numpy as np
from numpy.typing import NDArray

from optimizer.ridelog.fits.robust_fit import Fit, Unknown, robust_fit
from optimizer.study.log_data.resampling import RideLog, window_means
from plant.arrays import Floats
from plant.constants import COPPER_PER_K, COPPER_REFERENCE_C
from plant.description.board import Board

_WINDOW_S = 0.5
_BLOCK_S = 10.0
_FEWEST = 60
_LEAST_V = 1.0  # below, noise turns the voltage round
_LEAST_MPS = 0.3
_RPM = 30.0 / math.pi


def fit_motor(log: RideLog, board: Board) -> Fit | str:
    """Return the fit, or why there is none.

    Estimates `kv_rpm_per_v`, `phase_resistance_ohm` (at 20 degC where the winding's temperature is
    logged) and, from the duty, `phase_inductance_h`.
    """
    if not log.has("current_a", "speed_mps", "bus_v"):
        return "needs motor current, wheel speed and pack voltage"
    if log.has("duty_ratio"):
        return _by_voltage(log, board)
    if log.has("pack_a"):
        return _by_power(log, board)
    return "needs the duty or the pack current as well"


class _Windows:
    """Means over windows in which every sample is of use."""

    def __init__(self, log: RideLog, good: NDArray[np.bool_]) -> None:
        self._log = log
        self._width = max(round(_WINDOW_S / log.dt_s), 1)
        self._rows = window_means(log, good.astype(np.float64), self._width) == 1.0

    def means(self, values: Floats) -> Floats:
        """Return the means, (window,)."""
        return np.asarray(window_means(self._log, values, self._width)[self._rows])


def _warmth(log: RideLog) -> list[str]:
    if log.has("winding_c"):
        return []
    return ["phase_resistance_ohm is that of the warm winding: its temperature is not logged"]


def _copper(log: RideLog) -> Floats:
    """Return the winding's resistance over that at 20 degC, (sample,)."""
    if not log.has("winding_c"):
        return np.ones_like(log.time_s)
    return 1.0 + COPPER_PER_K * (log.signals["winding_c"] - COPPER_REFERENCE_C)


def _by_voltage(log: RideLog, board: Board) -> Fit | str:
    current = log.signals["current_a"]
    wheel = log.signals["speed_mps"] / board.wheel.wheel_radius_m
    voltage = np.abs(log.signals["duty_ratio"]) * log.signals["bus_v"] / math.sqrt(3.0)
    copper = _copper(log)
    turning = board.motor.pole_pairs * wheel
    windows = _Windows(log, np.isfinite(current + wheel + copper) & (voltage > _LEAST_V))
    time_s = windows.means(log.time_s)
    if len(time_s) < _FEWEST:
        return "needs half a minute of riding"
    switches = board.drive.mosfet_resistance_ohm

    def residuals(unknown: Floats) -> Floats:
        kv, resistance, inductance = unknown
        emf = wheel * _RPM / (math.sqrt(3.0) * kv)
        along = emf + (resistance * copper + switches) * current
        return windows.means(voltage - np.hypot(along, turning * inductance * current))

    return robust_fit(
        residuals,
        (
            *_both(board),
            # From above: the voltage goes with its square, so from nothing there is no way up.
            Unknown(
                name="phase_inductance_h",
                start=3.0 * board.motor.phase_inductance_h,
                low=1e-5,
                high=5e-3,
            ),
        ),
        title="Motor voltage",
        time_s=time_s,
        residual_unit="V",
        block_rows=round(_BLOCK_S / _WINDOW_S),
        undetermined=[
            *_warmth(log),
            "saturation_ratio: it moves the voltage by speed times the square of current, as the"
            " inductance does; the catalogue board's is kept",
        ],
    )


def _both(board: Board) -> tuple[Unknown, Unknown]:
    motor = board.motor
    return (
        Unknown(name="kv_rpm_per_v", start=motor.kv_rpm_per_v, low=3.0, high=200.0),
        Unknown(name="phase_resistance_ohm", start=motor.phase_resistance_ohm, low=-0.5, high=2.0),
    )


def _by_power(log: RideLog, board: Board) -> Fit | str:
    current, bus = log.signals["current_a"], log.signals["bus_v"]
    wheel = log.signals["speed_mps"] / board.wheel.wheel_radius_m
    power, copper = bus * log.signals["pack_a"], _copper(log)
    rolls = np.abs(log.signals["speed_mps"]) > _LEAST_MPS
    windows = _Windows(log, np.isfinite(current + wheel + copper + power) & rolls)
    time_s = windows.means(log.time_s)
    if len(time_s) < _FEWEST:
        return "needs half a minute of riding"
    drive = board.drive
    lost = drive.standby_power_w + drive.switching_loss_w_per_a_v * np.abs(current) * bus

    def residuals(unknown: Floats) -> Floats:
        kv, resistance = unknown
        emf = wheel * _RPM / (math.sqrt(3.0) * kv)
        path = resistance * copper + drive.mosfet_resistance_ohm
        return windows.means(power - lost - 1.5 * (emf + path * current) * current)

    return robust_fit(
        residuals,
        _both(board),
        title="Motor power",
        time_s=time_s,
        residual_unit="W",
        block_rows=round(_BLOCK_S / _WINDOW_S),
        undetermined=[
            *_warmth(log),
            "phase_inductance_h: needs the duty",
            "saturation_ratio: the power is fitted without it; the catalogue board's is kept",
            "the drive's own losses are the catalogue board's",
        ],
    )
