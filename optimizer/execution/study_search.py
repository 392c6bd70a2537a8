"""The search of a study: its space, settings and rides, handed to the search as one."""

import functools
from collections.abc import Callable

from numpy.typing import ArrayLike

from objectives import OBJECTIVES
from optimizer.execution.evaluate import (
    baseline_values,
    rules_of,
    study_telling_rides,
    whole_profiles,
)
from optimizer.execution.store import Store
from optimizer.search import loop
from optimizer.search.composite import RideByRide
from optimizer.search.evaluation import Evaluate
from optimizer.search.loop import Progress
from optimizer.study.study import Study


def ride_by_ride(study: Study) -> RideByRide:
    """Return of what the objectives and constraints of a study are made."""
    return RideByRide(rules=rules_of(study), profiles=functools.partial(whole_profiles, study))


def search_study(
    study: Study,
    ride_by: Callable[[tuple[int, ...]], Evaluate],
    *,
    n_candidates: int,
    n_jobs: int = 1,
    store: Store,
    baseline: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    on_generation: Callable[[Progress], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Progress:
    """Search a study until its store holds `n_candidates`; see `optimizer.search.loop.run`.

    Parameters
    ----------
    study : Study
    ride_by : callable
        From the telling rides, none for the first generation, to what rides candidates.
    n_candidates : int
    n_jobs : int
        Threads that work on what to ride; how many changes nothing.
    store : Store
    baseline : (searched parameter,) float64, optional
        The known profile, if it is not the study's own.
    weights : (objective,) float64, optional
        Of the weighted cost; the study's own if not given.
    on_generation, stop : callable, optional
    """
    own = [study.weights[name] for name in OBJECTIVES]
    return loop.run(
        ride_by(()),
        study.space,
        baseline=baseline_values(study) if baseline is None else baseline,
        n_objectives=len(OBJECTIVES),
        n_candidates=n_candidates,
        n_jobs=n_jobs,
        seed=study.seed,
        store=store,
        population=study.population,
        start=study.start,
        weights=own if weights is None else weights,
        composition=ride_by_ride(study),
        on_generation=on_generation,
        stop=stop,
        later=lambda first: ride_by(study_telling_rides(study, first)),
    )
