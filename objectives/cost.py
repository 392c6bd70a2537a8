"""One weighted cost, normalised so that the baseline profile scores 1."""

import numpy as np
from numpy.typing import NDArray

from objectives.portfolio import weighted_sum


def weighted_cost(
    objectives: NDArray[np.float64],
    baseline_objectives: NDArray[np.float64],
    weights: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the sum of weight times objective over baseline objective, over the sum of weights.

    Parameters
    ----------
    objectives : (candidate, objective) float64
    baseline_objectives : (objective,) float64
        Above zero.
    weights : (objective,) float64
        From zero up, not all zero.

    Returns
    -------
    (candidate,) float64

    Raises
    ------
    ValueError
        A baseline objective is not above zero, or the weights give no sum.
    """
    if not np.all(baseline_objectives > 0.0):
        raise ValueError(
            f"baseline_objectives: each must be above zero to divide by, got {baseline_objectives}"
        )
    if not (np.all(weights >= 0.0) and np.sum(weights) > 0.0):
        raise ValueError(f"weights: must be zero or above and not all zero, got {weights}")
    cost: NDArray[np.float64] = weighted_sum(
        objectives, weights / weights.sum() / baseline_objectives
    )
    return cost
