"""The Pareto front: which candidates are on it, and how much it covers."""

import moocore
import numpy as np
from numpy.typing import ArrayLike

from plant.arrays import Flags, Floats


def feasible(constraints: Floats) -> Flags:
    """Say which candidates meet every constraint, (candidate,)."""
    return np.asarray((constraints <= 0.0).all(axis=1))


def non_dominated(objectives: Floats, constraints: Floats) -> Flags:
    """Say which candidates are on the front.

    Parameters
    ----------
    objectives : (candidate, objective) float64
        Minimised.
    constraints : (candidate, constraint) float64
        Met when <= 0.

    Returns
    -------
    (candidate,) bool
        Feasible and dominated by no other feasible candidate; of equals, the first. All False when
        none is feasible.
    """
    on_front = feasible(constraints)
    if on_front.any():
        on_front[on_front] = moocore.is_nondominated(np.ascontiguousarray(objectives[on_front]))
    return on_front


def hypervolume(objectives: Floats, reference: ArrayLike) -> float:
    """Return the volume that the (candidate, objective) points dominate below the reference."""
    if not len(objectives):
        return 0.0
    return float(moocore.hypervolume(np.ascontiguousarray(objectives), ref=reference))
