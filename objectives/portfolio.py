"""From rides to a portfolio: a weighted mean blended with the tail, so no terrible ride can hide.

Values are costs: larger is worse. The last axis is the ride.
"""

import numpy as np
from numpy.typing import NDArray


def expected_shortfall(
    values: NDArray[np.float64], weight: NDArray[np.float64], share: float
) -> NDArray[np.float64]:
    """Return the weighted mean of the worst share of the rides.

    Parameters
    ----------
    values : (..., ride) float64
    weight : (ride,) float64
        Above zero; only their proportions matter.
    share : float
        Above 0 and at most 1; at 1 this is the weighted mean.

    Returns
    -------
    (...) float64

    Notes
    -----
    The ride at the edge of the tail counts with the part of its weight that completes the share
    (Rockafellar & Uryasev 2002: for discrete outcomes the mean of those beyond the quantile is
    another number).
    """
    weight = weight / weight.sum()
    worst_first = np.argsort(-values, axis=-1, kind="stable")
    sorted_values = np.take_along_axis(values, worst_first, axis=-1)
    sorted_weight = weight[worst_first]
    before = np.cumsum(sorted_weight, axis=-1) - sorted_weight
    taken = np.clip(share - before, 0.0, sorted_weight)
    total: NDArray[np.float64] = np.sum(taken * sorted_values, axis=-1) / np.sum(taken, axis=-1)
    return total


def weighted_sum(
    values: NDArray[np.float64] | NDArray[np.bool_], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the sum of weight times value over the last axis, row by row.

    A matrix product would sum the same row in another order in another batch, and a candidate's
    last bits must not depend on which others are ridden with it.
    """
    terms = np.ascontiguousarray(values * weight, dtype=np.float64)
    total: NDArray[np.float64] = terms.sum(axis=-1)
    return total


def blend(
    values: NDArray[np.float64],
    weight: NDArray[np.float64],
    *,
    tail_share: float,
    tail_weight: float,
) -> NDArray[np.float64]:
    """Return (1 - tail weight) weighted mean + tail weight expected shortfall, for each candidate.

    Parameters
    ----------
    values : (..., ride) float64
    weight : (ride,) float64
        Above zero.
    tail_share : float
        Share of the ride weight that is the tail, above 0 and at most 1.
    tail_weight : float
        From 0, the plain mean, to 1, the tail alone.

    Returns
    -------
    (...) float64
    """
    values = np.ascontiguousarray(values)
    mean = weighted_sum(values, weight / weight.sum())
    tail = expected_shortfall(values, weight, tail_share)
    blended: NDArray[np.float64] = (1.0 - tail_weight) * mean + tail_weight * tail
    return blended
