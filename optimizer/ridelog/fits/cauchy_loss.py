"""Cauchy's loss of a model's residuals, and the values at which it is least.

One row more for each free unknown holds a search near its start (proximal point: Rockafellar 1976,
SIAM J. Control Optim. 14:877; from memory). Without it, rounding errors would choose the value of
an unknown on which the rows hardly depend, and with it the optimum that is found. A search that
starts again where the last one ended is not held back, so estimates are not drawn to the start.
"""

import dataclasses
from collections.abc import Callable

import numpy as np
from scipy.optimize import least_squares

from plant.arrays import Floats

FEW_STEPS, _MANY_STEPS = 12, 200
_SLOPE_STEP = 1e-6  # over the value: so wide that rounding of the rows does not count
_LEAST_SLOPE_STEP = 1e-8


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loss:
    """Cauchy's loss of a model's residuals between bounds.

    Attributes
    ----------
    residuals : function of (unknown,) float64 to (row,) float64
    scale : float
        Residual from which a row counts less.
    low, high : (unknown,) float64
    held : float
        Residual of the row that holds an unknown, a distance of one away from where a search
        starts; 0 where nothing holds it.
    """

    residuals: Callable[[Floats], Floats]
    scale: float
    low: Floats
    high: Floats
    held: float = 0.0

    def __call__(self, value: Floats) -> float:
        """Return twice the loss, which rises by one over a standard deviation of unit noise."""
        square = (self.residuals(value) / self.scale) ** 2
        return self.scale**2 * float(np.log1p(square).sum())

    def least(self, start: Floats, *, free: list[int], quick: bool = False) -> Floats:
        """Return the value of least loss with only some of the unknowns free.

        A `quick` search ends after a few steps.
        """
        low, high = self.low[free], self.high[free]
        begun = np.clip(start[free], low, high)
        n_free = len(free)

        def whole(part: Floats) -> Floats:
            value = start.copy()
            value[free] = part
            return value

        def rows(part: Floats) -> Floats:
            return np.concatenate([self.residuals(whole(part)), self.held * (part - begun)])

        def row_slopes(part: Floats) -> Floats:
            of_data = slopes(lambda there: self.residuals(whole(there)), part, high)
            return np.concatenate([of_data, self.held * np.eye(n_free)])

        def height(square: Floats) -> Floats:
            """Return loss and its two derivatives, as scipy asks; rows that hold stay squares."""
            weight = 1.0 / (1.0 + square)
            loss = np.stack([np.log1p(square), weight, -(weight**2)])
            loss[:, -n_free:] = square[-n_free:], np.ones(n_free), np.zeros(n_free)
            return loss

        found = least_squares(
            rows,
            begun,
            jac=row_slopes,
            bounds=(low, high),
            loss=height,  # type: ignore[arg-type]  # the stubs ask for an argument never given
            f_scale=self.scale,
            ftol=1e-6 if quick else 1e-7,
            xtol=1e-7,
            max_nfev=FEW_STEPS if quick else _MANY_STEPS,
        )
        return whole(found.x)


def slopes(residuals: Callable[[Floats], Floats], value: Floats, high: Floats) -> Floats:
    """Return the derivatives of the residuals by one-sided differences, (row, unknown).

    Parameters
    ----------
    residuals : function of (unknown,) float64 to (row,) float64
    value, high : (unknown,) float64
        Where, and the upper bound, over which no step goes.
    """
    here = residuals(value)
    columns = np.empty((len(here), len(value)))
    for place in range(len(value)):
        step = max(_SLOPE_STEP * abs(float(value[place])), _LEAST_SLOPE_STEP)
        there = value.copy()
        there[place] += step if value[place] + step <= high[place] else -step
        columns[:, place] = (residuals(there) - here) / (there[place] - value[place])
    return columns
