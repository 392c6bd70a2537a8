"""Polyharmonic splines through scattered points, with their error.

Duchon 1977, Lecture Notes in Mathematics 571: 85-100. Such a spline is also the best linear
forecast of an intrinsic random function (Matheron 1973, Adv. Applied Probability 5: 439-468), which
gives its standard deviation away from the points. The errors with each point left out follow from
the same inverse (Dubrule 1983, Mathematical Geology 15: 687-699).
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from scipy.spatial.distance import pdist, squareform

from plant.arrays import Floats

_LEAST = 1e-300  # of a squared distance, for its logarithm


class Kernel(Enum):
    """How a spline bends: linear follows rough outcomes, thin plate smooth ones."""

    LINEAR = "linear"
    THIN_PLATE = "thin plate"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spline:
    """A spline; made by `spline`.

    Attributes
    ----------
    kernel : Kernel
    scales : (parameter,) float64
        By which parameters are multiplied before distances are taken; in all, such that the points
        lie 1 from their centre in the root mean square.
    centre : (parameter,) float64
        Mean of the scaled points.
    known : (point, parameter) float64
        Scaled points less their centre.
    inverse : (point + trend, point + trend) float64, or None
        Of the system of equations, where errors were asked for.
    weights : (point + trend, outcome) float64
    variance : (outcome,) float64
        Of the random function, for a kernel of 1.
    """

    kernel: Kernel
    scales: Floats
    centre: Floats
    known: Floats
    inverse: Floats | None
    weights: Floats
    variance: Floats

    def __call__(self, pool: Floats) -> Floats:
        """Return the prediction at (child, parameter), (child, outcome)."""
        predicted: Floats = self._basis(pool) @ self.weights
        return predicted

    def with_deviation(self, pool: Floats) -> tuple[Floats, Floats]:
        """Return the prediction and its standard deviation, both (child, outcome).

        Raises
        ------
        ValueError
            The spline was made without errors.
        """
        basis = self._basis(pool)
        spread = np.maximum(-np.einsum("ij,ij->i", basis @ self._asked_inverse(), basis), 0.0)
        return basis @ self.weights, np.sqrt(np.outer(spread, self.variance))

    def left_out(self) -> Floats:
        """Return the errors at the points, each predicted from the others, (point, outcome).

        Raises
        ------
        ValueError
            The spline was made without errors.
        """
        n = len(self.known)
        errors: Floats = self.weights[:n] / np.diag(self._asked_inverse())[:n, None]
        return errors

    def slopes(self) -> Floats:
        """Return the root mean square slope over the points, (outcome, parameter)."""
        n = len(self.known)
        squared = squareform(pdist(self.known, "sqeuclidean"))
        if self.kernel is Kernel.LINEAR:
            pull = -1.0 / np.sqrt(np.where(squared > 0.0, squared, np.inf))
        else:
            pull = np.log(np.maximum(squared, _LEAST)) + 1.0
            pull[squared == 0.0] = 0.0
        slopes = []
        for outcome, weights in enumerate(self.weights[:n].T):
            slope = self.known * (pull @ weights)[:, None] - pull @ (weights[:, None] * self.known)
            if self.kernel is Kernel.THIN_PLATE:
                slope += self.weights[n + 1 :, outcome]
            slopes.append(np.sqrt(np.mean(slope**2, axis=0)) * self.scales)
        return np.array(slopes)

    def _asked_inverse(self) -> Floats:
        if self.inverse is None:
            raise ValueError("a spline has errors only if it was made with them")
        return self.inverse

    def _basis(self, pool: Floats) -> Floats:
        scaled = pool * self.scales - self.centre
        bent = _bent(self.kernel, _squared_distances(scaled, self.known))
        return np.hstack([bent, _trend(self.kernel, scaled)])


def spline(
    points: Floats, outcomes: Floats, *, kernel: Kernel, scales: Floats, errors: bool = False
) -> Spline:
    """Return the spline through points.

    Parameters
    ----------
    points : (point, parameter) float64
        All different; for a thin plate spanning every direction.
    outcomes : (point, outcome) float64
    kernel : Kernel
    scales : (parameter,) float64
        Positive.
    errors : bool
        Whether it will be asked for deviations or for errors left out, which takes three times as
        long.

    Raises
    ------
    numpy.linalg.LinAlgError
        Points repeat or do not span.
    """
    # A spline is the same at any size, but in a narrow cluster its equations are near singular.
    spread = float(np.sqrt(np.var(points * scales, axis=0).sum()))
    scales = scales / (spread if spread > 0.0 else 1.0)
    scaled = points * scales
    centre = scaled.mean(axis=0)
    known = scaled - centre
    trend = _trend(kernel, known)
    n, n_trend = trend.shape
    system = np.zeros((n + n_trend, n + n_trend))
    # Not the matrix product: two points at distance 0 would make the system singular.
    system[:n, :n] = _bent(kernel, squareform(pdist(known, "sqeuclidean")))
    system[:n, n:] = trend
    system[n:, :n] = trend.T
    known_outcomes = np.vstack([outcomes, np.zeros((n_trend, outcomes.shape[1]))])
    inverse = np.linalg.inv(system) if errors else None
    if inverse is None:
        weights = np.linalg.solve(system, known_outcomes)
    else:
        weights = inverse @ known_outcomes
    return Spline(
        kernel=kernel,
        scales=scales,
        centre=centre,
        known=known,
        inverse=inverse,
        weights=weights,
        variance=np.maximum(np.mean(outcomes * weights[:n], axis=0), 0.0),
    )


def spans(points: Floats) -> bool:
    """Say whether a thin plate's plane is fixed by the points."""
    return bool(np.linalg.matrix_rank(points - points[0]) == points.shape[1])


def _squared_distances(one: Floats, other: Floats) -> Floats:
    """Return them by one matrix product; points within 1e-7 of each other may be 0 apart."""
    squared = (one**2).sum(axis=1)[:, None] + (other**2).sum(axis=1) - 2.0 * (one @ other.T)
    distances: Floats = np.maximum(squared, 0.0)
    return distances


def _bent(kernel: Kernel, squared: Floats) -> Floats:
    if kernel is Kernel.LINEAR:
        return -np.sqrt(squared)
    bent: Floats = 0.5 * squared * np.log(np.maximum(squared, _LEAST))
    return bent


def _trend(kernel: Kernel, scaled: Floats) -> Floats:
    """Return what a kernel leaves to fix: a level, and for the thin plate a plane."""
    level = np.ones((len(scaled), 1))
    return level if kernel is Kernel.LINEAR else np.hstack([level, scaled])
