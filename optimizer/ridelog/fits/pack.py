"""The pack from its voltage and current: voltage at rest, resistance at once and over time."""

import numpy as np
from scipy.signal import lfilter

from optimizer.ridelog.fits.robust_fit import Fit, Unknown, robust_fit
from optimizer.study.log_data.resampling import RideLog, window_means
from plant.arrays import Floats
from plant.description.board import Board

_WINDOW_S = 0.2
_BLOCK_S = 20.0
_FEWEST = 300


def fit_pack(log: RideLog, board: Board) -> Fit | str:
    """Return the fit over the longest part, or why there is none.

    Estimates `rest_voltage_v` at the start, `rest_fall_v_per_ah`, `series_resistance_ohm`,
    `rc_resistance_ohm` and `rc_time_s`; the pack is taken as rested at the start of the part.
    """
    if not log.has("bus_v", "pack_a"):
        return "needs pack voltage and pack current"
    part = log.longest_part()
    width = max(round(_WINDOW_S / log.dt_s), 1)
    step_s = width * log.dt_s
    one = RideLog(
        dt_s=log.dt_s,
        time_s=log.time_s[part],
        part=log.part[part],
        signals={name: values[part] for name, values in log.signals.items()},
    )
    voltage = window_means(one, one.signals["bus_v"], width)
    current = window_means(one, one.signals["pack_a"], width)
    time_s = window_means(one, one.time_s, width)
    rows = np.isfinite(voltage + current)
    if np.count_nonzero(rows) < _FEWEST:
        return "needs a minute of voltage and current without a gap"
    filled = np.interp(time_s, time_s[rows], current[rows])
    drawn_ah = np.cumsum(filled) * step_s / 3600.0
    start_v = float(np.median(voltage[rows][:10] + 0.05 * filled[rows][:10]))

    def residuals(unknown: Floats) -> Floats:
        rest, fall, series, slow, slow_s = unknown
        share = np.exp(-step_s / slow_s)
        half = 0.5 * (1.0 - share)  # a window's mean lies half a window back
        lagged = lfilter([half, half], [1.0, -share], filled)
        model = rest - fall * drawn_ah - series * filled - slow * lagged
        return np.asarray((voltage - model)[rows])

    battery = board.battery
    undetermined = [] if np.ptp(drawn_ah) > 0.05 * battery.capacity_ah else [
        "rest_fall_v_per_ah and the capacity: less than 5 % of the charge was ridden"
    ]  # fmt: skip
    return robust_fit(
        residuals,
        (
            Unknown(name="rest_voltage_v", start=start_v, low=4.0, high=300.0),
            Unknown(name="rest_fall_v_per_ah", start=1.0, low=-20.0, high=200.0),
            Unknown(
                name="series_resistance_ohm",
                start=battery.series_resistance_ohm,
                low=0.0,
                high=2.0,
            ),
            Unknown(name="rc_resistance_ohm", start=battery.rc_resistance_ohm, low=0.0, high=2.0),
            Unknown(name="rc_time_s", start=battery.rc_time_s, low=0.5, high=500.0),
        ),
        title="Pack voltage",
        time_s=time_s[rows],
        residual_unit="V",
        block_rows=round(_BLOCK_S / step_s),
        undetermined=undetermined,
    )
