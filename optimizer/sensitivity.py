"""What each parameter does around a chosen profile: moved one at a time, and ridden again."""

import dataclasses
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives import OBJECTIVES
from optimizer.results import Results, study_cost
from optimizer.riding import ride_portfolio, rules_of, whole_profiles

Floats: TypeAlias = NDArray[np.float64]

STEP = 0.1  # of the searched range, to either side
_NOTICED = 0.005  # a smaller change of an objective is not worth a word
_UNITS = {"level_error_deg": "deg", "excess_current_a": "A", "nose_down_risk": ""}
_WORDS = {
    "level_error_deg": "the level error",
    "excess_current_a": "the peak current beyond the need",
    "nose_down_risk": "the nose-down risk",
}


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sensitivity:
    """One-at-a-time moves around a profile, all on the study's own noise.

    Attributes
    ----------
    names : tuple of str
        Searched parameters.
    here : (parameter,) float64
        Values of the profile.
    objectives : (objective,) float64
        Of the profile.
    cost : float
        Its weighted cost; the baseline's is 1.
    moved : (2, parameter) float64
        Values after the move down and up; the same as `here` at an end of the range.
    moved_objectives : (2, parameter, objective) float64
    moved_cost : (2, parameter) float64
    meets : (2, parameter) bool
        Whether the moved profile meets every constraint.
    """

    names: tuple[str, ...]
    here: Floats
    objectives: Floats
    cost: float
    moved: Floats
    moved_objectives: Floats
    moved_cost: Floats
    meets: NDArray[np.bool_]

    @property
    def effect(self) -> Floats:
        """Largest change of the weighted cost by either move, (parameter,)."""
        largest: Floats = np.abs(self.moved_cost - self.cost).max(axis=0)
        return largest


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
    study = results.study
    space = study.space
    here = results.history.values[number]
    step = STEP * (space.high - space.low)
    moved = np.stack([np.maximum(here - step, space.low), np.minimum(here + step, space.high)])
    around = np.tile(here, (2, space.n_parameters, 1))
    each = np.arange(space.n_parameters)
    around[:, each, each] = moved
    rows = np.vstack([here, around.reshape(-1, space.n_parameters)])
    scores, _ = ride_portfolio(
        study, whole_profiles(study, rows), rules=rules_of(study), n_jobs=n_jobs
    )
    cost = study_cost(study, scores.objectives, baseline=results.searched.objectives[0])
    meets = np.all(scores.constraints <= 0.0, axis=1)
    shape = (2, space.n_parameters)
    return Sensitivity(
        names=space.names,
        here=here,
        objectives=scores.objectives[0],
        cost=float(cost[0]),
        moved=moved,
        moved_objectives=scores.objectives[1:].reshape(*shape, len(OBJECTIVES)),
        moved_cost=cost[1:].reshape(shape),
        meets=meets[1:].reshape(shape),
    )


def most_important(found: Sensitivity, *, limit: int = 5) -> list[int]:
    """Return the places of the parameters that move the weighted cost most, the first most."""
    return [int(place) for place in np.argsort(-found.effect, kind="stable")[:limit]]


def sentence(found: Sensitivity, place: int) -> str:
    """Return in words what moving a parameter does, by the move that does more."""
    change = np.abs(found.moved_cost[:, place] - found.cost)
    side = int(np.argmax(change))
    name, before, after = found.names[place], found.here[place], found.moved[side, place]
    if before == after:
        return f"{name} does nothing that shows."
    verb = "Raising" if after > before else "Lowering"
    parts = [
        _change(objective, found.objectives[column], found.moved_objectives[side, place, column])
        for column, objective in enumerate(OBJECTIVES)
    ]
    told = [part for part in parts if part] or ["changes no objective that shows"]
    fails = "" if found.meets[side, place] else "; it then fails a constraint"
    joined = told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"
    return f"{verb} {name} from {before:.3g} to {after:.3g} {joined}{fails}."


def _change(objective: str, before: float, after: float) -> str:
    if abs(after - before) <= _NOTICED * abs(before):
        return ""
    verb = "raises" if after > before else "lowers"
    unit = _UNITS[objective]
    amount = f"{abs(after - before):.3g}{f' {unit}' if unit else ''}"
    return f"{verb} {_WORDS[objective]} by {amount} ({100.0 * (after / before - 1.0):+.0f} %)"
