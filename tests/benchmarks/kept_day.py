"""A drawn day that profiles ride, kept in a file while it is ridden, and continued from it."""

import time
from pathlib import Path

from optimizer.base.hashing import digest
from optimizer.study.study import Study
from plant.arrays import Floats
from tests.benchmarks.counted_day import (
    Counts,
    counted,
    read_counts,
    work_done,
    work_wanted,
    write_counts,
)
from tests.benchmarks.time_to_go import TimeToGo

_WRITTEN_EVERY_S = 60.0  # at most so much is ridden again after an interruption


class _File:
    """The file of counts, written whole from time to time and when the day ends."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._latest: Counts | None = None
        self._written_s = time.monotonic()

    def keep(self, counts: Counts) -> None:
        """Take note of the counts, and write them where that was long ago."""
        self._latest = counts
        if time.monotonic() - self._written_s > _WRITTEN_EVERY_S:
            self.write()

    def write(self) -> None:
        """Write the latest counts, if there are newer ones than in the file."""
        if self._latest is not None:
            write_counts(self._path, self._latest)
        self._latest = None
        self._written_s = time.monotonic()


def day_key(study: Study, profiles: Floats, seed: int) -> str:
    """Return the key of counts that follow from a study, its day's seed and the profiles."""
    return digest([study.digest, seed, profiles.tolist()])


def kept_counts(
    study: Study,
    profiles: Floats,
    path: Path,
    *,
    key: str,
    hours: float,
    hardest: float,
    seed: int,
    n_jobs: int,
) -> Counts:
    """Return the counts of a file, continued as far as asked; see `counted_day.counted`.

    An interruption keeps what was ridden, less the step that was in hand.

    Parameters
    ----------
    study : Study
    profiles : (profile, parameter) float64
    path : Path
        Made where there is none, with its folder.
    key : str
        From `day_key`.
    hours, hardest, seed, n_jobs
        As of `counted`.

    Raises
    ------
    UserInputError
        The file is of other profiles or of another day.
    """
    counts = read_counts(path, key, n_profiles=len(profiles))
    path.parent.mkdir(parents=True, exist_ok=True)
    file = _File(path)
    wanted = work_wanted(study, n_profiles=len(profiles), hours=hours, hardest=hardest)
    to_go = TimeToGo(path.stem, wanted, done=work_done(study, counts))

    def keep(so_far: Counts) -> None:
        file.keep(so_far)
        to_go.at(work_done(study, so_far))

    try:
        return counted(
            study,
            profiles,
            counts,
            hours=hours,
            hardest=hardest,
            seed=seed,
            n_jobs=n_jobs,
            keep=keep,
        )
    finally:
        file.write()
