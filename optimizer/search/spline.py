"""Polyharmonic splines through scattered points, with their error.

Duchon 1977, Lecture Notes in Mathematics 571: 85-100. Such a spline is also the best linear
forecast of an intrinsic random function (Matheron 1973, Adv. Applied Probability 5: 439-468), which
gives its standard deviation away from the points. The errors with each point left out follow from
the inverse of its equations (Dubrule 1983, Mathematical Geology 15: 687-699).

The trend of a spline passes through as many points as it has terms. What is left of outcomes and
kernel at the others is free of a trend, and its matrix is positive definite (Wendland 2005,
Scattered Data Approximation, section 10.3): a sixth of the work of the whole inverse is enough.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np

from optimizer.search.linear_algebra import Factor, product, spanning, squared_distances
from plant.arrays import Floats, Indices
from plant.elementary import logarithms

_LEAST = 1e-300  # of a squared distance, for its logarithm


class Kernel(Enum):
    """How a spline bends: linear follows rough outcomes, thin plate smooth ones."""

    LINEAR = "linear"
    THIN_PLATE = "thin plate"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trend:
    """The trend through some points, its nodes, and what is left of a kernel beside it.

    Attributes
    ----------
    to_nodes : (trend, node) float64
        From the terms of the trend at a point to the shares of the nodes there.
    shares : (other point, node) float64
        Of the nodes at the other points.
    among : (node, node) float64
        The kernel between the nodes.
    across : (node, other point) float64
        The kernel between nodes and others, less what the shares make of `among`.
    """

    to_nodes: Floats
    shares: Floats
    among: Floats
    across: Floats

    def without(self, bent: Floats, terms: Floats) -> tuple[Floats, Floats]:
        """Return a kernel free of the trend: with itself, and with the other points.

        Parameters
        ----------
        bent : (point, child) float64
            Kernel between all points and children; with itself a child has 0.
        terms : (trend, child) float64

        Returns
        -------
        itself : (child,) float64
        others : (other point, child) float64
        """
        n_nodes = len(self.among)
        shares = product(np.ascontiguousarray(self.to_nodes.T), np.ascontiguousarray(terms))
        nodes = bent[:n_nodes]
        itself = ((product(self.among, shares) - 2.0 * nodes) * shares).sum(axis=0)
        by = np.hstack([self.shares, np.ascontiguousarray(self.across.T)])
        return itself, bent[n_nodes:] - product(by, np.vstack([nodes, shares]))


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
        Scaled points less their centre, those first that fix the trend.
    places : (point,) int
        Where each of them was given.
    trend : Trend
    factor : Factor
        Of the kernel between the other points, free of the trend.
    weights : (outcome, point + trend) float64
    variance : (outcome,) float64
        Of the random function, for a kernel of 1.
    """

    kernel: Kernel
    scales: Floats
    centre: Floats
    known: Floats
    places: Indices
    trend: Trend
    factor: Factor
    weights: Floats
    variance: Floats

    def __call__(self, pool: Floats) -> Floats:
        """Return the prediction at (child, parameter), (child, outcome)."""
        return np.ascontiguousarray(product(self.weights, self._basis(pool)).T)

    def with_deviation(self, pool: Floats) -> tuple[Floats, Floats]:
        """Return the prediction and its standard deviation, both (child, outcome)."""
        basis, n = self._basis(pool), len(self.known)
        bent, terms = basis[:n], basis[n:]
        at_nodes, free = self.trend.without(bent, terms)
        halved = self.factor.half_solved(free)
        spread = np.maximum(at_nodes - (halved**2).sum(axis=0), 0.0)
        predicted = np.ascontiguousarray(product(self.weights, basis).T)
        return predicted, np.sqrt(spread[:, None] * self.variance)

    def left_out(self) -> Floats:
        """Return the errors at the points, each predicted from the others, (point, outcome).

        0 at a point that is nearly another one.
        """
        shares = self.trend.shares
        n_nodes, n_others = shares.shape[1], len(shares)
        halved = self.factor.half_solved(np.hstack([shares, np.eye(n_others)]))
        diagonal = (halved**2).sum(axis=0)
        inverse = np.where(diagonal > 0.0, diagonal, np.inf)
        errors = np.empty((n_nodes + n_others, len(self.weights)))
        errors[self.places] = (self.weights[:, : len(inverse)] / inverse).T
        return errors

    def slopes(self) -> Floats:
        """Return the root mean square slope over the points, (outcome, parameter)."""
        n = len(self.known)
        squared = squared_distances(self.known, self.known)
        if self.kernel is Kernel.LINEAR:
            pull = -1.0 / np.sqrt(np.where(squared > 0.0, squared, np.inf))
        else:
            pull = np.maximum(squared, _LEAST)
            logarithms(pull.reshape(-1))
            pull += 1.0
            pull[squared == 0.0] = 0.0
        slopes = []
        for weights in self.weights:
            own, towards = weights[:n, None], weights[:n, None] * self.known
            pulled = product(pull, np.hstack([own, towards]))
            slope = self.known * pulled[:, :1] - pulled[:, 1:]
            if self.kernel is Kernel.THIN_PLATE:
                slope += weights[n + 1 :]
            slopes.append(np.sqrt(np.mean(slope**2, axis=0)) * self.scales)
        return np.array(slopes)

    def _basis(self, pool: Floats) -> Floats:
        """Return the kernel about each point and the terms of the trend, (point + trend, child)."""
        scaled = pool * self.scales - self.centre
        bent = _bent(self.kernel, squared_distances(self.known, scaled))
        return np.vstack([bent, _terms(self.kernel, scaled).T])


