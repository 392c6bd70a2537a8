"""Which points of the unit cube are one point to the surrogate."""

from collections.abc import Set

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats

# Points that agree to this many decimals are one; two such rows would make the interpolation
# singular.
DECIMALS = 9


def first_of_each(points: Floats) -> NDArray[np.intp]:
    """Return the first of each of the different points, in their order."""
    return unseen(points, frozenset())


def keys(points: Floats) -> set[bytes]:
    """Return the keys by which points that are not one to the surrogate differ."""
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
