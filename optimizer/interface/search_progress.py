"""How a search is going: how many candidates, and what the front is like so far."""

from optimizer.analysis.front_so_far import front_so_far
from optimizer.analysis.searched_feels import FeelsSoFar
from optimizer.interface.progress import Progress
from optimizer.search import loop
from optimizer.study.study import Study

SEARCH = "search, in candidates"
REEVALUATION = "front evaluated again, in candidates"


def searched(study: Study, now: loop.Progress, feels: FeelsSoFar) -> Progress:
    """Return the progress of a search, with size and hypervolume of its front and the best cost.

    The hypervolume is in units of the box between zero and twice the baseline's objectives, so it
    lies between 0 and 1 and grows as the front does.

    Parameters
    ----------
    study : Study
    now : optimizer.search.loop.Progress
    feels : FeelsSoFar
        Of the search.

    Raises
    ------
    StudyFileError
        As of `optimizer.analysis.front_so_far.front_so_far`.
    """
    return Progress(
        stage=SEARCH, done=now.n_done, total=now.n_wanted, note=_found_so_far(study, now, feels)
    )


def _found_so_far(study: Study, now: loop.Progress, feels: FeelsSoFar) -> str:
    history = now.history
    if not len(history):
        return "first generation"
    front = front_so_far(study, history.objectives, history.constraints, feels.at(now))
    if not front.n_front:
        return "no candidate meets every constraint yet"
    return (
        f"front {front.n_front}, hypervolume {front.volume_ratio:.3f}, best cost"
        f" {front.best_cost_ratio:.3f} (baseline 1)"
    )