def spline(points: Floats, outcomes: Floats, *, kernel: Kernel, scales: Floats) -> Spline:
    """Return the spline through points.

    Parameters
    ----------
    points : (point, parameter) float64
        For a thin plate spanning every direction. A point that is nearly another one is left out.
    outcomes : (point, outcome) float64
    kernel : Kernel
    scales : (parameter,) float64
        Positive.

    Raises
    ------
    ValueError
        Points do not span.
    """
    # A spline is the same at any size, but in a narrow cluster its equations are near singular.
    spread = float(np.sqrt(np.var(points * scales, axis=0).sum()))
    scales = scales / (spread if spread > 0.0 else 1.0)
    scaled = points * scales
    centre = scaled.mean(axis=0)
    known = scaled - centre
    found = spanning(_terms(kernel, known))
    if found is None:
        raise ValueError(f"a {kernel.value} spline needs points that span every direction")
    nodes, to_nodes = found
    n_nodes, n = len(nodes), len(known)
    places = np.append(nodes, np.setdiff1d(np.arange(n), nodes))
    known, outcomes = known[places], outcomes[places]
    bent = _bent(kernel, squared_distances(known, known))
    shares = product(_terms(kernel, known[n_nodes:]), to_nodes)
    among = bent[:n_nodes, :n_nodes].copy()
    by_shares = product(among, np.ascontiguousarray(shares.T))
    half = product(shares, bent[:n_nodes, n_nodes:] - 0.5 * by_shares)
    factor = Factor(bent[n_nodes:, n_nodes:] - half - half.T)
    others = factor.solved(outcomes[n_nodes:] - product(shares, outcomes[:n_nodes]))
    weights = np.vstack([-product(np.ascontiguousarray(shares.T), others), others])
    left = outcomes[:n_nodes] - product(bent[:n_nodes], weights)
    return Spline(
        kernel=kernel,
        scales=scales,
        centre=centre,
        known=known,
        places=places,
        trend=Trend(
            to_nodes=to_nodes,
            shares=shares,
            among=among,
            across=bent[:n_nodes, n_nodes:] - by_shares,
        ),
        factor=factor,
        weights=np.ascontiguousarray(np.vstack([weights, product(to_nodes, left)]).T),
        variance=np.maximum(np.mean(outcomes * weights, axis=0), 0.0),
    )


def spans(points: Floats) -> bool:
    """Say whether a thin plate's plane is fixed by the points."""
    return spanning(_terms(Kernel.THIN_PLATE, points)) is not None


def _bent(kernel: Kernel, squared: Floats) -> Floats:
    if kernel is Kernel.LINEAR:
        return -np.sqrt(squared)
    bent = np.maximum(squared, _LEAST)
    logarithms(bent.reshape(-1))
    bent *= squared
    bent *= 0.5
    return bent


def _terms(kernel: Kernel, scaled: Floats) -> Floats:
    """Return the terms of a kernel's trend, (point, term): a level, for the thin plate a plane."""
    level = np.ones((len(scaled), 1))
    return level if kernel is Kernel.LINEAR else np.hstack([level, scaled])
