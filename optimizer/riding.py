"""Riding a study's candidates: searched values to whole profiles, rides and scores."""

import functools

import numpy as np
from numpy.typing import NDArray

from objectives import ScoreRules, Scores, ride_columns, score, score_rules
from optimizer.evaluation import Evaluate, Evaluation
from optimizer.study import Study
from plant.profile_array import PROFILE_NAMES, profile_to_array
from plant.simulate import simulate

Floats = NDArray[np.float64]


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
        In the order of `plant.profile_array.PROFILE_NAMES`.
    """
    profiles = np.tile(profile_to_array(study.baseline), (len(values), 1))
    profiles[:, searched_columns(study)] = values
    return profiles


def baseline_values(study: Study) -> Floats:
    """Return the baseline's searched values, (searched parameter,)."""
    return profile_to_array(study.baseline)[searched_columns(study)]


def rules_of(study: Study) -> ScoreRules:
    """Return the facts and settings by which the study's rides are scored."""
    return score_rules(study.rides, ride_weight=study.ride_weights, settings=study.settings)


def ride_portfolio(
    study: Study, profiles: Floats, *, rules: ScoreRules, n_jobs: int = 1
) -> tuple[Scores, Floats]:
    """Ride whole profiles over all rides of a study.

    Parameters
    ----------
    study : Study
    profiles : (candidate, parameter) float64
        In the order of `plant.profile_array.PROFILE_NAMES`.
    rules : ScoreRules
        From `rules_of`.
    n_jobs : int
        Threads; the results do not depend on it.

    Returns
    -------
    scores : Scores
    rides : (candidate, ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`; NaN where a ride has no such metric.
    """
    rides = ride_columns(simulate(profiles, study.rides, n_jobs=n_jobs), study.rides)
    return score(rides, profiles, rules), rides


def make_evaluate(study: Study, *, n_jobs: int = 1) -> Evaluate:
    """Return the function that rides a generation of the study's search."""
    return functools.partial(_evaluate, study, rules_of(study), n_jobs)


def _evaluate(study: Study, rules: ScoreRules, n_jobs: int, values: Floats, /) -> Evaluation:
    scores, rides = ride_portfolio(study, whole_profiles(study, values), rules=rules, n_jobs=n_jobs)
    return Evaluation(objectives=scores.objectives, constraints=scores.constraints, rides=rides)
