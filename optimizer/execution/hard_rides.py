"""The hard rides of a study: read from its store, or found once and kept."""

import dataclasses
from collections import Counter
from collections.abc import Callable

from optimizer.base.cores import n_cores
from optimizer.base.hashing import digest
from optimizer.base.progress import UNWATCHED, Stages, unheard
from optimizer.execution.kept_texts import keep_text, kept_text
from optimizer.execution.provenance import HARD_RIDES, model_inputs
from optimizer.execution.store import started_with
from optimizer.riding_day.hard_rides import find_hard_rides, stored_hard_rides
from optimizer.study.paths import store_path
from optimizer.study.study import HardRides, Study

LOOKING = "looking for hard rides, in hours ridden"
_KIND = "hard_rides"
_KEPT = 8
_found: dict[str, HardRides] = {}


def with_hard_rides(
    study: Study,
    *,
    n_jobs: int | None = None,
    notice: Callable[[str], None] = unheard,
    stages: Stages = UNWATCHED,
) -> Study:
    """Return a study with its hard rides; see `hard_rides_of`."""
    if study.hard is not None:
        return study
    hard = hard_rides_of(study, n_jobs=n_jobs, notice=notice, stages=stages)
    return dataclasses.replace(study, hard=hard)


def hard_rides_of(
    study: Study,
    *,
    n_jobs: int | None = None,
    notice: Callable[[str], None] = unheard,
    stages: Stages = UNWATCHED,
) -> HardRides:
    """Return the hard rides of a study.

    They are a pure function of the study, so what a store keeps only saves the time to find them.

    Parameters
    ----------
    study : Study
    n_jobs : int or None
        Threads where they must be found; None for all cores.
    notice : callable
        Receives a sentence where they must be found, which takes as long as hundreds of
        candidates.
    stages : Stages
        Receives the hours of the day as they are ridden, where they must be found.

    Raises
    ------
    UserInputError
        The store can not be read.
    """
    if study.hard is not None:
        return study.hard
    key = study.digest
    hard = _found.get(key)
    if hard is None:
        text = started_with(store_path(study.folder), HARD_RIDES, study_digest=key)
        if text is None:
            text = kept_text(_KIND, _cache_key(study))
        hard = (
            _found_now(study, n_jobs or n_cores(), notice, stages)
            if text is None
            else stored_hard_rides(study, text)
        )
        while len(_found) >= _KEPT:
            del _found[next(iter(_found))]
        _found[key] = hard
    return hard


def _found_now(
    study: Study, n_jobs: int, notice: Callable[[str], None], stages: Stages
) -> HardRides:
    notice(
        "Looking for hard rides, once for this study: weakened profiles ride"
        f" {study.hard_rides_h:g} h of the riding day."
    )
    stages.begin(LOOKING, study.hard_rides_h)
    hard = find_hard_rides(study, n_jobs=n_jobs, advance=stages.advance)
    keep_text(_KIND, _cache_key(study), hard.text)
    riders = Counter(hard.rider_names)
    by_rider = ", ".join(f"{count} of {name}" for name, count in riders.most_common())
    n_roads = len(set(hard.roads.tolist()))
    roads = "one road" if n_roads == 1 else f"{n_roads} roads"
    notice(f"{len(hard)} hard rides over {roads}: {by_rider}.")
    return hard


def _cache_key(study: Study) -> str:
    """Return a digest of all that hard rides follow from; studies may share them."""
    return digest([study.day_digest, study.n_hard_rides, study.hard_rides_h, model_inputs()])
