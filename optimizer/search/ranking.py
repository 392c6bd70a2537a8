"""Which candidates are better: feasible first, then Pareto rank, then share of the front's volume.

Constrained domination follows Deb, Pratap, Agarwal and Meyarivan (2002), IEEE Trans. Evolutionary
Computation 6(2): 182-197. Inside a rank the candidate that adds least hypervolume goes last, as in
Beume, Naujoks and Emmerich (2007), European J. Operational Research 181(3): 1653-1669.
"""

import moocore
import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats, Indices

# The reference lies past the worst of a rank by this share of the range, so that its ends keep a
# volume of their own: 1.1 gives them so little that small fronts lose them.
_REFERENCE = 1.3

_LEAVE_TOGETHER = 16  # of so many one leaves at a time, while there are too many


def violation(constraints: Floats) -> Floats:
    """Return the sum of the positive parts of (candidate, constraint); 0 is feasible."""
    excess: Floats = np.maximum(constraints, 0.0).sum(axis=1)
    return excess


def allowed_first(allowed: NDArray[np.bool_]) -> Indices:
    """Return an order with allowed candidates before the others, and no other change."""
    order: Indices = np.argsort(~allowed, kind="stable")
    return order


def ranks(objectives: Floats, constraints: Floats) -> Indices:
    """Return each candidate's rank, 0 the best.

    Feasible candidates are ranked by Pareto dominance, the others after them by their violation.
    """
    excess = violation(constraints)
    feasible = excess <= 0.0
    rank = np.zeros(len(objectives), dtype=np.intp)
    if feasible.any():
        rank[feasible] = moocore.pareto_rank(np.ascontiguousarray(objectives[feasible]))
    n_feasible_ranks = rank[feasible].max(initial=-1) + 1
    rank[~feasible] = n_feasible_ranks + np.unique(excess[~feasible], return_inverse=True)[1]
    return rank


def volume_order(objectives: Floats, *, n_best: int) -> Indices:
    """Order the best of one rank by hypervolume, the least share last.

    The candidate with the least contribution is taken out again and again; the order is that of
    leaving, reversed. Of more than are asked for several leave at a time. Each objective counts by
    its range within the rank.
    """
    low, high = objectives.min(axis=0), objectives.max(axis=0)
    scaled = (objectives - low) / np.where(high > low, high - low, 1.0)
    reference = np.full(objectives.shape[1], _REFERENCE)
    left = np.arange(len(objectives))
    leaving: list[int] = []
    while len(left) > 1:
        shares = moocore.hv_contributions(scaled[left], ref=reference)
        surplus = len(left) - n_best
        n_leaving = min(max(len(left) // _LEAVE_TOGETHER, 1), surplus) if surplus > 0 else 1
        least = np.argsort(shares, kind="stable")[:n_leaving]
        leaving.extend(left[least].tolist())
        left = np.delete(left, least)
    return np.array([*left, *leaving[::-1]], dtype=np.intp)


def best_first(objectives: Floats, constraints: Floats, *, n_best: int) -> Indices:
    """Return the indices of the `n_best` candidates, the best first.

    Parameters
    ----------
    objectives : (candidate, objective) float64
        Two or three minimised objectives.
    constraints : (candidate, constraint) float64
        Met when <= 0.
    n_best : int
        How many to return; fewer come back when there are fewer.

    Returns
    -------
    (`n_best`,) int
        Equal candidates keep their order, so the answer depends on the arguments alone.
    """
    rank = ranks(objectives, constraints)
    chosen: list[int] = []
    for level in range(int(rank.max(initial=-1)) + 1):
        members = np.flatnonzero(rank == level)
        order = volume_order(objectives[members], n_best=n_best - len(chosen))
        chosen.extend(members[order])
        if len(chosen) >= n_best:
            break
    return np.array(chosen[:n_best], dtype=np.intp)
