"""The search for the best one, two and three changes of a profile, on the noise of the search."""

import functools
from collections.abc import Sequence

import numpy as np

from objectives import Components, components_of_rides, score_of_components
from optimizer.analysis.advice.change_sets import (
    UNCHANGED,
    ChangeSet,
    Trials,
    extended,
    halfway,
    other_values,
    single_changes,
    values_to_try,
)
from optimizer.analysis.profile_costs import Yardstick, scored_profiles
from optimizer.base.progress import Stages
from optimizer.execution.evaluate import searched_columns
from optimizer.search.ranking import violation
from plant.arrays import Floats, Indices
from plant.device import lanes_at_once

MOST_CHANGES = 3  # more at once is a search of its own
_N_JOINED = 60  # sets of two changes, and of three, that are ridden
_N_VARIED = 2  # of them of which every other value is ridden
_N_REFINED = (10, 5, 4)  # single changes, pairs and triples whose values are refined
_FEWEST_AT_ONCE = 12  # profiles between two reports of progress


def tried_changes(
    yardstick: Yardstick,
    profile: Floats,
    *,
    others: Floats,
    most: int,
    n_jobs: int,
    stages: Stages,
) -> Trials:
    """Return all change sets of a profile that were ridden, with what they score.

    Every value of every parameter is ridden by itself. Pairs, and then triples, are those that
    promise most if what their parts did adds up ride by ride. Of the best, other values are ridden
    too.

    Parameters
    ----------
    yardstick : Yardstick
        On whose noise they ride.
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    others : (profile, searched parameter) float64
        Searched values of other profiles, which are tried too.
    most : int
        At most so many changes.
    n_jobs : int
        Threads; the outcome does not depend on it.
    stages : Stages
        Receives what is ridden.
    """
    space = yardstick.study.space
    here = profile[searched_columns(yardstick.study)]

    values = values_to_try(space, here, others)

    def with_ridden(trials: Trials, sets: Sequence[ChangeSet], called: str) -> Trials:
        new = [each for each in sets if each not in trials.sets]
        if not new:
            return trials
        ridden = _ridden(yardstick, profile, new, called=called, n_jobs=n_jobs, stages=stages)
        return trials.followed_by(ridden)

    first = [UNCHANGED, *single_changes(values)]
    trials = _ridden(
        yardstick, profile, first, called="riding single changes", n_jobs=n_jobs, stages=stages
    )
    for n_changes in range(1, most + 1):
        if n_changes > 1:
            joined = extended(
                trials, n_changes - 1, functools.partial(added_up, yardstick), limit=_N_JOINED
            )
            trials = with_ridden(trials, joined, f"riding {n_changes} changes at once")
            best = trials.best(n_changes, limit=_N_VARIED, alike=1)
            trials = with_ridden(trials, other_values(values, best), "riding other values of them")
        best = trials.best(n_changes, limit=_N_REFINED[n_changes - 1], alike=1)
        finer = halfway(space, here, values, best)
        trials = with_ridden(trials, finer, "riding values in between")
    return trials


def added_up(
    yardstick: Yardstick, trials: Trials, base: int, singles: Indices
) -> tuple[Floats, Floats]:
    """Return what to expect of a set of changes with each single change in it too.

    What each ride measured is taken to change by the sum of what the parts changed. The objectives
    themselves do not add up: where one ride is by far the worst, a change that helps all others
    shows only beside one that helps this ride.

    Parameters
    ----------
    yardstick : Yardstick
    trials : Trials
    base : int
        Place of the set.
    singles : (single change,) int
        Places of the single changes.

    Returns
    -------
    cost, violation : (single change,) float64
        Infinite where something was not measured.
    """

    def summed(of: Floats) -> Floats:
        total: Floats = of[base] + of[singles] - of[0]
        return total

    parts = trials.components
    objectives, constraints = score_of_components(
        Components(
            costs=np.maximum(summed(parts.costs), 0.0),
            margins=summed(parts.margins),
            limits=summed(parts.limits),
        ),
        yardstick.rules,
    )
    cost = yardstick.cost(objectives, summed(trials.feel))
    excess = violation(constraints)
    return np.where(np.isnan(cost), np.inf, cost), np.where(np.isnan(excess), np.inf, excess)


def changed(yardstick: Yardstick, profile: Floats, sets: Sequence[ChangeSet]) -> Floats:
    """Return a profile after each set of changes, (set, parameter)."""
    columns = searched_columns(yardstick.study)
    rows = np.tile(profile, (len(sets), 1))
    for row, changes in zip(rows, sets, strict=True):
        for place, value in changes:
            row[columns[place]] = value
    return rows


def _ridden(
    yardstick: Yardstick,
    profile: Floats,
    sets: Sequence[ChangeSet],
    *,
    called: str,
    n_jobs: int,
    stages: Stages,
) -> Trials:
    n_at_once = max(
        _FEWEST_AT_ONCE, lanes_at_once(yardstick.study.device) // yardstick.rules.n_rides
    )
    stages.begin(called, len(sets))
    trials = None
    for first in range(0, len(sets), n_at_once):
        batch = tuple(sets[first : first + n_at_once])
        found = scored_profiles(yardstick, changed(yardstick, profile, batch), n_jobs=n_jobs)
        constraints = found.scores.constraints
        ridden = Trials(
            sets=batch,
            cost=found.cost,
            constraints=constraints,
            components=components_of_rides(found.rides, constraints, yardstick.rules),
            feel=found.feel,
        )
        trials = ridden if trials is None else trials.followed_by(ridden)
        stages.advance(len(batch))
    if trials is None:
        raise ValueError("sets: must hold one or more sets, got none")
    return trials
