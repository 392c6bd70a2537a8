"""What moves one profile: a candidate of a study's results, or one from anywhere."""

import dataclasses

from optimizer.analysis.explanation import Explanation, explained_candidate, explained_profile
from optimizer.analysis.results import Results, candidate_number
from optimizer.execution.devices import on_device
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.interface.threads import n_threads
from optimizer.study.study import Study
from plant.description.profile import Profile
from plant.description.profile_array import profile_to_array
from plant.device import Device


def explain(
    results: Results | Study,
    which: int | str | Profile = "balanced",
    *,
    called: str = "the profile",
    jobs: int | None = None,
    device: Device | None = None,
    on_progress: OnProgress = unwatched,
) -> Explanation:
    """Return what moves a profile, after riding its neighbours; it takes a minute or more.

    Each searched parameter is moved down and up by itself, by a tenth of its searched range.

    Parameters
    ----------
    results : Results or Study
        A study where nothing was searched yet; its profiles are `Profile` then.
    which : int, str or Profile
        A candidate's number, the name of a pick, or a profile from anywhere, which rides fresh
        noise.
    called : str
        What to call a profile that is no candidate.
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
    ValueError
        A candidate is asked for of a study without results.
    """
    stages, n_jobs = CalledBack(on_progress), n_threads(jobs)
    study = on_device(results if isinstance(results, Study) else results.study, device)
    ridden = None if isinstance(results, Study) else dataclasses.replace(results, study=study)
    if isinstance(which, Profile):
        return explained_profile(
            study,
            profile_to_array(which),
            called=called,
            results=ridden,
            n_jobs=n_jobs,
            stages=stages,
        )
    if ridden is None:
        raise ValueError(f"which: must be a Profile where results is a Study, got {which!r}")
    number = candidate_number(ridden, str(which))
    return explained_candidate(ridden, number, n_jobs=n_jobs, stages=stages)
