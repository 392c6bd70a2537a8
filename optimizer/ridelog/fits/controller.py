"""The controller that was ridden: its settings from what it saw and the current that it gave.

What changes more slowly than the law does (a warning that was given, a start) is taken out of both
sides by subtracting a long moving average.
"""

import dataclasses
from collections.abc import Iterator, Sequence

import numpy as np

from optimizer.ridelog.fits.controller_data import ControllerData, longest_controller_data
from optimizer.ridelog.fits.controller_law import LOAD_EXPECTED, NEUTRAL, SETTINGS
from optimizer.ridelog.fits.controller_selection import Law
from optimizer.ridelog.fits.controller_terms import KNEE, LOAD, TERMS, Term
from optimizer.ridelog.fits.road import masses
from optimizer.ridelog.fits.robust_fit import Fit, Unknown, best, robust_fit
from optimizer.study.log_data.resampling import RideLog
from plant.arrays import Floats
from plant.description.board import Board
from plant.kernel.lane_init import torque_per_amp

_BLOCK_S = 2.0  # many enough for so many unknowns, long against what the law leaves over
_FEWEST_S = 20.0
_KNEE_NEEDS_DEG = 4.0
_NOISIER = 3  # times that noise is added again
# What the law with a load response leaves wrong, over the value: the controller answers to its own
# wheel speed at its own rate, and the log holds another. From invented rides.
_LOAD_ERROR, _OTHER_ERROR = 0.1, 0.02
_ERRORS = {"load_fall_deg_per_s": 0.2, "integral_clamp_a": 0.4}  # known worst


def fit_controller(log: RideLog, board: Board, rider_mass_kg: float) -> Fit | str:
    """Return the fit over the longest segment, or why there is none.

    Estimates what the log determines of stiffness, damping and integral (from pitch, pitch rate and
    current), of braking and load response (with the wheel speed) and of turn response (with the
    yaw rate as well), under the names of `plant.description.profile`; and `level_deg`, the
    pitch that was held.
    """
    if not log.has("pitch_rad", "pitch_rate_rad_per_s", "current_a"):
        return "needs pitch, pitch rate and motor current"
    data = longest_controller_data(log, board)
    if np.count_nonzero(data.free) * log.dt_s < _FEWEST_S:
        return f"needs {_FEWEST_S:g} s of riding below the current limit without a gap"
    law = Law(data, _neutral(board, rider_mass_kg))
    reached = float(np.quantile(np.abs(data.signals[0]), 0.99))
    terms = [term for term in TERMS if log.has(*term.needs)]
    terms += [KNEE] if reached >= _KNEE_NEEDS_DEG else []
    unknowns, absent = law.selected(terms)
    fit = robust_fit(
        law.residuals_of(unknowns),
        unknowns,
        title="Controller",
        time_s=data.time_s[data.free],
        residual_unit="A",
        block_rows=round(_BLOCK_S / log.dt_s),
        undetermined=list(_not_determined_by(log, absent, reached)),
    )
    has_load_term = LOAD_EXPECTED in fit.names
    return _without_speed_noise(fit, unknowns, data, law) if has_load_term else fit


def _without_speed_noise(
    fit: Fit, unknowns: tuple[Unknown, ...], data: ControllerData, law: Law
) -> Fit:
    """Return the fit as if the wheel speed had no noise, its intervals wider for what is left.

    The same noise is added once more: what that shifts, the first has shifted (simulation and
    extrapolation: Cook & Stefanski 1994, J. Am. Stat. Assoc. 89:1314; from memory).
    """
    at = tuple(
        dataclasses.replace(one, start=start)
        for one, start in zip(unknowns, fit.value.tolist(), strict=True)
    )
    random = np.random.default_rng(len(data.time_s))
    shifts = [
        best(law.noisier(data.speed_noise_mps, random).residuals_of(at), at)[0] - fit.value
        for _ in range(_NOISIER)
    ]
    shift = np.mean(shifts, axis=0)
    low = np.array([unknown.low for unknown in unknowns])
    high = np.array([unknown.high for unknown in unknowns])
    value = np.clip(fit.value - shift, low, high)
    of_load = {unknown.name for unknown in (*LOAD.size, *LOAD.shape)}
    error = np.array(
        [_ERRORS.get(name, _LOAD_ERROR if name in of_load else _OTHER_ERROR) for name in fit.names]
    )
    more = np.hypot(shift, error * value)
    return dataclasses.replace(
        fit,
        value=value,
        at_bound=fit.at_bound | (value <= low) | (value >= high),
        low=np.maximum(value - np.hypot(fit.value - fit.low, more), low),
        high=np.minimum(value + np.hypot(fit.high - fit.value, more), high),
    )


def _neutral(board: Board, rider_mass_kg: float) -> Floats:
    """Return the settings of a controller of pitch and rate alone, (setting,)."""
    _, felt_kg = masses(board, rider_mass_kg)
    torque = torque_per_amp(board.motor.kv_rpm_per_v)
    expected = {LOAD_EXPECTED: felt_kg * board.wheel.wheel_radius_m / torque}
    return np.array([{**NEUTRAL, **expected}.get(name, 0.0) for name in SETTINGS])


def _not_determined_by(log: RideLog, absent: Sequence[Term], reached: float) -> Iterator[str]:
    """Yield what the log does not determine of the controller, in plain words."""
    yield f"the stiffness beyond {reached:.1f} deg, which was hardly reached"
    for term in absent:
        if term.shape:
            yield f"{term.text}: the ride shows none, so its other settings are not determined"
    if not log.has("speed_mps"):
        yield "braking and load response: need the wheel speed"
    if not log.has("yaw_rate_rad_per_s"):
        yield "turn response: needs the yaw rate"
    yield (
        "whether the search ended in the right place: in 3 of 32 invented rides some settings were"
        " far off with narrow intervals, so hold them against what was typed in"
    )
    yield (
        "caps and warnings, which a ride inside its limits does not show, and engagement: a"
        " baseline keeps the catalogue's"
    )
