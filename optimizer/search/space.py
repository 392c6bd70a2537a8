"""The box of parameters that a study searches, and its map to the unit cube.

Everything that mixes or measures parameters (crossover, mutation, the surrogate) works in the unit
cube, where each parameter spans 0 to 1; files, tables and the plant only see real values.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from plant.arrays import Flags, Floats


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

    Raises
    ------
    ValueError
        No parameter, a name twice, bounds that are not finite or not in order, lengths that differ.
    """

    names: tuple[str, ...]
    low: Floats
    high: Floats
    log: Flags = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))

    def __post_init__(self) -> None:
        low, high = (np.array(bound, dtype=np.float64) for bound in (self.low, self.high))
        log = np.array(self.log, dtype=np.bool_) if len(self.log) else np.zeros(low.shape, np.bool_)
        _check(self.names, low, high, log=log)
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
    low[space.log], high[space.log] = np.log(low[space.log]), np.log(high[space.log])
    return low, high


def clip(space: Space, values: ArrayLike) -> Floats:
    """Return the nearest values inside the bounds, (candidate, parameter)."""
    return np.clip(np.asarray(values, dtype=np.float64), space.low, space.high)


def to_unit(space: Space, values: ArrayLike) -> Floats:
    """Map (candidate, parameter) values inside the bounds to the unit cube."""
    low, high = _ends(space)
    inner = clip(space, values)
    inner = np.where(space.log, np.log(np.where(space.log, inner, 1.0)), inner)
    return np.clip((inner - low) / (high - low), 0.0, 1.0)


def from_unit(space: Space, unit: ArrayLike) -> Floats:
    """Map (candidate, parameter) points of the unit cube to values; 0 and 1 give the bounds."""
    low, high = _ends(space)
    point = np.clip(np.asarray(unit, dtype=np.float64), 0.0, 1.0)
    inner = low * (1.0 - point) + high * point
    values = clip(space, np.where(space.log, np.exp(np.where(space.log, inner, 0.0)), inner))
    # The logarithm and back may miss a bound by its last bit.
    return np.where(point == 0.0, space.low, np.where(point == 1.0, space.high, values))


def at_bound(space: Space, values: ArrayLike, *, tolerance: float = 1e-3) -> Flags:
    """Say which parameters sit at a bound of the space.

    Parameters
    ----------
    values : (candidate, parameter) float64
        Values inside the bounds.
    tolerance : float
        Distance from a bound, as a fraction of the range, that still counts as at the bound.

    Returns
    -------
    (candidate, parameter) bool
    """
    unit = to_unit(space, values)
    return (unit <= tolerance) | (unit >= 1.0 - tolerance)
