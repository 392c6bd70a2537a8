"""Polyharmonic splines through scattered points, with their error.

Duchon 1977, Lecture Notes in Mathematics 571: 85-100. Such a spline is also the best linear
forecast of an intrinsic random function (Matheron 1973, Adv. Applied Probability 5: 439-468), which
gives its standard deviation away from the points. The errors with each point left out follow from
the inverse of its equations (Dubrule 1983, Mathematical Geology 15: 687-699).

The trend of a spline passes through as many points as it has terms. What is left of outcomes and
kernel at the others is free of a trend, and its matrix is positive definite (Wendland 2005,
Scattered Data Approximation, section 10.3): a sixth of the work of the whole inverse is enough.
"""

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np

from optimizer.search.linear_algebra import (
    Factor,
    add_squared_distances,
    column_squares,
    padded,
    product,
    spanning,
    zeros,
)
from plant.arrays import Floats, Indices
from plant.compile import kernel as compiled
from plant.elementary import logarithms
from plant.physics.scalar_math import larger

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
    by : (other point, node and node) float64
        What of the kernel at the nodes, and of their shares, is the trend's at the other points.
    """

    to_nodes: Floats
    shares: Floats
    among: Floats
    by: Floats

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
            In whole vectors.
        """
        n_nodes, n_others, n_children = len(self.among), len(self.shares), bent.shape[1]
        shares = product(np.ascontiguousarray(self.to_nodes.T), terms)
        nodes = bent[:n_nodes]
        itself = ((product(self.among, shares) - 2.0 * nodes) * shares).sum(axis=0)
        others = zeros(n_others, n_children)
        of_trend = product(self.by, np.vstack([nodes, shares]))[:n_others]
        np.subtract(bent[n_nodes:], of_trend, out=others[:n_others, :n_children])
        return itself, others


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
        In whole vectors.
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
        return self._predicted(self._basis(pool), len(pool))

    def with_deviation(self, pool: Floats) -> tuple[Floats, Floats]:
        """Return the prediction and its standard deviation, both (child, outcome)."""
        basis, n = self._basis(pool), len(self.known)
        terms = basis[n : n + self.trend.to_nodes.shape[0], : len(pool)]
        at_nodes, free = self.trend.without(basis[:n, : len(pool)], terms)
        self.factor.half_solve(free)
        spread = np.maximum(at_nodes - column_squares(free)[: len(pool)], 0.0)
        return self._predicted(basis, len(pool)), np.sqrt(spread[:, None] * self.variance)

    def _predicted(self, basis: Floats, n_children: int) -> Floats:
        predicted = product(self.weights, basis)[: len(self.variance), :n_children]
        return np.ascontiguousarray(predicted.T)

    def left_out(self) -> Floats:
        """Return the errors at the points, each predicted from the others, (point, outcome).

        0 at a point that is nearly another one.
        """
        shares = self.trend.shares
        n_nodes, n_others = shares.shape[1], len(shares)
        halved = self.factor.half_solved(np.hstack([shares, np.eye(n_others)]))
        diagonal = (halved**2).sum(axis=0)
        inverse = np.where(diagonal > 0.0, diagonal, np.inf)
        weights = self._of_points()
        errors = np.empty((n_nodes + n_others, len(weights)))
        errors[self.places] = (weights / inverse).T
        return errors

    def slopes(self) -> Floats:
        """Return the root mean square slope over the points, (outcome, parameter)."""
        n = len(self.known)
        squared = zeros(n, n)
        add_squared_distances(squared, self.known, self.known)
        squared = squared[:n, :n]
        if self.kernel is Kernel.LINEAR:
            pull = -1.0 / np.sqrt(np.where(squared > 0.0, squared, np.inf))
        else:
            pull = np.maximum(squared, _LEAST)
            logarithms(pull.reshape(-1))
            pull += 1.0
            pull[squared == 0.0] = 0.0
        slopes = []
        planes = self.weights[: len(self.variance), n + 1 : n + 1 + self.known.shape[1]]
        for weights, plane in zip(self._of_points(), planes, strict=True):
            own, towards = weights[:, None], weights[:, None] * self.known
            pulled = product(pull, np.hstack([own, towards]))
            slope = self.known * pulled[:, :1] - pulled[:, 1:]
            if self.kernel is Kernel.THIN_PLATE:
                slope += plane
            slopes.append(np.sqrt(np.mean(slope**2, axis=0)) * self.scales)
        return np.array(slopes)

    def _of_points(self) -> Floats:
        """Return the weights of the points, (outcome, point)."""
        return self.weights[: len(self.variance), : len(self.known)]

    def _basis(self, pool: Floats) -> Floats:
        """Return the kernel about each point and the terms of the trend, (point + trend, child).

        In whole vectors.
        """
        return _basis(self.kernel, self.known, pool * self.scales - self.centre)


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
    is_other = np.ones(n, dtype=np.bool_)
    is_other[nodes] = False
    places = np.append(nodes, np.flatnonzero(is_other))
    known, outcomes = known[places], outcomes[places]
    bent = _basis(kernel, known, known)[:n, :n]
    shares = product(_terms(kernel, known[n_nodes:]), to_nodes)
    among = bent[:n_nodes, :n_nodes].copy()
    by_shares = product(among, np.ascontiguousarray(shares.T))
    across = bent[:n_nodes, n_nodes:]
    half = product(shares, across - 0.5 * by_shares)
    free = bent[n_nodes:, n_nodes:] - half
    free -= half.T
    factor = Factor(free)
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
            by=padded(np.hstack([shares, (across - by_shares).T])),
        ),
        factor=factor,
        weights=padded(np.vstack([weights, product(to_nodes, left)]).T),
        variance=np.maximum(np.mean(outcomes * weights, axis=0), 0.0),
    )


def spans(points: Floats) -> bool:
    """Say whether a thin plate's plane is fixed by the points."""
    return spanning(_terms(Kernel.THIN_PLATE, points)) is not None


def _basis(kernel: Kernel, known: Floats, scaled: Floats) -> Floats:
    n, terms = len(known), _terms(kernel, scaled).T
    basis = zeros(n + len(terms), len(scaled))
    add_squared_distances(basis, known, scaled)
    _bend(basis[:n], kernel is Kernel.LINEAR)
    basis[n : n + len(terms), : len(scaled)] = terms
    return basis


@compiled
def _bend(squared: Floats, is_linear: bool) -> None:
    """Replace squared distances by what a kernel makes of them: -r, or r^2 log r."""
    logs = np.empty(squared.shape[1], np.float64)
    for i in range(squared.shape[0]):
        row = squared[i]
        if is_linear:
            for j in range(row.shape[0]):
                row[j] = -math.sqrt(row[j])
        else:
            for j in range(row.shape[0]):
                logs[j] = larger(row[j], _LEAST)
            logarithms(logs)
            for j in range(row.shape[0]):
                row[j] = logs[j] * row[j] * 0.5


def _terms(kernel: Kernel, scaled: Floats) -> Floats:
    """Return the terms of a kernel's trend, (point, term): a level, for the thin plate a plane."""
    level = np.ones((len(scaled), 1))
    return level if kernel is Kernel.LINEAR else np.hstack([level, scaled])
