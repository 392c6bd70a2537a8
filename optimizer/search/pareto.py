"""The Pareto front of a study: who is on it, how much it covers, and the named picks from it."""

import moocore
import numpy as np
from numpy.typing import ArrayLike, NDArray

from optimizer.base.pick_names import PICK_OF_OBJECTIVE

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


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


def contributions(objectives: Floats, reference: ArrayLike) -> Floats:
    """Return the volume that is lost with each point alone, (candidate,)."""
    return np.asarray(moocore.hv_contributions(np.ascontiguousarray(objectives), ref=reference))


def knee_distance(objectives: Floats) -> Floats:
    """Return how far each point of a front lies below the plane through its ends.

    Each objective is scaled by its range on the front; the plane goes through the worst of each
    objective with the best of the others, which for two objectives is the chord between the ends.
    After Das (1999), Structural Optimization 18: 107-115.

    Parameters
    ----------
    objectives : (candidate, objective) float64
        A front, one point or more.

    Returns
    -------
    (candidate,) float64
        In units of the scaled objectives; negative above the plane.
    """
    low, high = objectives.min(axis=0), objectives.max(axis=0)
    spans = high > low
    if not spans.any():
        return np.zeros(len(objectives))
    # An objective without a range has no end and takes no part.
    scaled = (objectives[:, spans] - low[spans]) / (high - low)[spans]
    return np.asarray((1.0 - scaled.sum(axis=1)) / np.sqrt(np.count_nonzero(spans)))


def knee(objectives: Floats) -> int:
    """Return the index of the front's knee: the point farthest below the plane."""
    return int(np.argmax(knee_distance(objectives)))


def named_picks(objectives: Floats, weighted_cost: Floats) -> dict[str, int]:
    """Return the profiles of a front that carry a name.

    Parameters
    ----------
    objectives : (candidate, 3) float64
        The front: level error, peak current and nose-down risk.
    weighted_cost : (candidate,) float64
        The user's one number for each; also decides between equals.

    Returns
    -------
    dict of str to int
        Indices into the front by name: balanced, calmest_level, lowest_current, lowest_risk,
        lowest_cost.

    Raises
    ------
    ValueError
        An empty front, or another number of objectives.
    """
    if objectives.ndim != 2 or objectives.shape[1] != len(PICK_OF_OBJECTIVE) or not len(objectives):
        raise ValueError(
            f"picks need a front of {len(PICK_OF_OBJECTIVE)} objectives, got {objectives.shape}"
        )
    return {
        "balanced": knee(objectives),
        **{
            name: int(np.lexsort((weighted_cost, objectives[:, column]))[0])
            for column, name in enumerate(PICK_OF_OBJECTIVE)
        },
        "lowest_cost": int(np.argmin(weighted_cost)),
    }
