"""The box of parameters that a study searches, its map to the unit cube, and its grid.

Everything that mixes or measures parameters (crossover, mutation, the surrogate) works in the unit
cube, where each parameter spans 0 to 1; files, tables and the plant only see real values.

What is proposed lies on a grid of numbers with few digits, because a person types them into a
firmware. The grid also takes away the last bits of a value, by which computers differ.
"""

import functools
import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from plant.arrays import Flags, Floats
from plant.compile import kernel
from plant.elementary import exponential, logarithm
from plant.physics.scalar_math import clip as clipped

TYPED_STEPS = 500  # assumed: finer than anybody feels, and three digits to type


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Space:
    """Names and bounds of the searched parameters.

    Parameters
    ----------
    names : tuple of str
        One name for each parameter, each once; units are at the end of the names.
    low, high : (parameter,) float64
        Bounds, both included, in the units of the names.
    log : (parameter,) bool, optional
        Parameters spaced by ratio instead of by difference, with bounds above zero; none if empty.
    n_steps : tuple of int, optional
        At least so many steps has the grid of each parameter between its bounds; see `on_grid`.
        `TYPED_STEPS` if empty.

    Raises
    ------
    ValueError
        No parameter, a name twice, bounds that are not finite or not in order, lengths that differ.
    """

    names: tuple[str, ...]
    low: Floats
    high: Floats
    log: Flags = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    n_steps: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        low, high = (np.array(bound, dtype=np.float64) for bound in (self.low, self.high))
        log = np.array(self.log, dtype=np.bool_) if len(self.log) else np.zeros(low.shape, np.bool_)
        _check(self.names, low, high, log=log)
        n_steps = self.n_steps or (TYPED_STEPS,) * len(self.names)
        if len(n_steps) != len(self.names) or min(n_steps) < 1:
            raise ValueError(f"n_steps: must be a number from 1 up for each name, got {n_steps}")
        object.__setattr__(self, "n_steps", tuple(n_steps))
        for name, value in (("low", low), ("high", high), ("log", log)):
            value.flags.writeable = False
            object.__setattr__(self, name, value)

    @property
    def n_parameters(self) -> int:
        """Number of searched parameters."""
        return len(self.names)


def _check(names: tuple[str, ...], low: Floats, high: Floats, *, log: Flags) -> None:
    if not names or len(set(names)) != len(names):
        raise ValueError(f"a space needs at least one name and each only once, got {names}")
    if not low.shape == high.shape == log.shape == (len(names),):
        raise ValueError(
            f"a space of {len(names)} names needs as many bounds,"
            f" got low {low.shape}, high {high.shape}, log {log.shape}"
        )
    for name, lower, upper, by_ratio in zip(
        names, low.tolist(), high.tolist(), log.tolist(), strict=True
    ):
        if not (np.isfinite(lower) and np.isfinite(upper) and lower < upper):
            raise ValueError(f"{name}: low must be below high, got low={lower}, high={upper}")
        if not np.isfinite(upper - lower):
            raise ValueError(f"{name}: the range is too wide, got low={lower}, high={upper}")
        if by_ratio and lower <= 0.0:
            raise ValueError(f"{name}: a log scale needs low above zero, got low={lower}")


def _ends(space: Space) -> tuple[Floats, Floats]:
    low, high = space.low.copy(), space.high.copy()
    low[space.log], high[space.log] = logarithm(low[space.log]), logarithm(high[space.log])
    return low, high


def clip(space: Space, values: ArrayLike) -> Floats:
    """Return the nearest values inside the bounds, (candidate, parameter)."""
    return np.clip(np.asarray(values, dtype=np.float64), space.low, space.high)


def to_unit(space: Space, values: ArrayLike) -> Floats:
    """Map (candidate, parameter) values inside the bounds to the unit cube."""
    low, high = _ends(space)
    inner = clip(space, values)
    inner[..., space.log] = logarithm(inner[..., space.log])
    return np.clip((inner - low) / (high - low), 0.0, 1.0)


def from_unit(space: Space, unit: ArrayLike) -> Floats:
    """Map (candidate, parameter) points of the unit cube to values; 0 and 1 give the bounds."""
    low, high = _ends(space)
    point = np.clip(np.asarray(unit, dtype=np.float64), 0.0, 1.0)
    inner = low * (1.0 - point) + high * point
    inner[..., space.log] = exponential(inner[..., space.log])
    values = clip(space, inner)
    # The logarithm and back may miss a bound by its last bit.
    return np.where(point == 0.0, space.low, np.where(point == 1.0, space.high, values))


