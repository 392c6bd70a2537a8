"""A second look at the front: its candidates ridden again on fresh noise, so that luck leaves it.

All candidates of a search meet the same noise. Of thousands, some are on the front because that
noise suits them; ridden again on other noise, common to all of them, they fall off.
"""

import dataclasses
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from optimizer.evaluation import BASELINE, Evaluate, History, checked
from optimizer.front import non_dominated
from optimizer.seeds import spawned
from optimizer.store import Store
from optimizer.study import Study


def on_fresh_noise(study: Study) -> Study:
    """Return a study whose rides have other noise, and nothing else changed."""
    rides = tuple(
        dataclasses.replace(ride, noise_seed=spawned(study.seed, "second look", ride.name))
        for ride in study.rides
    )
    return dataclasses.replace(study, rides=rides)


def numbers_to_look_at(history: History) -> NDArray[np.int64]:
    """Return which candidates a second look takes: the baseline and the front as searched."""
    on_front = non_dominated(history.objectives, history.constraints)
    on_front[BASELINE] = True
    return np.flatnonzero(on_front).astype(np.int64)


def look_again(
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
    wanted = numbers_to_look_at(history)
    missing = np.setdiff1d(wanted, store.second_look().numbers)
    for start in range(0, len(missing), study.population):
        advance(len(wanted) - len(missing) + start, len(wanted))
        if stop():
            return False
        batch = missing[start : start + study.population]
        evaluation = checked(
            evaluate(history.values[batch]),
            n_candidates=len(batch),
            n_objectives=history.objectives.shape[1],
        )
        store.append_second_look(batch, evaluation)
    advance(len(wanted), len(wanted))
    return True
