"""What candidates are compared with, and their weighted cost."""

import numpy as np

from objectives import OBJECTIVES, ScoreRules, outcome_codes, score, weighted_cost
from objectives.ride_scores import ended_early
from optimizer.base.errors import StudyFileError
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.profile_array import profile_to_array


def study_cost(study: Study, objectives: Floats, *, baseline: Floats) -> Floats:
    """Return the weighted cost by the study's weights, (candidate,); the baseline's is 1.

    Parameters
    ----------
    study : Study
    objectives : (candidate, objective) float64
    baseline : (objective,) float64

    Raises
    ------
    UserInputError
        An objective of the baseline is zero, so nothing can be compared with it.
    """
    for name, value in zip(OBJECTIVES, baseline, strict=True):
        if not value > 0.0:
            raise StudyFileError(
                f"{study.folder / 'study.toml'}: the baseline's {name} is {value:g}, so nothing"
                " can be compared with it; add a course in which it is above 0"
            )
    return weighted_cost(
        objectives, baseline, np.array([study.weights[name] for name in OBJECTIVES])
    )


def compared_baseline(study: Study, fresh: Floats, searched: Floats, rules: ScoreRules) -> Floats:
    """Return the objectives of the baseline with which re-evaluated candidates are compared.

    They are those on the fresh noise, which candidates and baseline share. But a lost ride costs
    more than any that is ridden, and candidates would seem better by it: a ride of the study that
    the baseline loses on fresh noise alone counts as it was ridden in the search.

    Parameters
    ----------
    study : Study
    fresh, searched : (ride, column) float64
        What the baseline rode in the re-evaluation and in the search.
    rules : ScoreRules

    Returns
    -------
    (objective,) float64
    """
    lost, lost_before = ended_early(outcome_codes(np.stack([fresh, searched])))
    only_here = lost & ~lost_before
    only_here[len(rules.ride_weight) :] = False  # a hard ride that is lost is counted, not fined
    columns = np.where(only_here[:, np.newaxis], searched, fresh)
    baseline = profile_to_array(study.baseline)
    objectives: Floats = score(columns[np.newaxis], baseline[np.newaxis], rules).objectives[0]
    return objectives
