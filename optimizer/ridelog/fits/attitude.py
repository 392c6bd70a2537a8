"""How the attitude filter weighs gyro and accelerometer, and how far the gyro is off."""

import numpy as np

from optimizer.ridelog.fits.robust_fit import Fit, Unknown, robust_fit
from optimizer.study.log_data.resampling import RideLog, window_means
from plant.arrays import Floats

_WINDOW_S = 2.0  # noise of the accelerometer in the pull flattens the slope
_BLOCK_S = 10.0
_FEWEST = 30


def fit_attitude(log: RideLog) -> Fit | str:
    """Return the fit of `attitude_time_s`, or why there is none.

    The pitch changes by the gyro's rate, and is pulled towards the pitch that the accelerometer
    shows, over a time constant: a complementary filter.
    """
    if not log.has("pitch_rad", "pitch_rate_rad_per_s", "forward_force_mps2", "upward_force_mps2"):
        return "needs pitch, pitch rate and both accelerometer channels"
    shown = np.arctan2(-log.signals["forward_force_mps2"], log.signals["upward_force_mps2"])
    width = _width(log)
    drift = window_means(log, _drift(log), width)
    apart = window_means(log, shown - log.signals["pitch_rad"], width)
    rows = np.isfinite(drift + apart)
    if np.count_nonzero(rows) < _FEWEST:
        return "needs a minute of all four channels"
    drift, apart = drift[rows], apart[rows]

    def residuals(unknown: Floats) -> Floats:
        return np.asarray(drift - apart / unknown[0] - unknown[1])

    return robust_fit(
        residuals,
        (
            Unknown(name="attitude_time_s", start=3.0, low=0.05, high=500.0),
            Unknown(name="own_correction_rad_per_s", start=1e-4, low=-0.2, high=0.2),
        ),
        title="Attitude filter",
        time_s=window_means(log, log.time_s, width)[rows],
        residual_unit="rad/s",
        block_rows=round(_BLOCK_S / _WINDOW_S),
    )


def fit_gyro(log: RideLog) -> Fit | str:
    """Return the fit of `gyro_bias_deg_per_s`, or why there is none.

    Over a ride the pitch comes back to where it was, so what the gyro sums up beyond the pitch's
    own change is its bias.
    """
    if not log.has("pitch_rad", "pitch_rate_rad_per_s"):
        return "needs pitch and pitch rate"
    width = _width(log)
    drift = window_means(log, _drift(log), width)
    rows = np.isfinite(drift)
    if np.count_nonzero(rows) < _FEWEST:
        return "needs a minute of pitch and pitch rate"
    excess = -np.degrees(drift[rows])

    def residuals(unknown: Floats) -> Floats:
        return np.asarray(excess - unknown[0])

    return robust_fit(
        residuals,
        (Unknown(name="gyro_bias_deg_per_s", start=0.01, low=-10.0, high=10.0),),
        title="Gyro bias",
        time_s=window_means(log, log.time_s, width)[rows],
        residual_unit="deg/s",
        block_rows=round(_BLOCK_S / _WINDOW_S),
        undetermined=["a bias that the controller took out before the log was written"],
    )


def _width(log: RideLog) -> int:
    return max(round(_WINDOW_S / log.dt_s), 2)


def _drift(log: RideLog) -> Floats:
    """Return how much faster the pitch changes than the gyro says, (sample,), in rad/s."""
    pitch = log.signals["pitch_rad"]
    change = np.full_like(pitch, np.nan)
    for part in log.parts():
        if part.stop - part.start >= _width(log):
            change[part] = np.gradient(pitch[part], log.dt_s)
    return np.asarray(change - log.signals["pitch_rate_rad_per_s"])
