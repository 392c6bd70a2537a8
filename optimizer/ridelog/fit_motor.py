"""The motor from voltage, current and speed: Kv, phase resistance, inductance.

With the duty: the steady-state voltage of a surface-magnet machine, its q-axis current alone
flowing. Without: the power that the pack gives.
"""

import math

import numpy as np

from optimizer.ridelog.reading import Floats
from optimizer.ridelog.resampling import RideLog, window_means
from optimizer.ridelog.robust_fit import Fit, Unknown, robust_fit
from plant.board import Board

COPPER_PER_K = 0.00393  # IEC 60028, annealed copper at 20 degC
_WINDOW_S = 0.1
_BLOCK_S = 10.0
_FEWEST = 200
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


def _means(log: RideLog, *channels: str) -> tuple[list[Floats], Floats, Floats]:
    """Return means of the channels, and of the current's square, and the time of each window."""
    width = max(round(_WINDOW_S / log.dt_s), 1)
    # Products first: within a window voltage sags while the duty rises.
    bus = log.signals["bus_v"]
    found = [
        window_means(
            log, log.signals[name] * (bus if name in ("duty_ratio", "pack_a") else 1.0), width
        )
        for name in channels
    ]
    square = window_means(log, log.signals["current_a"] ** 2, width)
    time_s = window_means(log, log.time_s, width)
    rows = np.isfinite(np.sum(found, axis=0)) & (np.abs(found[1]) > 0.3)
    return [values[rows] for values in found], square[rows], time_s[rows]


def _warmth(log: RideLog) -> tuple[tuple[str, ...], list[str]]:
    if log.has("winding_c"):
        return ("winding_c",), []
    return (), ["phase_resistance_ohm is that of the warm winding: its temperature is not logged"]


def _by_voltage(log: RideLog, board: Board) -> Fit | str:
    warmth, cannot = _warmth(log)
    channels = ("current_a", "speed_mps", "bus_v", "duty_ratio", *warmth)
    (current, speed, _, driven, *winding), square, time_s = _means(log, *channels)
    if len(time_s) < _FEWEST:
        return "needs half a minute of riding"
    wheel = speed / board.wheel.wheel_radius_m
    turning = board.motor.pole_pairs * wheel
    copper = 1.0 + COPPER_PER_K * (winding[0] - 20.0) if winding else np.ones_like(current)
    voltage = np.abs(driven) / math.sqrt(3.0)
    switches = board.drive.mosfet_resistance_ohm

    def residuals(unknown: Floats) -> Floats:
        kv, resistance, inductance = unknown
        emf = wheel * _RPM / (math.sqrt(3.0) * kv)
        along = emf + (resistance * copper + switches) * current
        return np.asarray(voltage - np.sqrt(along**2 + (turning * inductance) ** 2 * square))

    return robust_fit(
        residuals,
        (
            Unknown(name="kv_rpm_per_v", start=board.motor.kv_rpm_per_v, low=3.0, high=200.0),
            Unknown(
                name="phase_resistance_ohm",
                start=board.motor.phase_resistance_ohm,
                low=-0.5,
                high=2.0,
            ),
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
        cannot=cannot,
    )


def _by_power(log: RideLog, board: Board) -> Fit | str:
    warmth, cannot = _warmth(log)
    channels = ("current_a", "speed_mps", "bus_v", "pack_a", *warmth)
    (current, speed, bus, power, *winding), square, time_s = _means(log, *channels)
    if len(time_s) < _FEWEST:
        return "needs half a minute of riding"
    wheel = speed / board.wheel.wheel_radius_m
    copper = 1.0 + COPPER_PER_K * (winding[0] - 20.0) if winding else np.ones_like(current)
    drive = board.drive
    lost = drive.standby_power_w + drive.switching_loss_w_per_a_v * np.abs(current) * bus

    def residuals(unknown: Floats) -> Floats:
        kv, resistance = unknown
        emf = wheel * _RPM / (math.sqrt(3.0) * kv)
        path = resistance * copper + drive.mosfet_resistance_ohm
        return np.asarray(power - lost - 1.5 * (emf * current + path * square))

    return robust_fit(
        residuals,
        (
            Unknown(name="kv_rpm_per_v", start=board.motor.kv_rpm_per_v, low=3.0, high=200.0),
            Unknown(
                name="phase_resistance_ohm",
                start=board.motor.phase_resistance_ohm,
                low=-0.5,
                high=2.0,
            ),
        ),
        title="Motor power",
        time_s=time_s,
        residual_unit="W",
        block_rows=round(_BLOCK_S / _WINDOW_S),
        cannot=[
            *cannot,
            "phase_inductance_h: needs the duty",
            "the drive's own losses are the catalogue board's",
        ],
    )
