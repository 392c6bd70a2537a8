"""Nose-downs by road of profiles that fail often, kept in a file while they are ridden."""

import dataclasses
import io
import math
import time
from pathlib import Path
from typing import TypeVar

import numpy as np

from optimizer.base.atomic_files import write_whole
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import digest
from optimizer.riding_day.rides import LANES_OF_A_COURSE
from optimizer.riding_day.weak_profiles import weakened
from optimizer.study.study import Study
from plant.arrays import Flags, Floats
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Rides
from tests.benchmarks.counted_day import COURSES_AT_ONCE, all_places, ridden

WEAKENED = ("soft", "underdamped")  # of `weakened`
_WRITTEN_EVERY_S = 20.0  # at most so much is ridden again after an interruption
_SOME_END_EARLY = 1.2  # so many more rides than fill the hours, of which the last are not ridden

Array = TypeVar("Array", Flags, Floats)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Falls:
    """What the weakened profiles rode so far.

    Attributes
    ----------
    down : (course, lane, profile) bool
        Whether the nose went down.
    kilometres : (course, lane, profile) float64
    hours : float
        Of the first profile.
    """

    down: Flags
    kilometres: Floats
    hours: float


def kept_falls(study: Study, path: Path, *, hours: float, seed: int, n_jobs: int = 1) -> Falls:
    """Return the falls of at least so many hours, from a file as far as it goes.

    Parameters
    ----------
    study : Study
    path : Path
        Of the file, which is made or continued.
    hours : float
    seed : int
        Of the day.
    n_jobs : int
        Threads.

    Raises
    ------
    UserInputError
        The file is of another study or day.
    """
    profiles = weakened(profile_to_array(study.baseline))
    key = digest([study.digest, seed, profiles.tolist()])
    found = _read(path, key)
    path.parent.mkdir(parents=True, exist_ok=True)
    longest_h = COURSES_AT_ONCE * LANES_OF_A_COURSE * study.riding_day.ride_s / 3600.0
    n_parts = math.ceil(max(hours - found.hours, 0.0) / longest_h * _SOME_END_EARLY)
    first = len(found.down) + COURSES_AT_ONCE * np.arange(n_parts)
    parts = [all_places(number + np.arange(COURSES_AT_ONCE)) for number in first]
    written_s = time.monotonic()
    try:
        for _, _, results in ridden(study, profiles, parts, seed=seed, n_jobs=n_jobs):
            if found.hours >= hours:
                break
            found = _with(found, results)
            if time.monotonic() - written_s > _WRITTEN_EVERY_S:
                _write(path, key, found)
                written_s = time.monotonic()
    finally:
        _write(path, key, found)
    return found


def _with(found: Falls, results: Rides) -> Falls:
    """Return falls with those of the next courses, ridden by each profile in turn."""
    down = _by_course(results.outcome == Outcome.NOSE_DOWN)
    kilometres = _by_course(np.abs(results.column("distance_m")) / 1000.0)
    return Falls(
        down=np.concatenate([found.down, down]),
        kilometres=np.concatenate([found.kilometres, kilometres]),
        hours=found.hours + float(results.column("ride_time_s")[0].sum()) / 3600.0,
    )


def _by_course(values: Array) -> Array:
    """Return values of rides, (profile, ride), by road: (course, lane, profile)."""
    return values.reshape(len(values), -1, LANES_OF_A_COURSE).transpose(1, 2, 0)


def _read(path: Path, key: str) -> Falls:
    try:
        with np.load(path, allow_pickle=False) as kept:
            ours = str(kept["key"]) == key
            falls = Falls(
                down=kept["down"], kilometres=kept["kilometres"], hours=float(kept["hours"])
            )
    except FileNotFoundError:
        none = np.zeros((0, LANES_OF_A_COURSE, len(WEAKENED)))
        return Falls(down=none > 0.0, kilometres=none, hours=0.0)
    if not ours:
        raise UserInputError(f"{path}: of another study or day; name another folder by --out")
    return falls


def _write(path: Path, key: str, found: Falls) -> None:
    content = io.BytesIO()
    arrays = {name: getattr(found, name) for name in ("down", "kilometres", "hours")}
    np.savez_compressed(content, key=np.array(key), **arrays)
    write_whole(path, content.getvalue())
