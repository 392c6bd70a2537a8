"""A surrogate of the rides: thin plate splines through the outcomes of ridden candidates.

Thin plate splines: Duchon 1977; as a surrogate Gutmann 2001, J. Global Optimization 19: 201-227. Of
the example study's candidates they foresaw each next generation's ranks as well as the linear and
the cubic kernel or better, smoothing made them no better, and one global fit of 1,000 points was
eleven times faster and no worse than a local fit of 120 neighbours.
"""

from collections.abc import Callable, Set
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RBFInterpolator

Floats = NDArray[np.float64]
Predict: TypeAlias = Callable[[Floats], Floats]

# Points of the unit cube that agree to this many decimals are one point to the surrogate and to the
# check for repeats; two such rows would make the interpolation singular.
DECIMALS = 9


def interpolated(points: Floats, outcomes: Floats) -> Predict:
    """Return the thin plate spline through ridden points.

    Parameters
    ----------
    points : (candidate, parameter) float64
        Ridden points of the unit cube in number order; repeats are taken once.
    outcomes : (candidate, outcome) float64

    Returns
    -------
    callable
        From (child, parameter) to (child, outcome).
    """
    _, first = np.unique(np.round(points, DECIMALS), axis=0, return_index=True)
    once = np.sort(first)
    known = points[once]
    spans = np.linalg.matrix_rank(known - known[0]) == known.shape[1]
    # A spline's plane needs points in every direction; the linear kernel does without.
    kernel: Literal["thin_plate_spline", "linear"] = "thin_plate_spline" if spans else "linear"
    spline = RBFInterpolator(known, outcomes[once], kernel=kernel)

    def predict(pool: Floats) -> Floats:
        return np.asarray(spline(pool), dtype=np.float64)

    return predict


def fitted(points: Floats, objectives: Floats, constraints: Floats) -> Predict:
    """Return the function that foresees objectives and constraints.

    Parameters
    ----------
    points : (candidate, parameter) float64
        Ridden points of the unit cube in number order.
    objectives, constraints : (candidate, ...) float64

    Returns
    -------
    callable
        From (child, parameter) to objectives and constraints side by side, (child, outcome).
    """
    low, offset = _scale(objectives)
    logs = np.log(objectives - low + offset)
    predict = interpolated(points, np.hstack([logs, told_apart(constraints)]))
    n_objectives = objectives.shape[1]

    def foresee(pool: Floats) -> Floats:
        foreseen = predict(pool)
        foreseen[:, :n_objectives] = np.exp(foreseen[:, :n_objectives]) + low - offset
        return foreseen

    return foresee


def _scale(objectives: Floats) -> tuple[Floats, Floats]:
    """Return each objective's least value and how far nine tenths of them reach above it.

    Whoever falls is worse by far than any who rides; over the logarithm of this scale such cliffs
    do not make the spline ripple among the good, where it stays nearly linear. Where more than a
    tenth have fallen it reaches over their cliff, and helps less.
    """
    low = objectives.min(axis=0)
    offset = np.quantile(objectives, 0.9, axis=0) - low
    return low, np.where(offset > 0.0, offset, 1.0)


def told_apart(constraints: Floats) -> Floats:
    """Return (candidate, constraint) with those apart who meet and who break a count of events.

    Whoever meets such a constraint has 0 exactly, about which a spline ripples: it takes four of
    ten that meet it for others. Constraints that go below 0 stay as they are.
    """
    told = constraints.copy()
    for column in told.T:
        broken = column > 0.0
        if broken.any() and not (column < 0.0).any():
            column[~broken] = -np.median(column[broken])
    return told


def keys(points: Floats) -> set[bytes]:
    """Return what tells points apart that are not one to the surrogate."""
    return {row.tobytes() for row in _rounded(points)}


def unseen(brood: Floats, known: Set[bytes]) -> NDArray[np.intp]:
    """Return the rows of a brood whose keys are not known and that repeat no row before them."""
    here: set[bytes] = set()
    fresh = []
    for child, row in enumerate(_rounded(brood)):
        key = row.tobytes()
        if key not in known and key not in here:
            here.add(key)
            fresh.append(child)
    return np.array(fresh, dtype=np.intp)


def _rounded(points: Floats) -> Floats:
    # Adding zero turns -0.0 into 0.0, whose bytes differ.
    return np.ascontiguousarray(np.round(points, DECIMALS) + 0.0)
