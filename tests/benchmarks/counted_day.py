"""A drawn day that many profiles ride, with what came of each ride; kept in a file, continued."""

import dataclasses
import functools
import io
import math
import zipfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from objectives.event_rate import EventRate, event_rate
from optimizer.base.atomic_files import write_whole
from optimizer.base.errors import UserInputError
from optimizer.riding_day.laid_ahead import laid_ahead
from optimizer.riding_day.rides import LANES_OF_A_COURSE, day_rides
from optimizer.riding_day.weak_profiles import ridden_nearness, weakened
from optimizer.study.study import Study
from plant.arrays import Flags, Floats
from plant.description.profile_array import profile_to_array
from plant.device import batches_at_once
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, Rides, laid_together, simulate

COURSES_AT_ONCE = 8


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Counts:
    """What was ridden of a drawn day so far.

    Attributes
    ----------
    key : str
        What the day and the profiles follow from.
    hardness : (course, lane) float64
        Mean nearness to a nose-down of the baseline and the weakened profiles.
    rider : (course, lane) int64
        Index into the study's riders.
    kilometres, hours : (course, lane) float64
        Of the baseline.
    places : (ridden, 2) int64
        Course and lane of the rides that all profiles rode.
    down : (ridden, profile) bool
        Whether the nose went down.
    """

    key: str
    hardness: Floats
    rider: NDArray[np.int64]
    kilometres: Floats
    hours: Floats
    places: NDArray[np.int64]
    down: Flags

    def by_road(self, profile: int, *, rider: int | None = None) -> tuple[Floats, Floats]:
        """Return a profile's nose-downs and its kilometres, both (course,), of one rider or all."""
        course, lane = self.places.T
        counted = self.down[:, profile]
        kilometres = self.kilometres
        if rider is not None:
            counted = counted & (self.rider[course, lane] == rider)
            kilometres = np.where(self.rider == rider, kilometres, 0.0)
        n_down = np.bincount(course[counted], minlength=len(kilometres)).astype(np.float64)
        return n_down, kilometres.sum(axis=1)

    def rate(self, profile: int, *, rider: int | None = None) -> EventRate:
        """Return a profile's nose-downs per 1,000 km, of one rider or of all."""
        n_down, kilometres = self.by_road(profile, rider=rider)
        return event_rate(n_down, kilometres / 1000.0)

    def worst_rider(self, profile: int) -> int:
        """Return the rider with a profile's highest rate; the first of equals."""
        rates = [self.rate(profile, rider=rider).rate for rider in np.unique(self.rider).tolist()]
        return int(np.argmax(rates))

    def survived(self) -> Flags:
        """Say which roads at least one profile rides without a nose-down, (course,)."""
        n_down = [self.by_road(profile)[0] for profile in range(self.down.shape[1])]
        return np.asarray(np.min(n_down, axis=0) == 0.0)


def nothing_ridden(key: str, *, n_profiles: int) -> Counts:
    """Return the counts with which a day begins."""
    none = np.empty((0, 0))
    return Counts(
        key=key,
        hardness=none,
        rider=none.astype(np.int64),
        kilometres=none,
        hours=none,
        places=np.empty((0, 2), dtype=np.int64),
        down=np.empty((0, n_profiles), dtype=np.bool_),
    )


def read_counts(path: Path, key: str, *, n_profiles: int) -> Counts:
    """Return the counts in a file, or none where there is no file.

    Raises
    ------
    UserInputError
        The file is of other profiles, of another day or study, or no file of counts.
    """
    try:
        with np.load(path, allow_pickle=False) as kept:
            names = [field.name for field in dataclasses.fields(Counts) if field.name != "key"]
            counts = Counts(key=str(kept["key"]), **{name: kept[name] for name in names})
    except FileNotFoundError:
        return nothing_ridden(key, n_profiles=n_profiles)
    except (OSError, zipfile.BadZipFile, ValueError, KeyError):
        raise UserInputError(f"{path}: holds no counts; name another folder by --out") from None
    if counts.key != key:
        raise UserInputError(
            f"{path}: counts of other profiles or of another day; name another folder by --out"
        )
    return counts


def write_counts(path: Path, counts: Counts) -> None:
    """Write counts whole into a file."""
    content = io.BytesIO()
    np.savez_compressed(
        content,
        **{field.name: getattr(counts, field.name) for field in dataclasses.fields(counts)},
    )
    write_whole(path, content.getvalue())


