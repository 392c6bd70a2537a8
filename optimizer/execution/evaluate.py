"""Riding a study's candidates: searched values to whole profiles, rides and scores."""

import dataclasses
import functools

import numpy as np
from numpy.typing import NDArray

from objectives import ScoreRules, Scores, ScoreSettings, ride_columns, score, score_rules
from objectives.nose_down_rate import DayRules
from optimizer.execution.baseline_handling import baseline_handling
from optimizer.execution.early_rejection import (
    RidePlaces,
    ride_with_early_rejection,
    screening_rides,
)
from optimizer.execution.hard_rides import hard_rides_of, with_hard_rides
from optimizer.search.evaluation import Evaluate, Evaluation
from optimizer.study.study import HardRides, Study
from plant.arrays import Floats, Indices
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.device import lanes_at_once
from plant.kernel.simulate import simulate


def searched_columns(study: Study) -> NDArray[np.intp]:
    """Return the columns of a whole profile that the study searches, (parameter,)."""
    return np.array([PROFILE_NAMES.index(name) for name in study.space.names], dtype=np.intp)


def whole_profiles(study: Study, values: Floats) -> Floats:
    """Return whole profiles; what is not searched keeps the baseline's value.

    Parameters
    ----------
    study : Study
    values : (candidate, searched parameter) float64
        In the order of `study.space.names`.

    Returns
    -------
    (candidate, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    """
    profiles = np.tile(profile_to_array(study.baseline), (len(values), 1))
    profiles[:, searched_columns(study)] = values
    return profiles


def baseline_values(study: Study) -> Floats:
    """Return the baseline's searched values, (searched parameter,)."""
    return profile_to_array(study.baseline)[searched_columns(study)]


def rules_of(study: Study, *, hard: bool = True) -> ScoreRules:
    """Return the facts and settings by which the study's rides are scored.

    Parameters
    ----------
    study : Study
    hard : bool
        Whether the hard rides are scored too, which must be found where they are not known.
    """
    return score_rules(
        study.described_rides,
        ride_weight=study.ride_weights,
        settings=study.settings if study.on_search_noise else study.settings.without_noise_margin(),
        handling=study.handling,
        baseline=baseline_handling(study),
        day=day_rules(hard_rides_of(study), study.settings) if hard else None,
        loop_riders=tuple(study.named_variants.values()),
    )


def day_rules(hard: HardRides, settings: ScoreSettings) -> DayRules:
    """Return what hard rides stand for, by which nose-down rates are estimated."""
    riders = list(hard.kilometres)
    return DayRules(
        rider=np.array([riders.index(name) for name in hard.rider_names], dtype=np.int64),
        road=hard.roads,
        weight=hard.weights,
        kilometres=np.array(list(hard.kilometres.values())),
        worst_rider_weight=settings.worst_rider_weight,
    )


def ride_portfolio(
    study: Study, profiles: Floats, *, rules: ScoreRules, n_jobs: int = 1
) -> tuple[Scores, Floats]:
    """Ride whole profiles over all rides of a study.

    Parameters
    ----------
    study : Study
    profiles : (candidate, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    rules : ScoreRules
        From `rules_of`; without hard rides in it, none are ridden.
    n_jobs : int
        Threads; the results do not depend on it.

    Returns
    -------
    scores : Scores
    rides : (candidate, ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`, the rides as in `Study.all_rides`; NaN where a
        ride has no such metric.
    """
    known = (
        dataclasses.replace(study, hard=None)
        if rules.day is None
        else with_hard_rides(study, n_jobs=n_jobs)
    )
    all_rides = known.all_rides
    rides = ride_columns(
        simulate(profiles, all_rides, n_jobs=n_jobs, device=study.device), all_rides
    )
    return score(rides, profiles, rules), rides


def ride_places(study: Study, profiles: Floats, places: Indices, *, n_jobs: int) -> Floats:
    """Ride whole profiles over the rides at some places, (candidate, place, column)."""
    all_rides = with_hard_rides(study, n_jobs=n_jobs).all_rides
    rides = [all_rides[place] for place in places]
    return ride_columns(simulate(profiles, rides, n_jobs=n_jobs, device=study.device), rides)


def evaluated(
    study: Study,
    values: Floats,
    *,
    ride: RidePlaces,
    rules: ScoreRules,
    screening: tuple[int, ...],
) -> Evaluation:
    """Ride a batch of searched values, the screening rides first, and score it.

    Parameters
    ----------
    study : Study
    values : (candidate, searched parameter) float64
    ride : callable
        Rides whole profiles over some of the study's rides, such as `ride_places`.
    rules : ScoreRules
        From `rules_of`.
    screening : tuple of int
        See `optimizer.execution.early_rejection.ridden_sparingly`.
    """
    profiles = whole_profiles(study, values)
    at_once = len(profiles) * rules.n_rides <= lanes_at_once(study.device)
    rides = ride_with_early_rejection(
        ride, profiles, screening=screening, rules=rules, at_once=at_once
    )
    scores = score(rides, profiles, rules)
    return Evaluation(objectives=scores.objectives, constraints=scores.constraints, rides=rides)


def make_evaluate(study: Study, *, n_jobs: int = 1, screening: tuple[int, ...] = ()) -> Evaluate:
    """Return the function that evaluates candidates of a study, by the screening rides first."""
    study = with_hard_rides(study, n_jobs=n_jobs)
    ride = functools.partial(ride_places, study, n_jobs=n_jobs)
    return functools.partial(
        evaluated, study, ride=ride, rules=rules_of(study), screening=screening
    )


def ride_durations(study: Study) -> Floats:
    """Return how long each ride lasts that does not end early, (ride,) in s, hard rides last."""
    all_rides = with_hard_rides(study).all_rides
    return np.array([ride.course.duration_s for ride in all_rides])


def study_screening_rides(study: Study, first: Floats) -> tuple[int, ...]:
    """Return the places of a study's screening rides, from those of its first generation.

    Parameters
    ----------
    study : Study
    first : (candidate, ride, column) float64
    """
    n_rides = len(study.rides)
    return screening_rides(first[:, :n_rides], ride_durations(study)[:n_rides])
