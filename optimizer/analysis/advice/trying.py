"""The search for the best one, two and three changes of a profile, on the noise of the search."""

from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np

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
from plant.arrays import Floats
from plant.device import lanes_at_once

MOST_CHANGES = 3  # more at once is a search of its own
_N_JOINED = 60  # sets of two changes, and of three, that are ridden
_ALIKE = 1  # of them with the same parameters
_N_VARIED = 2  # of them of which every other value is ridden
_N_REFINED = (10, 5, 4)  # single changes, pairs and triples whose values are refined
_FEWEST_AT_ONCE = 12  # profiles between two reports of progress

Try: TypeAlias = Callable[[Sequence[ChangeSet]], Trials]


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
    promise most by what their parts did. Of the best, other values are ridden too.

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
            joined = extended(trials, n_changes - 1, limit=_N_JOINED, alike=_ALIKE)
            trials = with_ridden(trials, joined, f"riding {n_changes} changes at once")
            best = trials.best(n_changes, limit=_N_VARIED, alike=1)
            trials = with_ridden(trials, other_values(values, best), "riding other values of them")
        best = trials.best(n_changes, limit=_N_REFINED[n_changes - 1], alike=1)
        finer = halfway(space, here, values, best)
        trials = with_ridden(trials, finer, "riding values in between")
    return trials


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
    costs, constraints = [], []
    for first in range(0, len(sets), n_at_once):
        batch = sets[first : first + n_at_once]
        found = scored_profiles(yardstick, changed(yardstick, profile, batch), n_jobs=n_jobs)
        costs.append(found.cost)
        constraints.append(found.scores.constraints)
        stages.advance(len(batch))
    return Trials(
        sets=tuple(sets), cost=np.concatenate(costs), constraints=np.concatenate(constraints)
    )
