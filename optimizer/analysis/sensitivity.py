"""What each parameter does around a selected profile: moved one at a time, and ridden again."""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.profile_costs import Yardstick, scored_profiles
from optimizer.base.typed_digits import typed
from optimizer.execution.evaluate import searched_columns
from optimizer.search.space import Space, clip
from plant.arrays import Floats

STEP = 0.1  # of the searched range, to either side


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sensitivity:
    """One-at-a-time moves around a profile, all on the noise that the profile's numbers come from.

    Attributes
    ----------
    names : tuple of str
        Searched parameters.
    here : (parameter,) float64
        Values of the profile.
    objectives : (objective,) float64
        Of the profile.
    constraints : (constraint,) float64
        Of the profile; met at 0 or below.
    cost : float
        Its weighted cost; the baseline's is 1.
    moved : (2, parameter) float64
        Values after the move down and up, with the digits that a person types; the same as `here`
        at an end of the range.
    moved_objectives : (2, parameter, objective) float64
    moved_constraints : (2, parameter, constraint) float64
    moved_cost : (2, parameter) float64
    """

    names: tuple[str, ...]
    here: Floats
    objectives: Floats
    constraints: Floats
    cost: float
    moved: Floats
    moved_objectives: Floats
    moved_constraints: Floats
    moved_cost: Floats

    @property
    def effect(self) -> Floats:
        """Largest change of the weighted cost by either move, (parameter,)."""
        largest: Floats = np.abs(self.moved_cost - self.cost).max(axis=0)
        return largest

    @property
    def meets(self) -> NDArray[np.bool_]:
        """Whether a moved profile meets every constraint, (2, parameter)."""
        met: NDArray[np.bool_] = np.all(self.moved_constraints <= 0.0, axis=-1)
        return met


def sensitivity(yardstick: Yardstick, profile: Floats, *, n_jobs: int = 1) -> Sensitivity:
    """Ride a profile and its neighbours, each searched parameter moved down and up by itself.

    Parameters
    ----------
    yardstick : Yardstick
        On whose noise they ride.
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    n_jobs : int
        Threads; the outcome does not depend on it.
    """
    space = yardstick.study.space
    columns = searched_columns(yardstick.study)
    moved = moved_values(space, profile[columns])
    around = np.tile(profile, (2, space.n_parameters, 1))
    around[:, np.arange(space.n_parameters), columns] = moved
    rows = np.vstack([profile, around.reshape(-1, len(profile))])
    found = scored_profiles(yardstick, rows, n_jobs=n_jobs)
    shape = (2, space.n_parameters)
    objectives, constraints = found.scores.objectives, found.scores.constraints
    return Sensitivity(
        names=space.names,
        here=profile[columns],
        objectives=objectives[0],
        constraints=constraints[0],
        cost=float(found.cost[0]),
        moved=moved,
        moved_objectives=objectives[1:].reshape(*shape, len(OBJECTIVES)),
        moved_constraints=constraints[1:].reshape(*shape, len(CONSTRAINT_NAMES)),
        moved_cost=found.cost[1:].reshape(shape),
    )


def moved_values(space: Space, here: Floats) -> Floats:
    """Return the values after a move down and up, (2, parameter), within the searched range."""
    step = STEP * (space.high - space.low)
    return np.stack([clip(space, _typed(here + way * step)) for way in (-1.0, 1.0)])


def _typed(values: Floats) -> Floats:
    return np.array([typed(value) for value in values.tolist()])


def most_important(found: Sensitivity, *, limit: int = 5) -> list[int]:
    """Return the places of the parameters that move the weighted cost most, the first most."""
    return [int(place) for place in np.argsort(-found.effect, kind="stable")[:limit]]
