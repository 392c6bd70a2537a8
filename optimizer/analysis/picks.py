"""Profiles of a front that carry a name, its knee among them."""

import numpy as np

from optimizer.base.pick_names import PICK_OF_OBJECTIVE
from plant.arrays import Floats


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
        The front: level error, peak current and nose-down rate.
    weighted_cost : (candidate,) float64
        The user's one number for each; also decides between equals.

    Returns
    -------
    dict of str to int
        Indices into the front by name: balanced, calmest_level, lowest_current, fewest_nose_downs,
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
