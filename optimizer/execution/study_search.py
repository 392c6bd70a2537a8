"""The search of a study: its space, settings and rides, handed to the search as one."""

import functools
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from objectives import OBJECTIVES
from optimizer.execution.evaluate import (
    baseline_values,
    rules_of,
    study_screening_rides,
    whole_profiles,
)
from optimizer.execution.store import Store
from optimizer.search import loop
from optimizer.search.composite import PerRideObjectives
from optimizer.search.evaluation import Evaluate
from optimizer.search.loop import Progress
from optimizer.search.plan import Plan
from optimizer.study.study import Study


def per_ride_objectives(study: Study) -> PerRideObjectives:
    """Return of what the objectives and constraints of a study are made."""
    return PerRideObjectives(
        rules=rules_of(study), profiles=functools.partial(whole_profiles, study)
    )


def study_plan(
    study: Study, *, baseline: ArrayLike | None = None, weights: ArrayLike | None = None
) -> Plan:
    """Return what the search of a study proposes from.

    Parameters
    ----------
    study : Study
    baseline : (searched parameter,) float64, optional
        The known profile, if it is not the study's own.
    weights : (objective,) float64, optional
        Of the weighted cost; the study's own if not given.
    """
    own = [study.weights[name] for name in OBJECTIVES]
    return Plan(
        space=study.space,
        baseline=baseline_values(study) if baseline is None else np.array(baseline, dtype=float),
        seed=study.seed,
        population=study.population,
        start=study.start.reshape(-1, study.space.n_parameters),
        weights=np.array(own if weights is None else weights, dtype=float),
        composite=per_ride_objectives(study),
    )


def search_study(
    study: Study,
    ride_by: Callable[[tuple[int, ...]], Evaluate],
    plan: Plan,
    store: Store,
    *,
    n_candidates: int,
    n_jobs: int = 1,
    on_generation: Callable[[Progress], None] | None = None,
    stop: Callable[[Progress], bool] | None = None,
) -> Progress:
    """Search a study until its store holds `n_candidates`; see `optimizer.search.loop.run`.

    Parameters
    ----------
    study : Study
    ride_by : callable
        From the screening rides, none for the first generation, to what rides candidates.
    plan : Plan
        From `study_plan`.
    store : Store
    n_candidates : int
    n_jobs : int
        Threads that work on what to propose; how many changes nothing.
    on_generation, stop : callable, optional
        As of `optimizer.search.loop.run`.
    """
    return loop.run(
        ride_by(()),
        plan,
        store,
        n_candidates=n_candidates,
        later=lambda first: ride_by(study_screening_rides(study, first)),
        on_generation=on_generation,
        stop=stop,
        n_jobs=n_jobs,
    )
