"""A profile for another motor, wheel, pack or board: how it is scaled, and how far that leads.

See `optimizer.study.scaling` for the physics.
"""

import dataclasses
from collections.abc import Callable

import numpy as np

from objectives import DESCRIPTOR_NAMES
from optimizer.analysis.baseline_cost import Feels, study_cost
from optimizer.analysis.constraint_facts import broken, constraint_facts
from optimizer.analysis.searched_feels import feels_of
from optimizer.base.unfinished import passing_folder
from optimizer.execution.evaluate import (
    make_evaluate,
    ride_portfolio,
    rules_of,
    searched_columns,
    whole_profiles,
)
from optimizer.execution.store import Store
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search.loop import Progress
from optimizer.search.pareto import feasible
from optimizer.search.space import clip
from optimizer.study.scaling import Scaling, board_scaling
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile_array import profile_to_array

_FEEL = DESCRIPTOR_NAMES.index("feel_deg_per_mps2")


def scaling(old: Study, new: Study) -> Scaling:
    """Return how a profile of one study's board is scaled for another's, each for a mean rider."""
    return board_scaling(
        old.board, new.board, old_rider_kg=_mean_rider_kg(old), new_rider_kg=_mean_rider_kg(new)
    )


def _mean_rider_kg(study: Study) -> float:
    return float(np.mean([rider.body.mass_kg for rider in study.riders.values()]))


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Distance:
    """How far a transferred profile is from what a short search finds on the new board.

    Attributes
    ----------
    objectives, best_objectives : (objective,) float64
        Of the transferred profile, and of the feasible candidate of least cost.
    fails : list of str
        What the transferred profile fails, in words.
    cost, best_cost : float
        Weighted costs; the new study's baseline costs 1. `best_cost` is inf where no candidate is
        feasible.
    best : (parameter,) float64
        Whole profile of that candidate.
    n_candidates : int
        How many were searched.
    """

    objectives: Floats
    best_objectives: Floats
    fails: list[str]
    cost: float
    best_cost: float
    best: Floats
    n_candidates: int


def distance_to_optimum(
    study: Study,
    profile: Floats,
    *,
    n_candidates: int,
    n_jobs: int,
    on_generation: Callable[[Progress], None],
) -> Distance:
    """Ride a profile on a study's board, and search from it for a while.

    All are judged by the study's limits themselves: nothing is ridden again on other noise, for
    which a search stays inside some of them.

    Parameters
    ----------
    study : Study
        Of the new board.
    profile : (parameter,) float64
        The transferred profile.
    n_candidates : int
        Of the search that starts from it.
    n_jobs : int
        Threads; the outcome does not depend on it.
    on_generation : callable
        Told the progress of the search.
    """
    study = dataclasses.replace(study, on_search_noise=False)
    rules = rules_of(study)
    scores, rides = ride_portfolio(study, profile[None, :], rules=rules, n_jobs=n_jobs)
    own, handling, _ = rules.parts(rides)
    facts = constraint_facts(
        study, profile, own[0], handling[0], constraints=scores.constraints[0], rules=rules
    )
    columns = searched_columns(study)
    start = clip(study.space, profile[columns])
    with passing_folder("transfer") as folder, Store(folder / "short.sqlite") as store:
        progress = search_study(
            study,
            lambda screening: make_evaluate(study, n_jobs=n_jobs, screening=screening),
            study_plan(study, baseline=start),
            store,
            n_candidates=n_candidates,
            n_jobs=n_jobs,
            on_generation=on_generation,
        )
        found_rides = store.rides(range(progress.n_done))
    history = progress.history
    unit, baseline_feel = _baseline_on_board(study, n_jobs=n_jobs)
    found_feels = feels_of(study, whole_profiles(study, history.values), found_rides)
    cost = study_cost(
        study,
        history.objectives,
        baseline=unit,
        feels=Feels(of=found_feels, baseline=baseline_feel),
    )
    possible = np.where(feasible(history.constraints), cost, np.inf)
    number = int(np.argmin(possible))
    best = profile.copy()
    best[columns] = history.values[number]
    return Distance(
        objectives=scores.objectives[0],
        best_objectives=history.objectives[number],
        fails=broken(facts),
        cost=float(
            study_cost(
                study,
                scores.objectives,
                baseline=unit,
                feels=Feels(of=scores.descriptors[:, _FEEL], baseline=baseline_feel),
            )[0]
        ),
        best_cost=float(possible[number]),
        best=best,
        n_candidates=len(history),
    )


def _baseline_on_board(study: Study, *, n_jobs: int) -> tuple[Floats, float]:
    """Return the baseline's objectives, (objective,), and its pitch per acceleration."""
    profile = profile_to_array(study.baseline)[None, :]
    scores, _ = ride_portfolio(study, profile, rules=rules_of(study), n_jobs=n_jobs)
    objectives: Floats = scores.objectives[0]
    return objectives, float(scores.descriptors[0, _FEEL])
