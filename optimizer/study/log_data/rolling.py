"""Where the board of a ride log rolls: how far, how fast, and how high the ground is there."""

import numpy as np

from optimizer.study.log_data.resampling import RideLog
from optimizer.study.route import smoothed
from plant.arrays import Floats
from plant.description.course import Elevation, Points

_MOVING_MPS = 0.7
_GLITCH = 9  # samples
_SCRIPT_S = 1.0
_SMOOTH_M = 50.0
_STEP_M = 5.0


def distance_m(log: RideLog) -> Floats:
    """Return how far the wheel has rolled, (sample,); it stands where speed is missing."""
    return np.cumsum(np.nan_to_num(log.signals["speed_mps"])) * log.dt_s


def rolling_stretches(log: RideLog) -> list[tuple[int, int]]:
    """Return first sample and end of each stretch without a gap in which the board rolls forward.

    Parameters
    ----------
    log : RideLog
        With `speed_mps`.
    """
    from scipy.ndimage import median_filter  # noqa: PLC0415  # slow to load, for logs alone

    # A single glitch is no stop.
    rolls = median_filter(np.nan_to_num(log.signals["speed_mps"]), _GLITCH) > _MOVING_MPS
    found: list[tuple[int, int]] = []
    for part in log.parts():
        edges = np.flatnonzero(np.diff(np.concatenate([[0], rolls[part].astype(np.int8), [0]])))
        found += [(start, end) for start, end in (edges.reshape(-1, 2) + part.start).tolist()]
    return found


def speed_points(speed_mps: Floats, dt_s: float) -> Points:
    """Return the mean speed of each second, at its middle, as wanted speeds of a ride.

    Parameters
    ----------
    speed_mps : (sample,) float64
        Over one stretch; straight lines bridge what is missing.
    dt_s : float
    """
    known = np.isfinite(speed_mps)
    places = np.arange(len(speed_mps))
    bridged = np.interp(places, places[known], speed_mps[known])
    width = max(round(_SCRIPT_S / dt_s), 1)
    n_windows = len(bridged) // width
    means = np.maximum(bridged[: n_windows * width].reshape(n_windows, width).mean(axis=1), 0.0)
    return tuple(
        (round((window + 0.5) * width * dt_s, 3), round(float(mean), 3))
        for window, mean in enumerate(means)
    )


def recorded_heights(log: RideLog) -> tuple[Elevation, float] | None:
    """Return smoothed heights along the way of a log, and how far it had rolled at their start.

    None where the log has no altitude, or leads too short a way to make grades of it.
    """
    if not log.has("altitude_m", "speed_mps"):
        return None
    along = distance_m(log)
    good = np.isfinite(log.signals["altitude_m"])
    reached = np.maximum.accumulate(along)
    advances = good & (np.diff(reached, prepend=-1.0) > 0.0)
    if np.count_nonzero(advances) < 2 or along[advances][-1] - along[advances][0] < 2.0 * _SMOOTH_M:
        return None
    start = along[advances][0]
    # Noise of a receiver averages out over every sample of a step of distance, not at one of them.
    step = ((along[advances] - start) / _STEP_M).astype(np.int64)
    count = np.bincount(step)
    height = np.bincount(step, log.signals["altitude_m"][advances])[count > 0] / count[count > 0]
    centre = np.bincount(step, along[advances] - start)[count > 0] / count[count > 0]
    route = smoothed(Elevation(distance_m=centre - centre[0], height_m=height), smooth_m=_SMOOTH_M)
    return route, float(start + centre[0])
