"""A second look at the front: its candidates ridden again on fresh noise, so that luck leaves it.

All candidates of a search meet the same noise. Of thousands, some are on the front because that
noise suits them; ridden again on other noise, common to all of them, they fall off. Who fails there
had better stand in nobody's way: those who come up where it stood are looked at too, and so on
until nobody else comes up.
"""

import dataclasses
from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from optimizer.base.hashing import (
    spawned,
)
from optimizer.execution.store import Store
from optimizer.execution.store_format import Reevaluation
from optimizer.search.evaluation import BASELINE, Evaluate, History, checked
from optimizer.search.pareto import feasible, non_dominated
from optimizer.study.study import Study

Flags: TypeAlias = NDArray[np.bool_]


def on_fresh_noise(study: Study) -> Study:
    """Return a study whose rides have other noise, and nothing else changed."""
    rides = tuple(
        dataclasses.replace(ride, noise_seed=spawned(study.seed, "second look", ride.name))
        for ride in study.rides
    )
    return dataclasses.replace(study, rides=rides)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrontToReevaluate:
    """Who is looked at again.

    Attributes
    ----------
    on_front : (candidate,) bool
        Who is on the front as searched, and who is once those are gone who fail on fresh noise.
    wanted : (candidate,) bool
        These and the baseline.
    missing : (look,) int64
        Who of them is still to be ridden again; while anybody is, who comes up after them is not
        known.
    """

    on_front: Flags
    wanted: Flags
    missing: NDArray[np.int64]


def front_to_reevaluate(history: History, again: Reevaluation) -> FrontToReevaluate:
    """Return who is to be looked at again, and who of them still is.

    Parameters
    ----------
    history : History
        As searched.
    again : SecondLook
        What was looked at so far. Of it counts only what a search of this length asks for, in the
        order in which it does.
    """
    stored = np.zeros(len(history), dtype=np.bool_)
    stored[again.numbers] = True
    fails = np.zeros(len(history), dtype=np.bool_)
    fails[again.numbers] = ~feasible(again.evaluation.constraints)
    on_front = np.zeros(len(history), dtype=np.bool_)
    left = feasible(history.constraints)
    while True:
        up = left.copy()
        up[left] = non_dominated(history.objectives[left], history.constraints[left])
        comes_up = (up & ~on_front).any()
        on_front |= up
        wanted = on_front.copy()
        wanted[BASELINE] = True
        missing = np.flatnonzero(wanted & ~stored).astype(np.int64)
        if len(missing) or not comes_up:
            return FrontToReevaluate(on_front=on_front, wanted=wanted, missing=missing)
        left &= ~(up & fails)


def reevaluate(
    study: Study,
    store: Store,
    *,
    evaluate: Evaluate,
    advance: Callable[[int, int], None],
    stop: Callable[[], bool],
) -> bool:
    """Ride the front again on fresh noise and store it; say whether all of it was ridden.

    What an earlier, interrupted look has stored is not ridden again.

    Parameters
    ----------
    study : Study
    store : Store
        Open, with a finished search.
    evaluate : Evaluate
        Rides candidates over the study `on_fresh_noise`.
    advance : callable
        Told how many candidates are looked at, and of how many, before the first and after each
        batch.
    stop : callable
        Asked between batches; True ends the look.

    Raises
    ------
    UserInputError
        The store can not be written.
    """
    history = store.history(population=study.population)
    while True:
        found = front_to_reevaluate(history, store.reevaluation())
        n_wanted = int(found.wanted.sum())
        advance(n_wanted - len(found.missing), n_wanted)
        if not len(found.missing):
            return True
        if stop():
            return False
        batch = found.missing[: study.population]
        evaluation = checked(
            evaluate(history.values[batch]),
            n_candidates=len(batch),
            n_objectives=history.objectives.shape[1],
        )
        store.append_reevaluation(batch, evaluation)
