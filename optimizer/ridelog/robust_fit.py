"""Robust least squares with intervals by a block bootstrap, and what the data can not tell.

Residuals of a ride hang together over seconds, so whole blocks of time are drawn anew. Each draw
takes one Gauss-Newton step from the fit (a one-step bootstrap: Shao & Tu 1995, The Jackknife and
Bootstrap, section 4.3; from memory), which costs a small linear solve.
"""

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import t as student

from optimizer.ridelog.reading import Floats

CONFIDENCE = 0.95
_DRAWS = 600
_FEWEST_BLOCKS = 12
_TUNING = 2.385  # of Cauchy's loss: 95 % efficient under normal noise (Holland & Welsch 1977)
_MAD_PER_SIGMA = 0.6745  # of a normal distribution
_ENTANGLED = 0.95  # assumed: correlation from which two numbers can hardly be told apart
_VAGUE = 0.5  # assumed: half the interval over the value

Residuals: TypeAlias = Callable[[Floats], Floats]


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """A number to find: where to start and between which ends; its name ends in its unit."""

    name: str
    start: float
    low: float
    high: float


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """A fitted model.

    Attributes
    ----------
    title : str
    names : tuple of str
    value, low, high : (unknown,) float64
        Estimates and the ends of their 95 % intervals.
    correlation : (unknown, unknown) float64
        Of the estimates.
    time_s, residual : (row,) float64
        Measured less fitted, in `residual_unit`, and when.
    residual_unit : str
    cannot : tuple of str
        What the log can not tell, in plain words.
    """

    title: str
    names: tuple[str, ...]
    value: Floats
    low: Floats
    high: Floats
    correlation: Floats
    time_s: Floats
    residual: Floats
    residual_unit: str
    cannot: tuple[str, ...] = ()

    def estimate(self, name: str) -> tuple[float, float, float]:
        """Return value, low and high of one number."""
        place = self.names.index(name)
        return float(self.value[place]), float(self.low[place]), float(self.high[place])


def robust_fit(
    residuals: Residuals,
    unknowns: Sequence[Unknown],
    *,
    title: str,
    time_s: Floats,
    residual_unit: str,
    block_rows: int,
    cannot: Sequence[str] = (),
) -> Fit:
    """Fit by least squares with Cauchy's loss, which forgets outliers, and draw the intervals.

    Parameters
    ----------
    residuals : function of (unknown,) float64 to (row,) float64
        Measured less modelled, rows in the order of time.
    unknowns : sequence of Unknown
    title, time_s, residual_unit, cannot
        As in `Fit`.
    block_rows : int
        Rows of a block; shorter where there would be too few blocks.
    """
    low = np.array([unknown.low for unknown in unknowns])
    high = np.array([unknown.high for unknown in unknowns])
    value = np.array([unknown.start for unknown in unknowns])
    size = np.maximum(np.abs(value), 1e-6 * (high - low))
    scale = used = _spread(residuals(value))

    def scaled_residuals(scaled: Floats) -> Floats:
        return residuals(scaled * size)

    for _ in range(2):  # the loss's width follows the residuals, which settle at once
        found = least_squares(
            scaled_residuals,
            value / size,
            bounds=(low / size, high / size),
            loss="cauchy",
            f_scale=_TUNING * scale,
            x_scale="jac",
            ftol=1e-7,
            xtol=1e-7,
            max_nfev=60,
        )
        value, used = found.x * size, scale
        scale = _spread(residuals(value))
    residual = residuals(value)
    jacobian = _jacobian(scaled_residuals, found.x)
    draws = _draws(jacobian, residual, _TUNING * used, block_rows) * size
    half = _half_width(draws, _n_blocks(len(residual), block_rows))
    half[~np.any(jacobian, axis=0)] = np.inf  # no row depends on it
    with np.errstate(invalid="ignore", divide="ignore"):
        correlation = np.nan_to_num(np.corrcoef(draws, rowvar=False).reshape(len(size), -1))
    names = tuple(unknown.name for unknown in unknowns)
    at_end = (value - low < 1e-6 * (high - low)) | (high - value < 1e-6 * (high - low))
    return Fit(
        title=title,
        names=names,
        value=value,
        low=np.maximum(value - half, low),
        high=np.minimum(value + half, high),
        correlation=correlation,
        time_s=time_s,
        residual=residual,
        residual_unit=residual_unit,
        cannot=(*cannot, *_unknowable(names, value, half, correlation=correlation, at_end=at_end)),
    )


