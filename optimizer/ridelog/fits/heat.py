"""How winding and MOSFETs warm: heat capacity, resistance to the air, the air itself."""

import numpy as np
from scipy.signal import lfilter

from optimizer.ridelog.fits.robust_fit import Fit, Unknown, robust_fit
from optimizer.study.log_data.resampling import RideLog
from plant.arrays import Floats
from plant.constants import COPPER_PER_K, COPPER_REFERENCE_C
from plant.description.board import Board

_STEP_S = 1.0
_BLOCK_S = 60.0
_FEWEST_S = 120.0


def fit_heat(log: RideLog, board: Board, *, winding: bool) -> Fit | str:
    """Return the fit of the winding's or the MOSFETs' temperature, or why there is none.

    The loss in W is the board's own; heat capacity and resistance scale with it. Estimates
    `winding_heat_capacity_j_per_k`, `winding_resistance_k_per_w` (or `mosfet_...`), `air_c` and
    `start_c`.
    """
    part_name = "winding" if winding else "mosfet"
    channel = f"{part_name}_c"
    if not log.has("current_a", channel):
        return f"needs motor current and the column {channel}"
    part = log.longest_part()
    width = max(round(_STEP_S / log.dt_s), 1)
    step_s = width * log.dt_s
    n_steps = (part.stop - part.start) // width
    if n_steps * step_s < _FEWEST_S:
        return f"needs {_FEWEST_S:g} s without a gap"

    def means(values: Floats) -> Floats:
        whole = values[part][: n_steps * width].reshape(n_steps, width)
        return np.asarray(np.nan_to_num(whole).mean(axis=1))

    temperature = log.signals[channel][part][: n_steps * width : width]
    rows = np.isfinite(temperature)
    if np.count_nonzero(rows) < 0.5 * n_steps:
        return f"most rows of {channel} are empty"
    time_s = log.time_s[part][: n_steps * width : width]
    loss_w = means(_loss(log, board, winding=winding))

    def residuals(unknown: Floats) -> Floats:
        capacity, resistance, air, start = unknown
        share = np.exp(-step_s / (capacity * resistance))
        driven = lfilter([0.0, resistance * (1.0 - share)], [1.0, -share], loss_w)
        cooling = (start - air) * share ** np.arange(n_steps)
        return np.asarray((temperature - air - cooling - driven)[rows])

    known = board.motor if winding else board.drive
    begin = float(temperature[rows][0])
    return robust_fit(
        residuals,
        (
            Unknown(
                name=f"{part_name}_heat_capacity_j_per_k",
                start=getattr(known, f"{part_name}_heat_capacity_j_per_k"),
                low=1.0,
                high=1e5,
            ),
            Unknown(
                name=f"{part_name}_resistance_k_per_w",
                start=getattr(known, f"{part_name}_resistance_k_per_w"),
                low=0.01,
                high=20.0,
            ),
            Unknown(name="air_c", start=begin - 1.0, low=-60.0, high=80.0),
            Unknown(name="start_c", start=begin, low=-60.0, high=200.0),
        ),
        title=f"Heat of the {'winding' if winding else 'MOSFETs'}",
        time_s=time_s[rows],
        residual_unit="K",
        block_rows=round(_BLOCK_S / step_s),
        undetermined=[
            "heat capacities are as true as the losses, which are computed and not measured"
        ],
    )


def _loss(log: RideLog, board: Board, *, winding: bool) -> Floats:
    current = np.abs(log.signals["current_a"])
    square = 1.5 * current * current
    if winding:
        warmer = np.nan_to_num(log.signals["winding_c"] - COPPER_REFERENCE_C)
        return board.motor.phase_resistance_ohm * (1.0 + COPPER_PER_K * warmer) * square
    drive = board.drive
    bus = log.signals.get("bus_v", np.full_like(current, 0.5 * _mid_bus(board)))
    return drive.mosfet_resistance_ohm * square + drive.switching_loss_w_per_a_v * current * bus


def _mid_bus(board: Board) -> float:
    return board.battery.bus_low_v + board.battery.bus_high_v
