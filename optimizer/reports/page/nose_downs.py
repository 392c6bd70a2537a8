"""A page of films: what a validation's nose-downs look like, beside the baseline."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.base.atomic_files import write_whole, writing
from optimizer.base.cautions import CAUTIONS, SHORT_CAUTION
from optimizer.base.progress import UNWATCHED, Stages
from optimizer.reports.page.document import nose_downs_document
from optimizer.reports.page.films import (
    FILM_FACTS,
    TRACE_STEPS,
    Filmed,
    filmed,
    samples_ridden,
)
from optimizer.study.study import Study
from optimizer.validation.nose_down_rate import Place, rides_at
from optimizer.validation.rides import fault_rides, held_out_rides, tolerance_rides
from plant.arrays import Floats
from plant.constants import DT_S
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, simulate
from plant.kernel.trace import trace

MOST_FILMED = 250  # of more, some evenly spread over them: each takes up to 30 kB
_LAST_S = 8.0  # of a ride that ends so


def nose_down_rides(
    study: Study, profile: Floats, places: Sequence[Place], *, n_jobs: int = 1
) -> list[tuple[str, Ride]]:
    """Return each ride of a validation in which the nose goes down, with what it belongs to.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        That was validated.
    places : sequence of Place
        Those of the riding day, which the validation found.
    n_jobs : int
        Threads; what is found does not depend on it.
    """
    found = [("riding day", ride) for ride in (rides_at(study, places) if places else ())]
    others = [
        ("courses and riders it was not tuned on", held_out_rides(study)),
        ("tolerances", tolerance_rides(study)),
        *((fault.title, rides) for fault, rides in fault_rides(study)),
    ]
    all_rides = [(what, ride) for what, rides in others for ride in rides]
    results = simulate(
        profile[None, :], [ride for _, ride in all_rides], n_jobs=n_jobs, device=study.device
    )
    down = np.flatnonzero(results.outcome[0] == Outcome.NOSE_DOWN)
    return found + [all_rides[place] for place in down.tolist()]


def film_nose_downs(
    path: Path,
    study: Study,
    profile: Floats,
    places: Sequence[Sequence[int]],
    *,
    called: str,
    n_jobs: int = 1,
    stages: Stages = UNWATCHED,
) -> int:
    """Write the films of a validation's nose-downs, if there are any; return how many it shows.

    A page of an earlier validation is replaced, or goes.

    Parameters
    ----------
    path, study, profile, called, stages
        As of `write_nose_downs`.
    places : sequence of (course, lane)
        Of the riding day, as the facts of the validation have them.
    n_jobs : int
        Threads.

    Raises
    ------
    UserInputError
        The file can not be written.
    """
    stages.begin("finding all nose-downs")
    of_day = [(course, lane) for course, lane in places]
    rides = nose_down_rides(study, profile, of_day, n_jobs=n_jobs)
    if not rides:
        with writing(path):
            path.unlink(missing_ok=True)
        return 0
    return write_nose_downs(path, study, profile, rides, called=called, stages=stages)


def write_nose_downs(
    path: Path,
    study: Study,
    profile: Floats,
    rides: Sequence[tuple[str, Ride]],
    *,
    called: str,
    stages: Stages = UNWATCHED,
) -> int:
    """Write the films of nose-downs as one page, whole; return how many it shows.

    Parameters
    ----------
    path : Path
    study : Study
    profile : (parameter,) float64
    rides : sequence of (str, Ride)
        One or more, with what each belongs to.
    called : str
        What to call the profile.
    stages : Stages
        Receives each ride that is filmed.

    Raises
    ------
    UserInputError
        The file can not be written.
    """
    n_shown = min(len(rides), MOST_FILMED)
    spread = np.linspace(0, len(rides) - 1, n_shown).round().astype(np.int64)
    shown = [rides[place] for place in spread.tolist()]
    stages.begin("filming nose-downs", n_shown)
    payload = {
        **FILM_FACTS,
        "title": study.title,
        "called": called,
        "n_nose_downs": len(rides),
        "films": list(_films(study, profile, shown, stages)),
        "caution": SHORT_CAUTION,
        "cautions": CAUTIONS,
    }
    write_whole(path, nose_downs_document(payload))
    return n_shown


def _films(
    study: Study, profile: Floats, shown: Sequence[tuple[str, Ride]], stages: Stages
) -> Iterator[dict[str, Any]]:
    baseline = profile_to_array(study.baseline)
    beside = None if np.array_equal(profile, baseline) else baseline
    for what, ride in shown:
        yield {"what": what, "ride": ride.name, **_last_seconds(ride, profile, beside)}
        stages.advance()


def _last_seconds(ride: Ride, profile: Floats, beside: Floats | None) -> dict[str, Filmed | None]:
    """Return the end of a ride, and the same seconds of it by the baseline."""
    own = trace(profile, ride, every_steps=TRACE_STEPS)
    end = samples_ridden(own)
    kept = round(_LAST_S / (TRACE_STEPS * DT_S))
    samples = slice(max(end - kept, 0) // 2 * 2, end)
    other = None if beside is None else trace(beside, ride, every_steps=TRACE_STEPS)
    ended_before = other is not None and samples_ridden(other) <= samples.start + 2
    return {
        "own": filmed(ride, own, samples=samples),
        "base": None if other is None or ended_before else filmed(ride, other, samples=samples),
    }
