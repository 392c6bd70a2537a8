"""The hard rides of a study: read from its store, or found once and kept in memory."""

import dataclasses
from collections import Counter
from collections.abc import Callable

import joblib

from optimizer.execution.provenance import HARD_RIDES
from optimizer.execution.store import started_with
from optimizer.riding_day.hard_rides import find_hard_rides, stored_hard_rides
from optimizer.study.paths import store_path
from optimizer.study.study import HardRides, Study

_KEPT = 8
_found: dict[str, HardRides] = {}


def _unheard(_text: str) -> None:
    """Drop the notice."""


def with_hard_rides(study: Study, *, notice: Callable[[str], None] = _unheard) -> Study:
    """Return a study with its hard rides.

    They are a pure function of the study, so what a store keeps only saves the time to find them.

    Parameters
    ----------
    study : Study
    notice : callable
        Told in words where they must be found, which takes as long as hundreds of candidates.

    Raises
    ------
    UserInputError
        The store can not be read.
    """
    if study.hard is not None:
        return study
    digest = study.digest
    hard = _found.get(digest)
    if hard is None:
        text = started_with(store_path(study.folder), HARD_RIDES, study_digest=digest)
        hard = _found_now(study, notice) if text is None else stored_hard_rides(study, text)
        while len(_found) >= _KEPT:
            del _found[next(iter(_found))]
        _found[digest] = hard
    return dataclasses.replace(study, hard=hard)


def _found_now(study: Study, notice: Callable[[str], None]) -> HardRides:
    notice(
        "Looking for hard rides, once for this study: weakened profiles ride"
        f" {study.hard_rides_h:g} h of the riding day."
    )
    hard = find_hard_rides(study, n_jobs=joblib.cpu_count())
    riders = Counter(ride.rider_name for ride in hard.rides)
    by_rider = ", ".join(f"{count} of {name}" for name, count in riders.most_common())
    n_roads = len(set(hard.roads.tolist()))
    roads = "one road" if n_roads == 1 else f"{n_roads} roads"
    notice(f"{len(hard.rides)} hard rides over {roads}: {by_rider}.")
    return hard
