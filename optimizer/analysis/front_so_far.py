"""What the front of a search is like, now and after each generation before."""

from dataclasses import dataclass

import numpy as np

from optimizer.analysis.baseline_cost import study_cost
from optimizer.analysis.results import Results
from optimizer.search.evaluation import BASELINE
from optimizer.search.pareto import hypervolume, non_dominated
from optimizer.study.study import Study
from plant.arrays import Floats

_REFERENCE_RATIO = 2.0  # hypervolume is counted up to twice the baseline's objectives


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontSoFar:
    """A front in three numbers.

    Attributes
    ----------
    n_front : int
    volume_ratio : float
        Hypervolume in units of the box between zero and twice the baseline's objectives.
    best_cost_ratio : float
        Least weighted cost, the baseline's 1; NaN without a front.
    """

    n_front: int
    volume_ratio: float
    best_cost_ratio: float


def front_so_far(study: Study, objectives: Floats, constraints: Floats) -> FrontSoFar:
    """Return what the front of some candidates is like, the baseline first among them.

    Parameters
    ----------
    study : Study
    objectives : (candidate, objective) float64
    constraints : (candidate, constraint) float64

    Raises
    ------
    StudyFileError
        An objective of the baseline is zero, so nothing can be compared with it.
    """
    front = objectives[non_dominated(objectives, constraints)]
    if not len(front):
        return FrontSoFar(n_front=0, volume_ratio=0.0, best_cost_ratio=float("nan"))
    baseline = objectives[BASELINE]
    n_objectives = front.shape[1]
    volume = hypervolume(front / baseline, np.full(n_objectives, _REFERENCE_RATIO))
    return FrontSoFar(
        n_front=len(front),
        volume_ratio=volume / _REFERENCE_RATIO**n_objectives,
        best_cost_ratio=float(study_cost(study, front, baseline=baseline).min()),
    )


def fronts_by_generation(results: Results) -> list[tuple[int, FrontSoFar]]:
    """Return how many candidates were ridden after each generation, and the front then.

    All on the noise of the search, also where the front is re-evaluated by now.
    """
    ends = np.flatnonzero(np.diff(results.generations, append=results.generations[-1] + 1)) + 1
    searched = results.searched
    return [
        (end, front_so_far(results.study, searched.objectives[:end], searched.constraints[:end]))
        for end in ends.tolist()
    ]
