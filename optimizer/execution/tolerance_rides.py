"""A study's own rides with boards and riders drawn from their tolerances, the hardest of them.

A search rides one board and one body of each rider. A profile may hold these and lose the next
board of the same kind. So candidates of the front ride other draws too.
"""

import dataclasses
import functools
from collections import Counter

import numpy as np

from optimizer.execution.evaluate import whole_profiles
from optimizer.execution.reevaluation import LOST
from optimizer.riding_day.weak_profiles import ridden_nearness, weakened
from optimizer.search.evaluation import Evaluate, Evaluation
from optimizer.study.study import Study
from optimizer.study.tolerance_draws import drawn_rides
from plant.arrays import Floats
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, simulate

_DRAWN_FOR = "reevaluation"
_N_DRAWS = 32
_DRAWS_OF_A_RIDE = 4  # of which the hardest are kept: other rides are hard for other profiles
_N_RIDES = 96


def hardest_tolerance_rides(study: Study, *, n_jobs: int = 1) -> list[Ride]:
    """Return the rides of drawn boards and riders in which weakened profiles come nearest a fall.

    They are a pure function of the study; none without tolerances.
    """
    if not study.tolerances:
        return []
    rides = drawn_rides(study, _N_DRAWS, _DRAWN_FOR)
    weak = weakened(profile_to_array(study.baseline))
    near = ridden_nearness(simulate(weak, rides, n_jobs=n_jobs, device=study.device))
    kept: list[int] = []
    of_name: Counter[str] = Counter()
    for place in np.argsort(-near.mean(axis=0), kind="stable").tolist():
        of_name[rides[place].name] += 1
        if of_name[rides[place].name] <= _DRAWS_OF_A_RIDE:
            kept.append(place)
    return [rides[place] for place in sorted(kept[:_N_RIDES])]


def with_tolerances(evaluate: Evaluate, study: Study, *, n_jobs: int) -> Evaluate:
    """Return the evaluation that counts the nose-downs within the tolerances besides.

    Parameters
    ----------
    evaluate : Evaluate
    study : Study
    n_jobs : int
        Threads; the counts do not depend on it.
    """
    rides = functools.cache(lambda: hardest_tolerance_rides(study, n_jobs=n_jobs))

    def counting(values: Floats) -> Evaluation:
        evaluation = evaluate(values)
        if not rides():
            return evaluation
        profiles = whole_profiles(study, values)
        found = simulate(profiles, rides(), n_jobs=n_jobs, device=study.device)
        constraints = evaluation.constraints.copy()
        constraints[:, LOST] = (found.outcome == Outcome.NOSE_DOWN).sum(axis=1)
        return dataclasses.replace(evaluation, constraints=constraints)

    return counting
