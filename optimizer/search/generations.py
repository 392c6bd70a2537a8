"""The generations of a search: which candidates breed, and which are proposed next."""

from collections.abc import Sequence

import numpy as np

from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, History, Observed
from optimizer.search.plan import Plan
from optimizer.search.proposals import propose
from optimizer.search.ranking import best_first
from plant.arrays import Floats, Indices

NO_PARENTS: Indices = np.empty(0, dtype=np.intp)


def survivors(
    history: History, parents: Indices, generation: Sequence[int], *, n_best: int
) -> Indices:
    """Return the candidates that breed after a generation, the best of it and of its parents.

    The best come first.

    Parameters
    ----------
    history : History
        All of it is known.
    parents : (parent,) int
        Places in the history; none before the first generation.
    generation : sequence of int
        Places of its candidates.
    n_best : int
        At most so many survive.
    """
    pool = np.array([*parents, *generation], dtype=np.intp)
    best = best_first(history.objectives[pool], history.constraints[pool], n_best=n_best)
    chosen: Indices = pool[best]
    return chosen


class Generations:
    """Whole generations of a plan, asked for and told one after the other.

    Parameters
    ----------
    plan : Plan
        What to propose from; all its objectives are minimised.
    n_jobs : int
        Threads that work on what to propose; how many changes nothing.
    """

    def __init__(self, plan: Plan, *, n_jobs: int = 1) -> None:
        self._plan = plan
        self._n_jobs = n_jobs
        self._observed = Observed(history=NO_HISTORY, components=NO_COMPONENTS)
        self._parents = NO_PARENTS
        self._asked: Floats | None = None

    @property
    def parents(self) -> Indices:
        """Numbers of the candidates that breed next, the best first; none at the start."""
        return self._parents

    def ask(self) -> Floats:
        """Return the next generation, (population, parameter), the same until it is told."""
        if self._asked is None:
            self._asked = propose(
                self._plan,
                len(self._observed.history) // self._plan.population,
                observed=self._observed,
                parents=self._parents,
                n_jobs=self._n_jobs,
            )
        return self._asked.copy()

    def tell(self, observed: Observed) -> None:
        """Take in one or more whole generations after those known, in number order."""
        population = self._plan.population
        start = len(self._observed.history)
        self._observed = self._observed.followed_by(observed)
        history = self._observed.history
        for first in range(start, len(history), population):
            generation = range(first, first + population)
            self._parents = survivors(history, self._parents, generation, n_best=population)
        self._asked = None
