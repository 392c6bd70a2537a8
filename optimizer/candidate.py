"""One candidate of a study: its whole profile, what it fails, and where it sits at a bound."""

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES
from optimizer.results import Results
from optimizer.riding import whole_profiles
from optimizer.space import at_bound

Floats = NDArray[np.float64]

_BOUND_TOLERANCE = 1e-3  # share of the searched range


def candidate_profile(results: Results, number: int) -> Floats:
    """Return a candidate's whole profile, (parameter,), in the order of `PROFILE_NAMES`."""
    profile: Floats = whole_profiles(results.study, results.history.values[number : number + 1])[0]
    return profile


def failed_constraints(constraints: Floats) -> dict[str, float]:
    """Return the constraints that are not met and by how much.

    Parameters
    ----------
    constraints : (constraint,) float64
        Of one candidate, in the order of `objectives.CONSTRAINT_NAMES`.
    """
    return {
        name: float(value)
        for name, value in zip(CONSTRAINT_NAMES, constraints, strict=True)
        if value > 0.0
    }


def failures(constraints: Floats) -> list[str]:
    """Return the constraints of one candidate that are not met, in words."""
    failed = failed_constraints(constraints).items()
    return [f"{name} is violated by {value:.3g}" for name, value in failed]


def bound_marks(results: Results, number: int) -> list[str]:
    """Return the parameters of a candidate that sit at an end of their searched range."""
    space = results.study.space
    value = results.history.values[number : number + 1]
    at_end = at_bound(space, value, tolerance=_BOUND_TOLERANCE)[0]
    return [name for name, stuck in zip(space.names, at_end, strict=True) if stuck]
