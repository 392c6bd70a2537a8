"""The controller that was ridden: stiffness curve and damping from pitch, rate and current.

What changes slowly (the integral, the answer to load, turns and warnings) is taken out of both
sides by subtracting a moving average, so that only the quick answer to pitch and rate is fitted.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from optimizer.ridelog.reading import Floats
from optimizer.ridelog.resampling import RideLog
from optimizer.ridelog.robust_fit import Fit, Unknown, left_over, robust_fit
from plant.board import Board

_SLOW_S = 3.0  # assumed: integral and load response need longer
_BLOCK_S = 5.0
_FEWEST_S = 20.0
_NEAR_LIMIT = 0.95
_MOST_ROWS = 9_000
_KNEE_NEEDS_DEG = 4.0
_KNEE_GAIN = 1.02  # assumed: a knee that explains less is noise
_PLAIN = (
    Unknown(name="rate_gain_a_per_deg_per_s", start=0.5, low=-1.0, high=6.0),
    Unknown(name="level_deg", start=0.05, low=-10.0, high=10.0),
    Unknown(name="inner_gain_a_per_deg", start=6.0, low=0.0, high=60.0),
    Unknown(name="inner_band_deg", start=1.0, low=0.05, high=5.0),
    Unknown(name="base_gain_a_per_deg", start=4.0, low=0.0, high=60.0),
)
_KNEE = (
    Unknown(name="mid_knee_deg", start=5.0, low=0.5, high=20.0),
    Unknown(name="mid_gain_ratio", start=1.3, low=0.2, high=6.0),
)


def stiffness_curve(error_deg: Floats, unknown: Floats) -> Floats:
    """Return the current in A at pitch errors: gain within a band, to a knee, and beyond."""
    inner, band, base = unknown[:3]
    knee, ratio = unknown[3:] if len(unknown) > 3 else (np.inf, 1.0)
    size = np.abs(error_deg)
    knee = max(knee, band)
    current = (
        inner * np.minimum(size, band)
        + base * np.clip(size - band, 0.0, knee - band)
        + base * ratio * np.maximum(size - knee, 0.0)
    )
    return np.asarray(np.sign(error_deg) * current)


def fit_controller(log: RideLog, board: Board) -> Fit | str:
    """Return the fit, or why there is none.

    Estimates `rate_gain_a_per_deg_per_s`, `level_deg` (the pitch that was held),
    `inner_gain_a_per_deg`, `inner_band_deg`, `base_gain_a_per_deg` and, where the ride shows a
    knee, `mid_knee_deg` and `mid_gain_ratio`.
    """
    if not log.has("pitch_rad", "pitch_rate_rad_per_s", "current_a"):
        return "needs pitch, pitch rate and motor current"
    pitch = np.degrees(log.signals["pitch_rad"])
    rate = np.degrees(log.signals["pitch_rate_rad_per_s"])
    current = log.signals["current_a"]
    limit = _NEAR_LIMIT * board.drive.phase_current_limit_a
    good = np.isfinite(pitch + rate + current) & (np.abs(current) < limit)
    pieces = [
        slice(part.start + start, part.start + end)
        for part in log.parts()
        for start, end in _runs(good[part], least=round(2.0 * _SLOW_S / log.dt_s))
    ]
    n_rows = sum(piece.stop - piece.start for piece in pieces)
    if n_rows * log.dt_s < _FEWEST_S:
        return f"needs {_FEWEST_S:g} s of riding below the current limit without a gap"
    pieces = _first(pieces, _MOST_ROWS)
    width = round(_SLOW_S / log.dt_s)
    reached = max(float(np.quantile(np.abs(pitch[piece]), 0.99)) for piece in pieces)

    def residuals(unknown: Floats) -> Floats:
        damping, level, *curve = unknown
        return np.concatenate(
            [
                _quick(
                    current[piece]
                    - stiffness_curve(pitch[piece] - level, np.array(curve))
                    - damping * rate[piece],
                    width,
                )
                for piece in pieces
            ]
        )

    bent = reached >= _KNEE_NEEDS_DEG and left_over(residuals, _PLAIN) > _KNEE_GAIN * left_over(
        residuals, _PLAIN + _KNEE
    )
    return robust_fit(
        residuals,
        _PLAIN + _KNEE if bent else _PLAIN,
        title="Controller",
        time_s=np.concatenate([log.time_s[piece] for piece in pieces]),
        residual_unit="A",
        block_rows=round(_BLOCK_S / log.dt_s),
        cannot=[
            f"the stiffness beyond {reached:.1f} deg, which was hardly reached",
            "integral, braking, load, turn and warning settings: a baseline keeps the catalogue's",
        ],
    )


def _quick(values: Floats, width: int) -> Floats:
    return values - uniform_filter1d(values, width, mode="nearest")


def _runs(good: NDArray[np.bool_], *, least: int) -> list[tuple[int, int]]:
    """Return start and end of each run of good samples that is long enough."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    return [(int(start), int(end)) for start, end in edges.reshape(-1, 2) if end - start >= least]


def _first(pieces: list[slice], most: int) -> list[slice]:
    kept: list[slice] = []
    for piece in pieces:
        room = most - sum(one.stop - one.start for one in kept)
        if room <= 0:
            break
        kept.append(slice(piece.start, min(piece.stop, piece.start + room)))
    return kept
