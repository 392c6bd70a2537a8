"""Which rides of a long riding day are hardest: found by weak profiles, once for a study."""

import dataclasses
import functools
import json
from collections.abc import Callable
from typing import Any

import numpy as np

from optimizer.base.hashing import digest
from optimizer.base.progress import UNWATCHED
from optimizer.execution.kept_texts import keep_text, kept_text
from optimizer.execution.provenance import model_inputs
from optimizer.riding_day.laid_ahead import laid_ahead
from optimizer.riding_day.rides import LANES_OF_A_COURSE
from optimizer.riding_day.weak_profiles import harder_rides, weakened
from optimizer.study.study import Study
from optimizer.validation.nose_down_rate import (
    COURSES_AT_ONCE,
    Place,
    batches_together,
    drawn_batch,
)
from plant.description.profile_array import profile_to_array

# Of 300 h the hardest 0.25 % held all nose-downs of 20 profiles, of 800 h the hardest 1 % held 97
# to 100 %: see tests/benchmarks/RESULTS.md.
HARDEST_RATIO = 0.01
_KIND = "hardest_rides"
_A_WEAK_PROFILE_FALLS = 0.5  # the mean nearness of two profiles, one of which is down, at least


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class HardestRides:
    """The hardest hundredth of a riding day.

    Attributes
    ----------
    places : frozenset of Place
    hold_weak_falls : bool
        Whether no weak profile's nose goes down in another ride that it rode: the first of them
        rides all, the other the harder tenth.
    """

    places: frozenset[Place]
    hold_weak_falls: bool


def drawn_hours(study: Study, n_courses: int) -> float:
    """Return how long the rides over so many courses of the riding day last."""
    return n_courses * LANES_OF_A_COURSE * study.riding_day.ride_s / 3600.0


def hardest_rides(
    study: Study,
    *,
    n_drawn: int,
    n_jobs: int = 1,
    advance: Callable[[float], None] = UNWATCHED.advance,
) -> HardestRides:
    """Return the hardest hundredth of the rides of the validation's riding day.

    They depend on what decides the day and on how many courses are drawn, on no profile but the
    study's baseline. They
    are kept in a cache: to find them takes as long as a profile that rides the whole day.

    Parameters
    ----------
    study : Study
    n_drawn : int
        Courses drawn.
    n_jobs : int
        Threads; the rides found do not depend on it.
    advance : callable
        Receives the hours ridden since it was last called, unless the rides are known.
    """
    key = digest([study.day_digest, model_inputs(), n_drawn, HARDEST_RATIO])
    text = kept_text(_KIND, key)
    if text is None:
        text = json.dumps(_found(study, n_drawn, n_jobs=n_jobs, advance=advance))
        keep_text(_KIND, key, text)
    facts: Any = json.loads(text)
    return HardestRides(
        places=frozenset((course, lane) for course, lane in facts["places"]),
        hold_weak_falls=facts["hold_weak_falls"],
    )


def _found(
    study: Study, n_drawn: int, *, n_jobs: int, advance: Callable[[float], None]
) -> dict[str, Any]:
    profiles = weakened(profile_to_array(study.baseline))
    n_kept = int(np.ceil(HARDEST_RATIO * n_drawn * LANES_OF_A_COURSE))
    found: list[tuple[float, int, int]] = []  # minus the hardness, course, lane
    every = np.arange(n_drawn, dtype=np.int64)
    batches = [every[first : first + COURSES_AT_ONCE] for first in every[::COURSES_AT_ONCE]]
    for together in laid_ahead(
        functools.partial(drawn_batch, study),
        batches,
        n_courses=n_drawn,
        n_together=batches_together(study),
        n_jobs=n_jobs,
        device=study.device,
    ):
        laid = [rides for _, rides in together]
        ridden = harder_rides(profiles, laid, n_jobs=n_jobs, device=study.device)
        for (numbers, _), harder in zip(together, ridden, strict=True):
            course, lane = np.divmod(harder.places, LANES_OF_A_COURSE)
            course = numbers[course]
            found += zip((-harder.hardness).tolist(), course.tolist(), lane.tolist(), strict=True)
            found = sorted(found)[: n_kept + 1]
            advance(float(harder.results.column("ride_time_s").sum()) / 3600.0)
    return {
        "places": sorted((course, lane) for _, course, lane in found[:n_kept]),
        "hold_weak_falls": -found[-1][0] < _A_WEAK_PROFILE_FALLS,
    }