@functools.lru_cache(maxsize=64)
def _steps(ranges: tuple[float, ...], n_steps: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Return by what whole number and over what power of ten a place on the grid is its value."""
    by, over = np.ones(len(ranges)), np.ones(len(ranges))
    for place, (whole, n_least) in enumerate(zip(ranges, n_steps, strict=True)):
        # Rounded, so that a range of 0.8 - 0.3 is one of 0.5 and not a little less.
        digits, power = f"{whole / n_least:.9e}".split("e")
        mantissa = next(each for each in (5, 2, 1) if each <= float(digits))
        by[place] = mantissa * 10.0 ** max(int(power), 0)
        over[place] = 10.0 ** max(-int(power), 0)
    return by, over


def on_grid(space: Space, values: ArrayLike) -> Floats:
    """Return the nearest values on the grid between the bounds, (candidate, parameter).

    They are multiples of a step: the largest of 1, 2 or 5 times a power of ten of which at least
    `n_steps` fit between the bounds. Each is the number that its few decimals are read as: 0.35,
    and not 0.35000000000000003. Bounds that are no multiples are not on the grid themselves.
    Parameters spaced by ratio are rounded to so many significant digits as `n_steps` has, or more
    where the bounds are close, or to a bound where these lead outside.
    """
    inner = clip(space, values)
    by, over = _steps(tuple((space.high - space.low).tolist()), space.n_steps)
    # An exact product of whole numbers over an exact power of ten, rounded once.
    places = np.rint(inner * over / by)
    places += places * by / over < space.low
    places -= places * by / over > space.high
    rounded = clip(space, places * by / over)
    for parameter in np.flatnonzero(space.log).tolist():
        column, n_digits = inner[..., parameter], _n_digits(space, parameter)
        digits = [float(f"{value:.{n_digits}g}") for value in column.ravel().tolist()]
        rounded[..., parameter] = np.reshape(digits, column.shape)
    return clip(space, rounded) + 0.0  # without the sign of a zero


def _n_digits(space: Space, parameter: int) -> int:
    """Return the significant digits by which a parameter spaced by ratio has enough values.

    Next to one another, numbers of n digits differ by a ratio of 10^-n to 10^(1 - n).
    """
    low, high = space.low[parameter], space.high[parameter]
    n_least = space.n_steps[parameter]
    each = (math.log(high) - math.log(low)) / n_least
    return max(len(str(n_least)), math.ceil(0.5 - math.log10(each)))


def unit_on_grid(space: Space, unit: ArrayLike) -> Floats:
    """Return the points of the unit cube that `on_grid` makes of points, (candidate, parameter)."""
    if space.log.any():
        return to_unit(space, on_grid(space, from_unit(space, unit)))
    wide = np.broadcast_to(unit, np.broadcast_shapes(np.shape(unit), space.low.shape))
    points = np.array(wide, dtype=np.float64, order="C")
    steps = _steps(tuple((space.high - space.low).tolist()), space.n_steps)
    _put_on_grid(points.reshape(-1, space.n_parameters), (space.low, space.high), steps)
    return points


@kernel
def _put_on_grid(
    points: Floats, bounds: tuple[Floats, Floats], steps: tuple[Floats, Floats]
) -> None:
    """Replace points of the unit cube by those on the grid, all spaced evenly, in one pass.

    The numbers are those of `from_unit`, `on_grid` and `to_unit`, which say why.
    """
    for i in range(points.shape[0]):
        for j in range(points.shape[1]):
            low, high, by, over = bounds[0][j], bounds[1][j], steps[0][j], steps[1][j]
            point = clipped(points[i, j], 0.0, 1.0)
            of_low, of_high = low * (1.0 - point), high * point
            inner = clipped(of_low + of_high, low, high)
            inner = low if point == 0.0 else (high if point == 1.0 else inner)
            place = np.rint(inner * over / by)
            place = place + 1.0 if place * by / over < low else place
            place = place - 1.0 if place * by / over > high else place
            value = clipped(place * by / over, low, high) + 0.0
            points[i, j] = clipped((value - low) / (high - low), 0.0, 1.0)


def at_bound(space: Space, values: ArrayLike, *, tolerance: float = 1e-3) -> Flags:
    """Say which parameters sit at a bound of the space.

    Parameters
    ----------
    values : (candidate, parameter) float64
        Values inside the bounds.
    tolerance : float
        Distance from a bound, as a fraction of the range, that still counts as at the bound, as the
        outermost value of the grid does too.

    Returns
    -------
    (candidate, parameter) bool
    """
    unit = to_unit(space, values)
    # Not by `unit_on_grid`, whose compiler a lookup does not load.
    lowest, highest = (to_unit(space, on_grid(space, end)) for end in (space.low, space.high))
    return (unit <= np.maximum(tolerance, lowest)) | (unit >= np.minimum(1.0 - tolerance, highest))
