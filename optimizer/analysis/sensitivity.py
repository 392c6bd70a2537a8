"""What each parameter does around a selected profile: moved one at a time, and ridden again."""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES, DESCRIPTOR_NAMES, OBJECTIVES
from optimizer.analysis.baseline_cost import Feels, study_cost
from optimizer.analysis.candidate import study_as_scored
from optimizer.analysis.candidate_numbers import candidate_numbers
from optimizer.analysis.results import Results
from optimizer.base.typed_digits import typed
from optimizer.execution.evaluate import ride_portfolio, rules_of, whole_profiles
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


def sensitivity(results: Results, number: int, *, n_jobs: int = 1) -> Sensitivity:
    """Ride a candidate and its neighbours, each parameter moved down and up by itself.

    Parameters
    ----------
    results : Results
    number : int
        Candidate.
    n_jobs : int
        Threads; the outcome does not depend on it.
    """
    study = study_as_scored(results, number)
    space = study.space
    here = results.history.values[number]
    step = STEP * (space.high - space.low)
    moved = np.stack(
        [
            np.maximum(_typed(here - step), space.low),
            np.minimum(_typed(here + step), space.high),
        ]
    )
    around = np.tile(here, (2, space.n_parameters, 1))
    each = np.arange(space.n_parameters)
    around[:, each, each] = moved
    rows = np.vstack([here, around.reshape(-1, space.n_parameters)])
    scores, _ = ride_portfolio(
        study, whole_profiles(study, rows), rules=rules_of(study), n_jobs=n_jobs
    )
    compared_with = candidate_numbers(results, number).compared_with
    feel = scores.descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    feels = Feels(of=feel, baseline=results.baseline_feel)
    cost = study_cost(study, scores.objectives, baseline=compared_with, feels=feels)
    shape = (2, space.n_parameters)
    return Sensitivity(
        names=space.names,
        here=here,
        objectives=scores.objectives[0],
        constraints=scores.constraints[0],
        cost=float(cost[0]),
        moved=moved,
        moved_objectives=scores.objectives[1:].reshape(*shape, len(OBJECTIVES)),
        moved_constraints=scores.constraints[1:].reshape(*shape, len(CONSTRAINT_NAMES)),
        moved_cost=cost[1:].reshape(shape),
    )


def _typed(values: Floats) -> Floats:
    return np.array([typed(value) for value in values.tolist()])


def most_important(found: Sensitivity, *, limit: int = 5) -> list[int]:
    """Return the places of the parameters that move the weighted cost most, the first most."""
    return [int(place) for place in np.argsort(-found.effect, kind="stable")[:limit]]