def _spread(residual: Floats) -> float:
    return max(float(np.median(np.abs(residual))) / _MAD_PER_SIGMA, 1e-12)


def _jacobian(residuals: Residuals, value: Floats) -> Floats:
    """Return the derivatives, (row, unknown), by central differences."""
    columns = []
    for place in range(len(value)):
        step = np.zeros_like(value)
        step[place] = 1e-5 * max(abs(value[place]), 1e-2)
        columns.append((residuals(value + step) - residuals(value - step)) / (2.0 * step[place]))
    return np.column_stack(columns)


def _n_blocks(n_rows: int, block_rows: int) -> int:
    return min(max(n_rows // block_rows, _FEWEST_BLOCKS), n_rows)


def _draws(jacobian: Floats, residual: Floats, scale: float, block_rows: int) -> Floats:
    """Return draws of the scaled estimate's error, (draw, unknown)."""
    n_unknowns = jacobian.shape[1]
    square = (residual / scale) ** 2
    weight = 1.0 / (1.0 + square)  # first and second derivative of Cauchy's loss
    curvature = (1.0 - square) * weight**2
    n_blocks = _n_blocks(len(residual), block_rows)
    block = np.minimum(np.arange(len(residual)) * n_blocks // len(residual), n_blocks - 1)
    gram = np.zeros((n_blocks, n_unknowns, n_unknowns))
    pull = np.zeros((n_blocks, n_unknowns))
    for number in range(n_blocks):
        rows = jacobian[block == number]
        gram[number] = rows.T @ (curvature[block == number, None] * rows)
        pull[number] = rows.T @ (weight[block == number] * residual[block == number])
    random = np.random.default_rng(n_blocks)
    counts = random.multinomial(n_blocks, np.full(n_blocks, 1.0 / n_blocks), size=_DRAWS)
    grams = np.einsum("db,bij->dij", counts, gram)
    ridge = (1e-12 * np.trace(gram.sum(axis=0)) + 1e-30) * np.eye(n_unknowns)
    pulls = counts @ (pull - pull.mean(axis=0))
    return -np.linalg.solve(grams + ridge, pulls[:, :, None])[:, :, 0]


def _half_width(draws: Floats, n_blocks: int) -> Floats:
    freedom = max(n_blocks - draws.shape[1], 1)
    spread = 0.5 * (np.quantile(draws, 0.8413, axis=0) - np.quantile(draws, 0.1587, axis=0))
    wider = math.sqrt(n_blocks / freedom)
    half: Floats = student.ppf(0.5 + 0.5 * CONFIDENCE, freedom) * wider * spread
    return half


def _unknowable(
    names: tuple[str, ...], value: Floats, half: Floats, *, correlation: Floats, at_end: Floats
) -> list[str]:
    found = []
    for place, name in enumerate(names):
        if at_end[place]:
            found.append(f"{name}: ends at {value[place]:.4g}, the end of what can be true")
        elif half[place] > _VAGUE * abs(value[place]):
            found.append(f"{name}: {value[place]:.4g} is known to within {half[place]:.2g} only")
        found += [
            f"{names[other]} and {name} can hardly be told apart"
            f" (correlation {correlation[place, other]:.2f})"
            for other in range(place)
            if abs(correlation[place, other]) > _ENTANGLED
        ]
    return found