def counted(
    study: Study,
    profiles: Floats,
    counts: Counts,
    *,
    hours: float,
    hardest: float,
    seed: int,
    n_jobs: int = 1,
    keep: Callable[[Counts], None] = lambda _: None,
) -> Counts:
    """Return the counts with at least so many hours of the day in them.

    Parameters
    ----------
    study : Study
    profiles : (profile, parameter) float64
    counts : Counts
        Of the same profiles and day so far.
    hours : float
    hardest : float
        Share of all rides that the profiles ride, above 0 and at most 1.
    seed : int
        Of the day.
    n_jobs : int
        Threads; the counts do not depend on it.
    keep : callable
        Receives the counts after each of many steps.
    """
    while (missing_h := hours - counts.hours.sum()) > 0.0:
        longest_h = COURSES_AT_ONCE * LANES_OF_A_COURSE * study.riding_day.ride_s / 3600.0
        first = len(counts.hardness)
        batches = [
            first + COURSES_AT_ONCE * number + np.arange(COURSES_AT_ONCE, dtype=np.int64)
            for number in range(math.ceil(missing_h / longest_h))
        ]
        for _, riders, results in ridden(
            study,
            _scouts(study),
            [all_places(numbers) for numbers in batches],
            seed=seed,
            n_jobs=n_jobs,
        ):
            counts = _scouted(study, counts, riders, results)
            keep(counts)
            if counts.hours.sum() >= hours:
                break
    missing = wanted_places(counts, hardest)
    courses = np.unique(missing[:, 0])
    parts = [
        missing[np.isin(missing[:, 0], courses[first : first + COURSES_AT_ONCE])]
        for first in range(0, len(courses), COURSES_AT_ONCE)
    ]
    for places, _, results in ridden(study, profiles, parts, seed=seed, n_jobs=n_jobs):
        counts = dataclasses.replace(
            counts,
            places=np.vstack([counts.places, places]),
            down=np.vstack([counts.down, results.outcome.T == Outcome.NOSE_DOWN]),
        )
        keep(counts)
    return counts


def all_places(numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return course and lane of all rides over some courses."""
    lanes = np.arange(LANES_OF_A_COURSE)
    return np.column_stack([np.repeat(numbers, len(lanes)), np.tile(lanes, len(numbers))])


def _drawn(
    study: Study, seed: int, places: NDArray[np.int64]
) -> tuple[list[Ride], tuple[NDArray[np.int64], list[str]]]:
    """Return the rides at some places of the day, ordered by course; the places; their riders."""
    numbers = np.unique(places[:, 0])
    drawn = dict(zip(numbers.tolist(), day_rides(study, numbers, seed=seed), strict=True))
    rides = [drawn[course][lane] for course, lane in places.tolist()]
    return rides, (places, [ride.rider_name for ride in rides])


def ridden(
    study: Study,
    profiles: Floats,
    parts: Sequence[NDArray[np.int64]],
    *,
    seed: int,
    n_jobs: int,
) -> Iterator[tuple[NDArray[np.int64], list[str], Rides]]:
    """Yield the places of each part, their riders and the profiles' rides."""
    lanes = COURSES_AT_ONCE * LANES_OF_A_COURSE * len(profiles)
    for together in laid_ahead(
        functools.partial(_drawn, study, seed),
        parts,
        n_courses=len(parts) * COURSES_AT_ONCE,
        n_together=batches_at_once(study.device, lanes),
        n_jobs=n_jobs,
        device=study.device,
    ):
        laid = laid_together([laid for _, laid in together])
        results = simulate(profiles, laid, n_jobs=n_jobs, device=study.device)
        first = 0
        for (places, riders), _ in together:
            yield places, riders, results.over(slice(first, first + len(places)))
            first += len(places)


def work_wanted(study: Study, *, n_profiles: int, hours: float, hardest: float) -> float:
    """Return how many rides all profiles and the scouts make together, about."""
    n_rides = hours * 3600.0 / study.riding_day.ride_s
    return n_rides * (len(_scouts(study)) + n_profiles * hardest)


def work_done(study: Study, counts: Counts) -> float:
    """Return how many of those rides are in the counts."""
    return float(counts.hardness.size * len(_scouts(study)) + counts.down.size)


def _scouts(study: Study) -> Floats:
    """Return the baseline and the weakened profiles, (profile, parameter)."""
    baseline = profile_to_array(study.baseline)
    return np.vstack([baseline, weakened(baseline)])


def _scouted(study: Study, counts: Counts, names: Sequence[str], results: Rides) -> Counts:
    """Return counts with the next courses, ridden by the baseline and the weakened profiles."""
    first = len(counts.hardness)
    riders = list(study.riders)
    found = {
        "hardness": ridden_nearness(results).mean(axis=0),
        "rider": np.array([riders.index(name) for name in names]),
        "kilometres": np.abs(results.column("distance_m")[0]) / 1000.0,
        "hours": results.column("ride_time_s")[0] / 3600.0,
    }
    by_course = {name: values.reshape(-1, LANES_OF_A_COURSE) for name, values in found.items()}
    if first:
        by_course = {
            name: np.vstack([getattr(counts, name), values]) for name, values in by_course.items()
        }
    return dataclasses.replace(counts, **by_course)  # type: ignore[arg-type]


def wanted_places(counts: Counts, hardest: float) -> NDArray[np.int64]:
    """Return course and lane of the hardest share of the rides, less those that were ridden."""
    n_wanted = int(np.ceil(hardest * counts.hardness.size))
    order = np.sort(np.argsort(-counts.hardness, axis=None, kind="stable")[:n_wanted])
    n_lanes = counts.hardness.shape[1]
    ridden = counts.places @ np.array([n_lanes, 1])
    wanted = order[~np.isin(order, ridden)]
    return np.column_stack(np.divmod(wanted, n_lanes)).astype(np.int64)
