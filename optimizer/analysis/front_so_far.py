"""What the front of a search is like, now and before, and what its latest candidates gained."""

from dataclasses import dataclass

import numpy as np

from optimizer.analysis.baseline_cost import Feels, study_cost
from optimizer.analysis.results import Results
from optimizer.search.evaluation import BASELINE
from optimizer.search.pareto import hypervolume, non_dominated
from optimizer.study.study import Study
from plant.arrays import Floats

N_LATEST = 1000  # candidates by whose gain a search is judged
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


def front_so_far(
    study: Study, objectives: Floats, constraints: Floats, feels: Feels | None = None
) -> FrontSoFar:
    """Return what the front of some candidates is like, the baseline first among them.

    Parameters
    ----------
    study : Study
    objectives : (candidate, objective) float64
    constraints : (candidate, constraint) float64
    feels : Feels, optional
        Of the candidates, where the study weighs a wanted feel.

    Raises
    ------
    StudyFileError
        An objective of the baseline is zero, or a feel that is weighed is not known of it, so
        nothing can be compared with it.
    """
    on_front = non_dominated(objectives, constraints)
    front = objectives[on_front]
    if not len(front):
        return FrontSoFar(n_front=0, volume_ratio=0.0, best_cost_ratio=float("nan"))
    baseline = objectives[BASELINE]
    return FrontSoFar(
        n_front=len(front),
        volume_ratio=covered_ratio(front, baseline),
        best_cost_ratio=float(
            study_cost(
                study,
                front,
                baseline=baseline,
                feels=None if feels is None else feels.taken(on_front),
            ).min()
        ),
    )


def covered_ratio(front: Floats, baseline: Floats) -> float:
    """Return the share of the box between zero and twice the baseline that a front covers.

    Parameters
    ----------
    front : (candidate, objective) float64
    baseline : (objective,) float64
        Above zero.
    """
    n_objectives = len(baseline)
    volume = hypervolume(front / baseline, np.full(n_objectives, _REFERENCE_RATIO))
    return volume / _REFERENCE_RATIO**n_objectives


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What the latest candidates of a search added to its front, in % of what was there before.

    Attributes
    ----------
    volume_percent : float
        By so much the hypervolume grew.
    cost_percent : float
        By so much the least weighted cost fell.
    """

    volume_percent: float
    cost_percent: float

    @property
    def percent(self) -> float:
        """The larger of both."""
        return max(self.volume_percent, self.cost_percent)

    def __str__(self) -> str:
        return (
            f"the last {N_LATEST:,} candidates gained {self.volume_percent:.2f} % of the front's"
            f" hypervolume and {self.cost_percent:.2f} % of the best cost"
        )


def latest_gain(
    study: Study, objectives: Floats, constraints: Floats, feels: Feels | None = None
) -> Gain | None:
    """Return what the last `N_LATEST` candidates gained.

    None where no candidate before them was on a front within twice the baseline's objectives.

    Parameters
    ----------
    study : Study
    objectives : (candidate, objective) float64
        As searched, all on the same noise, the baseline first.
    constraints : (candidate, constraint) float64
    feels : Feels, optional
        Of the candidates, where the study weighs a wanted feel.

    Raises
    ------
    StudyFileError
        As of `front_so_far`.
    """
    n_before = len(objectives) - N_LATEST
    if n_before < 1:
        return None
    earlier = slice(n_before)
    before = front_so_far(
        study,
        objectives[earlier],
        constraints[earlier],
        None if feels is None else feels.taken(earlier),
    )
    if not before.volume_ratio:
        return None
    now = front_so_far(study, objectives, constraints, feels)
    return Gain(
        volume_percent=100.0 * (now.volume_ratio / before.volume_ratio - 1.0),
        cost_percent=100.0 * (1.0 - now.best_cost_ratio / before.best_cost_ratio),
    )


def found_latest(results: Results) -> Gain | None:
    """Return what the last candidates of a search gained; see `latest_gain`."""
    searched = results.searched
    return latest_gain(results.study, searched.objectives, searched.constraints, results.feels)


def fronts_by_generation(results: Results) -> list[tuple[int, FrontSoFar]]:
    """Return how many candidates were ridden after each generation, and the front then.

    All on the noise of the search, also where the front is re-evaluated by now.
    """
    ends = np.flatnonzero(np.diff(results.generations, append=results.generations[-1] + 1)) + 1
    searched = results.searched
    return [
        (
            end,
            front_so_far(
                results.study,
                searched.objectives[:end],
                searched.constraints[:end],
                results.feels.taken(slice(end)),
            ),
        )
        for end in ends.tolist()
    ]
