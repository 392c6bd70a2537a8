"""A surrogate that picks the most promising of many children before any is ridden.

Thin plate splines through the latest candidates (Duchon 1977; as a surrogate Gutmann 2001, J.
Global Optimization 19: 201-227). On the example study searches of 2,000 candidates with two seeds
found .92 and .97 of the merged front's volume with them, .80 and .86 with the linear kernel. One
global fit of 1,000 points was eleven times faster and no worse than a local fit of 120
neighbours.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator
from threadpoolctl import threadpool_limits

from optimizer.selection import best_first

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

# Points of the unit cube that agree to this many decimals are one point to the surrogate and to the
# check for repeats; two such rows would make the interpolation singular.
DECIMALS = 9


def predict(
    points: Floats, outcomes: Floats, pool: Floats, *, n_latest: int | None = None
) -> Floats:
    """Predict the outcomes of the pool from those of ridden points.

    Parameters
    ----------
    points : (candidate, parameter) float64
        Ridden points of the unit cube in number order; repeats are taken once.
    outcomes : (candidate, outcome) float64
        Objectives and constraints of the points.
    pool : (child, parameter) float64
        Points of the unit cube to predict.
    n_latest : int, optional
        Use only so many of the last points.

    Returns
    -------
    (child, outcome) float64
        The same bytes whatever number of threads the linear algebra library would use.
    """
    start = 0 if n_latest is None else max(0, len(points) - n_latest)
    recent, known = points[start:], outcomes[start:]
    _, first = np.unique(np.round(recent, DECIMALS), axis=0, return_index=True)
    once = np.sort(first)
    # The solver splits its sums by thread, so their last bits depend on the number of threads.
    with threadpool_limits(limits=1, user_api="blas"):
        spans = np.linalg.matrix_rank(recent[once] - recent[once[0]]) == recent.shape[1]
        # A spline's plane needs points in every direction; the linear kernel does without.
        surrogate = (
            RBFInterpolator(recent[once], known[once], kernel="thin_plate_spline")
            if spans
            else RBFInterpolator(recent[once], known[once], kernel="linear")
        )
        return np.asarray(surrogate(pool), dtype=np.float64)


def screen(
    pool: Floats,
    *,
    points: Floats,
    objectives: Floats,
    constraints: Floats,
    n_chosen: int,
    n_latest: int,
) -> Indices:
    """Return the rows of the pool that are predicted best, the best first.

    Parameters
    ----------
    pool : (child, parameter) float64
        Points of the unit cube.
    points, objectives, constraints : (candidate, ...) float64
        What has been ridden.
    n_chosen : int
        How many to choose.
    n_latest : int
        How many of the last ridden points the surrogate sees.

    Returns
    -------
    (`n_chosen`,) int
    """
    n_objectives = objectives.shape[1]
    predicted = predict(points, np.hstack([objectives, constraints]), pool, n_latest=n_latest)
    return best_first(predicted[:, :n_objectives], predicted[:, n_objectives:], n_best=n_chosen)
