"""What moves one candidate of a study's results."""

import dataclasses

from optimizer.analysis.explanation import Explanation, explained
from optimizer.analysis.results import Results, candidate_number
from optimizer.execution.devices import on_device
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.interface.threads import n_threads
from plant.device import Device


def explain(
    results: Results,
    which: int | str = "balanced",
    *,
    jobs: int | None = None,
    device: Device | None = None,
    on_progress: OnProgress = unwatched,
) -> Explanation:
    """Return what moves a candidate, after riding its neighbours; it takes a minute or more.

    Each searched parameter is moved down and up by itself, by a tenth of its searched range.

    Parameters
    ----------
    results : Results
    which : int or str
        A candidate's number, or the name of a pick.
    jobs : int, optional
        Threads; all cores if not given. The outcome does not depend on it.
    device : "cpu" or "cuda", optional
        What simulates: the processor or an NVIDIA GPU; the study's own if not given.
    on_progress : callable, optional
        Called with a `Progress`.

    Returns
    -------
    Explanation
        Its `sentences` say what matters; `around` (parameters moved by themselves) and
        `importance` (over all feasible candidates) are tables; `figures.explanation` draws it.

    Raises
    ------
    CandidateError
        There is no such candidate or pick.
    MachineError
        The GPU can not be used.
    """
    return explained(
        dataclasses.replace(results, study=on_device(results.study, device)),
        candidate_number(results, str(which)),
        n_jobs=n_threads(jobs),
        stages=CalledBack(on_progress),
    )
