"""Which children add most hypervolume to a front, each beside those chosen before it.

Chosen one by one, such a set adds at least 63 % of what the best set of its size would (Nemhauser,
Wolsey and Fisher 1978, Mathematical Programming 14: 265-294). What a child adds only shrinks as
others are chosen, so most need not be asked again (Minoux 1978, Lecture Notes in Control and
Information Sciences 7: 234-243).
"""

import numpy as np

from optimizer.search.pareto import hypervolume
from plant.arrays import Floats, Indices

_REFERENCE = 1.2  # of the front's range: its ends may grow, but not at any price
_LEAST_FRONT = 10  # a smaller one has no range


def adding_most(predicted: Floats, front: Floats, *, n_chosen: int) -> Indices:
    """Return the children that add most to a front, the first chosen first.

    Parameters
    ----------
    predicted : (child, objective) float64
        Of children that are predicted to meet every constraint.
    front : (point, objective) float64
        Of what was ridden.
    n_chosen : int
        At most so many.

    Returns
    -------
    (child,) int
        Fewer where no other adds anything, or where the front is small.
    """
    chosen: list[int] = []
    if len(front) < _LEAST_FRONT or not len(predicted):
        return np.array(chosen, dtype=np.intp)
    low, reach = front.min(axis=0), np.ptp(front, axis=0)
    scale = np.where(reach > 0.0, reach, 1.0)
    known, children = (front - low) / scale, (predicted - low) / scale
    reference = np.full(front.shape[1], _REFERENCE)

    def volume_with(child: Floats) -> float:
        return hypervolume(np.vstack([known, child]), reference)

    volume = hypervolume(known, reference)
    added = np.array([volume_with(child) for child in children]) - volume
    asked_for = np.zeros(len(children), dtype=np.intp)  # how many were chosen when it was asked
    while len(chosen) < n_chosen:
        best = int(np.argmax(added))
        if not added[best] > 0.0:
            break
        if asked_for[best] < len(chosen):
            added[best] = volume_with(children[best]) - volume
            asked_for[best] = len(chosen)
            continue
        chosen.append(best)
        volume += added[best]
        known = np.vstack([known, children[best]])
        added[best] = 0.0
    return np.array(chosen, dtype=np.intp)
