"""The segment of a log over which the controller is fitted: what it saw, and what it gave."""

import dataclasses
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d
from scipy.signal import savgol_filter

from optimizer.ridelog.fits.controller_law import SETTINGS, asked_current
from optimizer.ridelog.fits.robust_fit import Unknown
from optimizer.study.log_data.resampling import RideLog
from plant.arrays import Floats
from plant.description.board import Board

_SLOW_S = 10.0  # assumed: the law's own slow parts are quicker
_LONGEST_S = 120.0
_NEAR_LIMIT = 0.95
_SETTLING_S = 2.0  # of the law's filters from where the segment begins
_GLITCH = 5  # samples
_SMOOTH_S = 0.15  # of the wheel speed, whose noise is not what the controller saw


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ControllerData:
    """What the controller saw and gave over a segment of the log.

    Attributes
    ----------
    signals : (signal, sample) float64
        As `controller_law.asked_current` takes them.
    current_a : (sample,) float64
    free : (sample,) bool
        Where no limit held the current.
    time_s : (sample,) float64
    dt_s : float
    speed_noise_mps : float
        Of the wheel speed, before it was made smooth.
    """

    signals: Floats
    current_a: Floats
    free: NDArray[np.bool_]
    time_s: Floats
    dt_s: float
    speed_noise_mps: float

    def residuals(self, unknowns: Sequence[Unknown], value: Floats, start: Floats) -> Floats:
        """Return measured less asked current where it was free, without what is slow."""
        settings = start.copy()
        settings[[SETTINGS.index(unknown.name) for unknown in unknowns]] = value
        apart = self.current_a - asked_current(self.signals, settings, dt_s=self.dt_s)
        width = round(_SLOW_S / self.dt_s)
        free = self.free.astype(np.float64)
        share = uniform_filter1d(free, width, mode="nearest")
        slow = uniform_filter1d(apart * free, width, mode="nearest") / np.maximum(share, 1e-3)
        return np.asarray((apart - slow)[self.free])


def longest_controller_data(log: RideLog, board: Board) -> ControllerData:
    """Return the longest segment in which the log holds all that the controller saw."""
    signals = log.signals
    nothing = np.zeros_like(log.time_s)
    pitch = np.degrees(signals["pitch_rad"])
    rate = np.degrees(signals["pitch_rate_rad_per_s"])
    current = signals["current_a"]
    speed = signals.get("speed_mps", nothing)
    lateral = np.abs(signals.get("yaw_rate_rad_per_s", nothing) * speed)
    known = np.isfinite(pitch + rate + current + speed + lateral)
    place = _longest(log, known, most=round(_LONGEST_S / log.dt_s))
    current = current[place]
    held = np.abs(current) >= _NEAR_LIMIT * board.drive.phase_current_limit_a
    rolled = _without_glitches(speed[place])
    smooth = smoothed(rolled, log.dt_s)
    settled = np.arange(len(current)) * log.dt_s > _SETTLING_S
    excess = np.where(held, np.sign(current), 0.0)
    return ControllerData(
        signals=np.stack(
            [
                pitch[place],
                rate[place],
                smooth,
                _without_glitches(current),
                lateral[place],
                excess,
            ]
        ),
        current_a=current,
        free=~held & settled,
        time_s=log.time_s[place],
        dt_s=log.dt_s,
        speed_noise_mps=float(np.std(rolled - smooth)),
    )


def _longest(log: RideLog, known: NDArray[np.bool_], *, most: int) -> slice:
    runs = [
        slice(part.start + int(start), part.start + min(int(end), int(start) + most))
        for part in log.parts()
        for start, end in np.flatnonzero(
            np.diff(np.concatenate([[0], known[part].astype(np.int8), [0]]))
        ).reshape(-1, 2)
    ]
    return max(runs, key=lambda run: run.stop - run.start, default=slice(0, 0))


def _without_glitches(values: Floats) -> Floats:
    """Return the values with single ones that leap replaced: they would ring in the filters."""
    if len(values) <= _GLITCH:
        return values
    middle = median_filter(values, _GLITCH)
    apart = np.abs(values - middle)
    return np.where(apart > 8.0 * np.median(apart) + 1e-9, middle, values)


def smoothed(values: Floats, dt_s: float) -> Floats:
    """Return values without what is quicker than a board with a rider can be, (sample,)."""
    width = max(round(_SMOOTH_S / dt_s), 5) | 1
    return np.asarray(savgol_filter(values, width, 3)) if len(values) > width else values
