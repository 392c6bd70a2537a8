"""What to change first of a profile: the best one, two and three changes, ridden again."""

import dataclasses
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from objectives import OBJECTIVES
from objectives.handling import HANDLING_NAMES
from optimizer.analysis.advice.change_sets import UNCHANGED, ChangeSet, Trials
from optimizer.analysis.advice.paired_noise import Gain, OnDraws, gain, is_better, on_draws
from optimizer.analysis.advice.trying import MOST_CHANGES, changed, tried_changes
from optimizer.analysis.constraint_facts import ConstraintFact, broken
from optimizer.analysis.profile_costs import ScoredProfiles, scored_profiles, yardsticks
from optimizer.analysis.ridden_profile import ALL
from optimizer.analysis.rider_effects import perceived
from optimizer.base.progress import UNWATCHED, Stages
from optimizer.execution.evaluate import searched_columns
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.search.pareto import feasible
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile import Profile
from plant.description.profile_array import array_to_profile, profile_to_array

_SHORTLIST = 4  # sets of each size that ride on fresh noise
_SHORTLIST_ALIKE = 2  # of them with the same parameters
_CLEAR_SHARE = 0.1  # of the weighted cost: what moves it more on one noise is no noise
TOO_LITTLE = 0.005  # of the weighted cost: a smaller change is not worth a word


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One setting of a profile, changed."""

    name: str
    before: float
    after: float

    @property
    def perceived(self) -> str:
        """What a rider notices of it."""
        return perceived(self.name, more=self.after > self.before)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChangedProfile:
    """A profile with some changes, none or more, as ridden on fresh noise.

    Attributes
    ----------
    changes : tuple of Change
    row : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    objectives : (objective,) float64
    cost : float
        Weighted.
    handling : (number, rider) float64
        See `objectives.handling.handling_numbers`.
    facts : list of ConstraintFact
        Of every constraint.
    draws : OnDraws
        What it does on further draws of noise.
    """

    changes: tuple[Change, ...]
    row: Floats
    objectives: Floats
    cost: float
    handling: Floats
    facts: list[ConstraintFact]
    draws: OnDraws

    @property
    def feasible(self) -> bool:
        """Whether every constraint is met."""
        return all(fact.met for fact in self.facts)

    @property
    def fails(self) -> list[str]:
        """What was found and asked of each constraint that is not met."""
        return broken(self.facts)

    @property
    def profile(self) -> Profile:
        """The whole profile."""
        return array_to_profile(self.row)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Advice:
    """The best few changes of a profile.

    Attributes
    ----------
    study : Study
        On fresh noise.
    called : str
        What the profile is called.
    steps : tuple of ChangedProfile
        The profile as it is, then with one change, two and so on, each found for itself.
    kept : int
        Of how many changes each buys more than noise; 0 where none does.
    idle : tuple of str
        Parameters of which no value does anything by itself beyond noise.
    n_ridden : int
        Profiles that were ridden on the noise of the search.
    """

    study: Study
    called: str
    steps: tuple[ChangedProfile, ...]
    kept: int
    idle: tuple[str, ...]
    n_ridden: int

    def __repr__(self) -> str:
        return f"<Advice for {self.called}: {self.kept} changes, {self.n_ridden} profiles ridden>"

    @property
    def now(self) -> ChangedProfile:
        """The profile as it is."""
        return self.steps[0]

    @property
    def best(self) -> ChangedProfile:
        """The profile with the changes that buy more than noise."""
        return self.steps[self.kept]

    def gained(self, n_changes: int, *, over: int = 0) -> Gain:
        """Return what changes take off the weighted cost, over draws of noise.

        Parameters
        ----------
        n_changes : int
        over : int
            Number of changes of the profile that it is compared with.
        """
        return gain(self.steps[over].draws.cost, self.steps[n_changes].draws.cost)

    @property
    def scores(self) -> pd.DataFrame:
        """What each profile scores, a row each."""
        columns = np.array([step.objectives for step in self.steps]).T
        return pd.DataFrame(
            {
                "changes": [len(step.changes) for step in self.steps],
                **dict(zip(OBJECTIVES, columns, strict=True)),
                "weighted_cost_ratio": [step.cost for step in self.steps],
                "feasible": [step.feasible for step in self.steps],
            }
        )

    @property
    def changes(self) -> pd.DataFrame:
        """Each change of each profile, a row each."""
        rows = [
            (len(step.changes), each.name, each.before, each.after, each.perceived)
            for step in self.steps
            for each in step.changes
        ]
        return pd.DataFrame(rows, columns=["changes", "parameter", "before", "after", "perceived"])

    @property
    def handling(self) -> pd.DataFrame:
        """How each profile handles, over all riders: a row for each number."""
        columns = {str(len(step.changes)): step.handling[:, ALL] for step in self.steps}
        return pd.DataFrame({"handling": HANDLING_NAMES, **columns})


def advised(
    study: Study,
    profile: Floats,
    *,
    called: str = "the profile",
    others: Floats | None = None,
    most: int = MOST_CHANGES,
    n_jobs: int = 1,
    stages: Stages = UNWATCHED,
) -> Advice:
    """Return the best few changes of a profile's searched parameters.

    The noise of the search selects them. Their numbers come from fresh noise, where none was
    selected for being lucky.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    called : str
        What to call it.
    others : (profile, parameter) float64, optional
        Known good profiles, whose values are tried too.
    most : int
        At most so many changes, from 1 to `MOST_CHANGES`.
    n_jobs : int
        Threads; the outcome does not depend on it.
    stages : Stages
        Receives what is ridden.

    Raises
    ------
    UserInputError
        The store can not be read, or the baseline gives nothing to compare with.
    """
    study = with_hard_rides(study, n_jobs=n_jobs, stages=stages)
    stages.begin("riding the baseline")
    searched, fresh = yardsticks(study, n_jobs=n_jobs)
    known = profile_to_array(study.baseline)[np.newaxis]
    if others is not None:
        known = np.vstack([known, others])
    trials = tried_changes(
        searched,
        profile,
        others=known[:, searched_columns(study)],
        most=most,
        n_jobs=n_jobs,
        stages=stages,
    )
    listed = [
        trials.best(n_changes, limit=_SHORTLIST, alike=_SHORTLIST_ALIKE)
        for n_changes in range(1, most + 1)
    ]
    best = [UNCHANGED, *(each for same_size in listed for each in same_size)]
    quiet = _quiet(trials, study.space.n_parameters)
    sets = best + list(quiet.values())
    stages.begin("riding the best on fresh noise")
    found = scored_profiles(fresh, changed(fresh, profile, best), n_jobs=n_jobs)
    draws = on_draws(fresh, changed(fresh, profile, sets), n_jobs=n_jobs, stages=stages)
    chosen = [0, *(_safest(found, draws, map(sets.index, each)) for each in listed if each)]
    steps = tuple(
        _step(found, place, _changes(study, profile, sets[place]), draws[place]) for place in chosen
    )
    kept = _kept(steps)
    used = {each.name for step in steps[: kept + 1] for each in step.changes}
    return Advice(
        study=fresh.study,
        called=called,
        steps=steps,
        kept=kept,
        idle=tuple(
            study.space.names[place]
            for place, its in zip(quiet, draws[len(best) :], strict=True)
            if study.space.names[place] not in used and _does_nothing(draws[0], its)
        ),
        n_ridden=len(trials.sets),
    )


def _safest(found: ScoredProfiles, draws: Sequence[OnDraws], places: Iterable[int]) -> int:
    """Return the first of some places of those that meet the constraints on most noise.

    Noise has no further say: by its costs the luckiest would be chosen.
    """
    met = feasible(found.scores.constraints)
    return max(places, key=lambda place: (bool(met[place]), draws[place].n_met))


def _changes(study: Study, profile: Floats, changes: ChangeSet) -> tuple[Change, ...]:
    here = profile[searched_columns(study)]
    return tuple(
        Change(name=study.space.names[place], before=float(here[place]), after=value)
        for place, value in changes
    )


def _step(
    found: ScoredProfiles, place: int, changes: tuple[Change, ...], draws: OnDraws
) -> ChangedProfile:
    return ChangedProfile(
        changes=changes,
        row=found.profiles[place],
        objectives=found.scores.objectives[place],
        cost=float(found.cost[place]),
        handling=found.scores.handling[place],
        facts=found.facts(place),
        draws=draws,
    )


def _kept(steps: Sequence[ChangedProfile]) -> int:
    """Return the number of changes that are worth it: each more buys more than noise.

    None may cost a constraint, on fresh noise or on any more of the draws.
    """
    kept = 0
    for n_changes, step in enumerate(steps[1:], start=1):
        before = steps[kept]
        loses = (before.feasible and not step.feasible) or step.draws.n_met < before.draws.n_met
        if not loses and is_better(before.draws, step.draws):
            kept = n_changes
    return kept


def _quiet(trials: Trials, n_parameters: int) -> dict[int, ChangeSet]:
    """Return parameters that may do nothing by themselves, with the single change that does most.

    No value of theirs breaks or mends a constraint, or moves the cost as what clearly matters does.
    """
    singles = trials.of_size(1)
    met = trials.constraints <= 0.0
    moved = np.abs(trials.cost[singles] / trials.cost[0] - 1.0)
    moved[(met[singles] != met[0]).any(axis=1)] = np.inf
    places = np.array([trials.sets[each][0][0] for each in singles.tolist()])
    quiet = {}
    for place in range(n_parameters):
        own = np.flatnonzero(places == place)
        if len(own) and moved[own].max() < _CLEAR_SHARE:
            quiet[place] = trials.sets[singles[own[np.argmax(moved[own])]]]
    return quiet


def _does_nothing(before: OnDraws, after: OnDraws) -> bool:
    """Say whether a change moves the cost by no more than noise, or by too little to matter."""
    fall = gain(before.cost, after.cost)
    is_noise = not (fall.is_more_than_noise or fall.is_less_than_noise)
    return is_noise or abs(fall.mean) < TOO_LITTLE * float(np.mean(before.cost))
