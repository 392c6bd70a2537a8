"""How a search is going: how many candidates, and what the front is like so far."""

import numpy as np

from optimizer.analysis.baseline_cost import study_cost
from optimizer.interface.progress import Progress
from optimizer.search import loop
from optimizer.search.pareto import hypervolume, non_dominated
from optimizer.study.study import Study

SEARCH = "search, in candidates"
REEVALUATION = "front evaluated again, in candidates"
_REFERENCE_RATIO = 2.0  # hypervolume is counted up to twice the baseline's objectives


def searched(study: Study, now: loop.Progress) -> Progress:
    """Return the progress of a search, with size and hypervolume of its front and the best cost.

    The hypervolume is in units of the box between zero and twice the baseline's objectives, so it
    lies between 0 and 1 and grows as the front does.

    Parameters
    ----------
    study : Study
    now : optimizer.search.loop.Progress

    Raises
    ------
    StudyFileError
        An objective of the baseline is zero, so nothing can be compared with it.
    """
    return Progress(
        stage=SEARCH, done=now.n_done, total=now.n_wanted, note=_found_so_far(study, now)
    )


def _found_so_far(study: Study, now: loop.Progress) -> str:
    history = now.history
    if not len(history):
        return "first generation"
    on_front = non_dominated(history.objectives, history.constraints)
    if not on_front.any():
        return "no candidate meets every constraint yet"
    baseline = history.objectives[0]
    front = history.objectives[on_front]
    volume = hypervolume(front / baseline, np.full(front.shape[1], _REFERENCE_RATIO))
    share = volume / _REFERENCE_RATIO ** front.shape[1]
    best = study_cost(study, front, baseline=baseline).min()
    return f"front {len(front)}, hypervolume {share:.3f}, best cost {best:.3f} (baseline 1)"
