"""Robust least squares with intervals, and what the data does not determine.

The intervals are those of a block bootstrap (`block_bootstrap`). Where the loss does not rise as
its linear step believes, they are those of the profile (`profile_likelihood`).
"""

import dataclasses
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from optimizer.ridelog.fits.block_bootstrap import blocks_of
from optimizer.ridelog.fits.cauchy_loss import Loss, slopes
from optimizer.ridelog.fits.profile_likelihood import Ends, profile_ends
from plant.arrays import Floats

_TUNING = 2.385  # of Cauchy's loss: 95 % efficient under normal noise (Holland & Welsch 1977)
_MOST_RESTARTS = 4  # from better places that the search for the intervals meets
_LEAST_SIZE = (
    0.01  # assumed: of an unknown whose start is small, over the range of what can be true
)
_MAD_PER_SIGMA = 0.6745  # of a normal distribution
_ENTANGLED = 0.95  # assumed: correlation from which two numbers can hardly be told apart
_BOUND_UP = 0.8  # assumed: correlation worth telling
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
    profiled : (unknown,) bool
        Where the interval is the profile's, for a linear step can not be trusted.
    at_bound : (unknown,) bool
        Where the estimate ended at an end of what can be true, so that it is no estimate.
    correlation : (unknown, unknown) float64
        Of the estimates.
    time_s, residual : (row,) float64
        Measured less fitted, in `residual_unit`, and when.
    residual_unit : str
    undetermined : tuple of str
        What the log does not determine, in plain words.
    """

    title: str
    names: tuple[str, ...]
    value: Floats
    low: Floats
    high: Floats
    profiled: NDArray[np.bool_]
    at_bound: NDArray[np.bool_]
    correlation: Floats
    time_s: Floats
    residual: Floats
    residual_unit: str
    undetermined: tuple[str, ...] = ()

    def estimate(self, name: str) -> tuple[float, float, float]:
        """Return value, low and high of one number."""
        place = self.names.index(name)
        return float(self.value[place]), float(self.low[place]), float(self.high[place])

    def most_bound_up(self, name: str) -> tuple[str, float] | None:
        """Return with which number one correlates most and how much; None below `_BOUND_UP`."""
        row = self.correlation[self.names.index(name)].copy()
        row[self.names.index(name)] = 0.0
        other = int(np.argmax(np.abs(row)))
        return (self.names[other], float(row[other])) if abs(row[other]) > _BOUND_UP else None


def robust_fit(
    residuals: Residuals,
    unknowns: Sequence[Unknown],
    *,
    title: str,
    time_s: Floats,
    residual_unit: str,
    block_rows: int,
    undetermined: Sequence[str] = (),
) -> Fit:
    """Fit by least squares with Cauchy's loss, which forgets outliers, and draw the intervals.

    Parameters
    ----------
    residuals : function of (unknown,) float64 to (row,) float64
        Measured less modelled, rows in the order of time.
    unknowns : sequence of Unknown
    title, time_s, residual_unit, undetermined
        As in `Fit`.
    block_rows : int
        Rows of a block; shorter where there would be too few blocks.
    """
    scaled_residuals, start, size, low, high = _scaled(residuals, unknowns)
    with _one_thread():
        settled = _settled(scaled_residuals, start, low, high, block_rows=block_rows)
    found, ends = settled.value, settled.ends
    with np.errstate(invalid="ignore", divide="ignore"):
        correlation = np.nan_to_num(np.corrcoef(settled.draws, rowvar=False).reshape(len(size), -1))
    names = tuple(unknown.name for unknown in unknowns)
    value = found * size
    near = 1e-6 * (high - low)
    at_bound = (found - low < near) | (high - found < near)
    unsure = () if ends.better is None else (
        "whether this is the best fit: other values fit better still, and the search did not come"
        " to rest; the intervals hold what it met",
    )  # fmt: skip
    return Fit(
        title=title,
        names=names,
        value=value,
        low=ends.low * size,
        high=ends.high * size,
        profiled=ends.profiled,
        at_bound=at_bound,
        correlation=correlation,
        time_s=time_s,
        residual=settled.residual,
        residual_unit=residual_unit,
        undetermined=(
            *undetermined,
            *unsure,
            *_unknowable(
                names,
                value,
                0.5 * (ends.high - ends.low) * size,
                correlation=correlation,
                at_end=at_bound,
            ),
        ),
    )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Optimum:
    """Where the loss is least, and all that belongs to that place.

    Attributes
    ----------
    value : (unknown,) float64
    residual : (row,) float64
    draws : (draw, unknown) float64
        Of the estimates' errors.
    ends : Ends
    """

    value: Floats
    residual: Floats
    draws: Floats
    ends: Ends


def _settled(
    residuals: Residuals, start: Floats, low: Floats, high: Floats, *, block_rows: int
) -> _Optimum:
    """Return the optimum from which the search for the intervals meets no better place.

    Where it meets better places again and again, the last one's intervals reach over what is
    better still.
    """

    def optimum(start: Floats, *, past_better: bool = False) -> _Optimum:
        loss, value = _least(residuals, start, low, high)
        residual = residuals(value)
        jacobian = slopes(residuals, value, high)
        blocks = blocks_of(jacobian, residual, loss.scale, block_rows)
        draws = blocks.draws(loss.held)
        half = blocks.half_width(draws)
        # All rows together know less of it than the one that holds it.
        half[np.sum(jacobian**2, axis=0) < loss.held**2] = np.inf
        ends = profile_ends(loss, value, half, blocks.curvature, past_better=past_better)
        return _Optimum(value=value, residual=residual, draws=draws, ends=ends)

    found = optimum(start)
    for restart in range(_MOST_RESTARTS):
        if found.ends.better is None:
            break
        found = optimum(found.ends.better, past_better=restart == _MOST_RESTARTS - 1)
    return found


def best(residuals: Residuals, unknowns: Sequence[Unknown]) -> tuple[Floats, Floats]:
    """Return the values of least loss, (unknown,), and the residuals there, (row,)."""
    scaled_residuals, start, size, low, high = _scaled(residuals, unknowns)
    with _one_thread():
        _, found = _least(scaled_residuals, start, low, high)
        return found * size, scaled_residuals(found)


def explained(before: Floats, after: Floats) -> float:
    """Return how much less loss the residuals after hold than those before, in their variances."""
    spread = _spread(after)
    loss = [np.log1p((left / (_TUNING * spread)) ** 2).sum() for left in (before, after)]
    return _TUNING**2 * float(loss[0] - loss[1])


def _one_thread() -> AbstractContextManager[object]:
    """Keep linear algebra on one thread.

    Its matrices have a few columns: two threads take six times the processor's time of one, and
    could change last bits.
    """
    limited: AbstractContextManager[object] = threadpool_limits(limits=1, user_api="blas")
    return limited


def _scaled(
    residuals: Residuals, unknowns: Sequence[Unknown]
) -> tuple[Residuals, Floats, Floats, Floats, Floats]:
    """Return residuals of unknowns of size one, their start, that size, and their bounds.

    The size is about how far an unknown may be from its start.
    """
    value = np.array([unknown.start for unknown in unknowns])
    low = np.array([unknown.low for unknown in unknowns])
    high = np.array([unknown.high for unknown in unknowns])
    size = np.maximum(np.abs(value), _LEAST_SIZE * (high - low))

    def scaled_residuals(scaled: Floats) -> Floats:
        return residuals(scaled * size)

    return scaled_residuals, value / size, size, low / size, high / size


def _least(residuals: Residuals, start: Floats, low: Floats, high: Floats) -> tuple[Loss, Floats]:
    """Return the loss, its width settled, and where it is least."""
    found = start
    for _ in range(2):  # the loss's width follows the residuals, which settle at once
        spread = _spread(residuals(found))
        # To move an unknown by its size costs as much as one row does that is one sigma off.
        loss = Loss(residuals=residuals, scale=_TUNING * spread, low=low, high=high, held=spread)
        found = loss.least(found, free=list(range(len(start))))
    return loss, found


def _spread(residual: Floats) -> float:
    return max(float(np.median(np.abs(residual))) / _MAD_PER_SIGMA, 1e-12)


def _unknowable(
    names: tuple[str, ...],
    value: Floats,
    half: Floats,
    *,
    correlation: Floats,
    at_end: NDArray[np.bool_],
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
