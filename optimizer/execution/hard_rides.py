"""The hard rides of a study: read from its store, or found once and kept in memory."""

import dataclasses
from collections.abc import Callable

import joblib

from optimizer.base.progress import UNWATCHED
from optimizer.execution.provenance import HARD_RIDES
from optimizer.execution.store import started_with
from optimizer.riding_day.hard_rides import find_hard_rides, stored_hard_rides
from optimizer.study.paths import store_path
from optimizer.study.study import HardRides, Study

_KEPT = 8
_found: dict[str, HardRides] = {}


def with_hard_rides(study: Study, *, advance: Callable[[float], None] = UNWATCHED.advance) -> Study:
    """Return a study with its hard rides.

    They are a pure function of the study, so what a store keeps only saves the time to find them.

    Parameters
    ----------
    study : Study
    advance : callable
        Receives the hours of the day ridden since it was last called, where they must be found.

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
        hard = (
            find_hard_rides(study, n_jobs=joblib.cpu_count(), advance=advance)
            if text is None
            else stored_hard_rides(study, text)
        )
        while len(_found) >= _KEPT:
            del _found[next(iter(_found))]
        _found[digest] = hard
    return dataclasses.replace(study, hard=hard)
