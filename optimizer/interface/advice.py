"""What to change first of a profile that is ridden today."""

from optimizer.analysis.advice.advice import Advice, advised
from optimizer.analysis.advice.trying import MOST_CHANGES
from optimizer.analysis.front_profiles import finished_front
from optimizer.base.errors import ArgumentError
from optimizer.execution.devices import on_device
from optimizer.interface.progress import CalledBack, OnProgress, unwatched
from optimizer.interface.threads import n_threads
from optimizer.study.study import Study
from plant.description.profile import Profile
from plant.description.profile_array import profile_to_array
from plant.device import Device


def advise(
    study: Study,
    profile: Profile,
    *,
    called: str = "the profile",
    changes: int = MOST_CHANGES,
    jobs: int | None = None,
    device: Device | None = None,
    on_progress: OnProgress = unwatched,
) -> Advice:
    """Return the best one, two and three changes of a profile, each ridden again.

    Some hundred changed profiles ride the noise of the search. Those that score best ride fresh
    noise, and the numbers that are returned are from there. No search is needed; where the study's
    folder holds a finished one, the values of its picks are tried too.

    Parameters
    ----------
    study : Study
    profile : Profile
    called : str
        What to call the profile.
    changes : int
        At most so many, from 1 to 3.
    jobs : int, optional
        Threads; all cores if not given. The outcome does not depend on it.
    device : "cpu" or "cuda", optional
        What simulates: the processor or an NVIDIA GPU; the study's own if not given.
    on_progress : callable, optional
        Called with a `Progress`.

    Returns
    -------
    Advice
        Its `scores`, `changes` and `handling` are tables; `best.profile` is the profile with the
        changes that buy more than noise; `idle` are the parameters that do not matter.

    Raises
    ------
    UserInputError
        The number of changes is out of range, or the baseline gives nothing to compare with.
    MachineError
        The GPU can not be used.
    """
    if not 1 <= changes <= MOST_CHANGES:
        raise ArgumentError("changes", f"must be from 1 to {MOST_CHANGES}, got {changes}")
    front = finished_front(study)
    return advised(
        on_device(study, device),
        profile_to_array(profile),
        called=called,
        others=None if front is None else front.profiles[list(front.picks.values())],
        most=changes,
        n_jobs=n_threads(jobs),
        stages=CalledBack(on_progress),
    )
