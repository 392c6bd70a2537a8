"""Counting how often a profile puts the nose down in a mixed riding day."""

import dataclasses
import functools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives.event_rate import EventRate, event_rate
from optimizer.base.hashing import spawned
from optimizer.base.progress import UNWATCHED
from optimizer.riding_day.laid_ahead import laid_ahead
from optimizer.riding_day.rides import LANES_OF_A_COURSE, day_columns, rider_turns, rides_of_day
from optimizer.riding_day.speeds import ROUGH_1E6_M3
from optimizer.study.riding_day import RidingDay
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.device import batches_at_once
from plant.kernel.outcomes import Outcome
from plant.kernel.ride_columns import RideColumns
from plant.kernel.simulate import Ride, Rides, laid_together, simulate

Place: TypeAlias = tuple[int, int]  # of a ride in the day: its course and its lane

COURSES_AT_ONCE = 64
_KERB_REACH_M = 4.0  # assumed: what a kerb upsets shows within this distance
_STEEP_PERCENT = 8.0
_SLIPPERY_RATIO = 0.5
_RUNAWAY = 1.2  # assumed: so far beyond the fastest wanted speed a board has run away


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class DayCount:
    """What a mixed riding day brought.

    Attributes
    ----------
    hours, kilometres : float
        Ridden in all.
    n_courses : int
        The first so many of the day.
    per_1000_km : EventRate
        Nose-downs.
    other_ends : mapping of str to int
        Rides that ended otherwise, by reason.
    causes : mapping of str to int
        Nose-downs by what was under the wheel or missing, most frequent first.
    by_pace : mapping of str to int
        Nose-downs by how fast the board was, most frequent first.
    by_rider : mapping of str to EventRate
        Nose-downs of each rider per 1,000 km, the worst first.
    nose_downs : tuple of Place
        Rides that ended so, in the order in which they were drawn.
    """

    hours: float
    kilometres: float
    n_courses: int
    per_1000_km: EventRate
    other_ends: Mapping[str, int]
    causes: Mapping[str, int]
    by_pace: Mapping[str, int]
    by_rider: Mapping[str, EventRate]
    nose_downs: tuple[Place, ...]


def rides_at(study: Study, places: Sequence[Place]) -> list[Ride]:
    """Return some rides of the validation's riding day."""
    return rides_of_day(study, places, seed=_seed(study))


def _seed(study: Study) -> int:
    return spawned(study.seed, "validation", "day")


def ride_days(
    study: Study,
    profile: Floats,
    *,
    hours: float,
    n_jobs: int = 1,
    advance: Callable[[float], None] = UNWATCHED.advance,
) -> DayCount:
    """Ride a profile for hours of mixed riding and count its nose-downs; see `ride_same_days`."""
    [count] = ride_same_days(study, profile[None], hours=hours, n_jobs=n_jobs, advance=advance)
    return count


def ride_same_days(
    study: Study,
    profiles: Floats,
    *,
    hours: float,
    n_jobs: int = 1,
    advance: Callable[[float], None] = UNWATCHED.advance,
) -> list[DayCount]:
    """Ride profiles for hours of mixed riding, on the same days, and count their nose-downs.

    What is counted of a profile does not depend on the others.

    Parameters
    ----------
    study : Study
    profiles : (profile, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    hours : float
        Each rides at least so many.
    n_jobs : int
        Threads, or processes that draw rides; the counts do not depend on it.
    advance : callable
        Receives the hours ridden since it was last called, of all profiles.
    """
    tallies = [_Tally(study=study) for _ in profiles]
    for numbers, of_profiles in _ridden_courses(study, profiles, hours=hours, n_jobs=n_jobs):
        for which, results in of_profiles.items():
            tallies[which].add(numbers, results)
        advance(sum(map(_ridden_h, of_profiles.values())))
    return [tally.count() for tally in tallies]


@dataclasses.dataclass(slots=True, kw_only=True, eq=False)
class _Tally:
    """What one profile's riding day has brought so far."""

    study: Study
    by_course: list[tuple[Floats, Floats]] = dataclasses.field(default_factory=list)
    counts: dict[str, Counter[str]] = dataclasses.field(
        default_factory=lambda: {name: Counter() for name in ("other_ends", "causes", "by_pace")}
    )
    nose_downs: list[Place] = dataclasses.field(default_factory=list)
    ridden_h: float = 0.0

    def add(self, numbers: NDArray[np.int64], results: Rides) -> None:
        """Count the rides over some courses."""
        lanes = rider_turns(self.study, numbers).ravel()
        self.by_course.append(_by_course(results, lanes, n_riders=len(self.study.riders)))
        _tally(self.counts, self.study, numbers, results)
        down = np.flatnonzero(results.outcome[0] == Outcome.NOSE_DOWN)
        self.nose_downs += _places(numbers, down)
        self.ridden_h += _ridden_h(results)

    def count(self) -> DayCount:
        """Return what all of it comes to."""
        by_km, downs = (np.concatenate(column) for column in zip(*self.by_course, strict=True))
        return DayCount(
            hours=self.ridden_h,
            kilometres=float(by_km.sum()),
            n_courses=len(by_km),
            per_1000_km=event_rate(downs.sum(axis=1), by_km.sum(axis=1) / 1000.0),
            by_rider=_worst_first(
                {
                    name: event_rate(downs[:, place], by_km[:, place] / 1000.0)
                    for place, name in enumerate(self.study.riders)
                    if by_km[:, place].sum() > 0.0
                }
            ),
            nose_downs=tuple(self.nose_downs),
            **{name: dict(counter.most_common()) for name, counter in self.counts.items()},
        )


def _ridden_courses(
    study: Study, profiles: Floats, *, hours: float, n_jobs: int
) -> Iterator[tuple[NDArray[np.int64], dict[int, Rides]]]:
    """Yield courses of the day and the rides over them, until each profile has so many hours.

    The rides are of the profiles, by their places, that have not ridden their hours yet. Some
    batches are simulated together where the device takes no longer over them.
    """
    lanes = COURSES_AT_ONCE * LANES_OF_A_COURSE
    longest_h = lanes * study.riding_day.ride_s / 3600.0
    ridden_h, n_ridden = np.zeros(len(profiles)), 0
    while (ridden_h < hours).any():
        n_more = math.ceil((hours - float(ridden_h.min())) / longest_h)
        batches = [
            COURSES_AT_ONCE * number + np.arange(COURSES_AT_ONCE, dtype=np.int64)
            for number in range(n_ridden, n_ridden + n_more)
        ]
        n_ridden += n_more
        for together in laid_ahead(
            functools.partial(drawn_batch, study),
            batches,
            n_courses=n_more * COURSES_AT_ONCE,
            n_together=batches_together(study),
            n_jobs=n_jobs,
            device=study.device,
        ):
            laid = laid_together([laid for _, laid in together])
            riding = np.flatnonzero(ridden_h < hours)
            results = simulate(profiles[riding], laid, n_jobs=n_jobs, device=study.device)
            for place, (numbers, _) in enumerate(together):
                over = results.over(slice(place * lanes, (place + 1) * lanes))
                own = {
                    which: over.of(row)
                    for row, which in enumerate(riding.tolist())
                    if ridden_h[which] < hours
                }
                for which, rides in own.items():
                    ridden_h[which] += _ridden_h(rides)
                if not own:
                    return
                yield numbers, own


def batches_together(study: Study) -> int:
    """Return how many batches of courses the study's device rides in the time of one."""
    return batches_at_once(study.device, COURSES_AT_ONCE * LANES_OF_A_COURSE)


def drawn_batch(study: Study, numbers: NDArray[np.int64]) -> tuple[RideColumns, NDArray[np.int64]]:
    """Return all rides over some courses of the validation's riding day, and the courses."""
    return day_columns(study, numbers, seed=_seed(study)), numbers


def _ridden_h(results: Rides) -> float:
    return float(results.column("ride_time_s").sum()) / 3600.0


def _places(numbers: NDArray[np.int64], lanes: NDArray[np.intp]) -> list[Place]:
    """Return the places in the day of some of the lanes over its courses of these numbers."""
    course, lane = np.divmod(lanes, LANES_OF_A_COURSE)
    return list(zip(numbers[course].tolist(), lane.tolist(), strict=True))


def _tally(
    counts: Mapping[str, Counter[str]],
    study: Study,
    numbers: NDArray[np.int64],
    results: Rides,
) -> None:
    """Count the rides that ended early, in place."""
    speeds = results.column("end_speed_mps")[0]
    ended = np.flatnonzero(results.outcome[0] != Outcome.RIDDEN)
    if not len(ended):
        return
    rides = rides_at(study, _places(numbers, ended))
    for ride, lane in zip(rides, ended.tolist(), strict=True):
        outcome = Outcome(int(results.outcome[0, lane]))
        if outcome is Outcome.NOSE_DOWN:
            counts["causes"][_cause(ride, results, lane)] += 1
            counts["by_pace"][_pace(study.riding_day, float(speeds[lane]))] += 1
        else:
            counts["other_ends"][outcome.message] += 1


def _by_course(
    results: Rides, riders: NDArray[np.int64], *, n_riders: int
) -> tuple[Floats, Floats]:
    """Return kilometres and nose-downs, each (course, rider), of lanes by rider's place."""
    course = np.arange(len(riders)) // LANES_OF_A_COURSE
    n_courses = len(riders) // LANES_OF_A_COURSE

    def summed(values: NDArray[np.float64] | NDArray[np.bool_]) -> Floats:
        total = np.zeros((n_courses, n_riders))
        np.add.at(total, (course, riders), values)
        return total

    return (
        summed(np.abs(results.column("distance_m")[0]) / 1000.0),
        summed(results.outcome[0] == Outcome.NOSE_DOWN),
    )


def _worst_first(rates: Mapping[str, EventRate]) -> dict[str, EventRate]:
    return dict(sorted(rates.items(), key=lambda item: -item[1].rate))


def _pace(day: RidingDay, speed_mps: float) -> str:
    """Return how fast a board was when its nose went down, in words."""
    if speed_mps < day.slow_mps:
        return f"below {day.slow_mps:g} m/s"
    if speed_mps > _RUNAWAY * day.fast_mps:
        return f"above {_RUNAWAY * day.fast_mps:g} m/s, faster than anybody wanted"
    return f"{day.slow_mps:g} to {_RUNAWAY * day.fast_mps:g} m/s"


def _cause(ride: Ride, results: Rides, lane: int) -> str:
    """Return what was most likely behind a nose-down, in words."""
    at_m = float(results.column("distance_m")[0, lane])
    road = ride.course.road
    patch = [patch for patch in road.patches if patch.from_m <= max(at_m, 0.0)][-1]
    grade = [percent for place, percent in road.grade_percent if place <= max(at_m, 0.0)][-1]
    if any(0.0 <= at_m - place <= _KERB_REACH_M for place, _ in road.kerbs):
        return "just after a kerb"
    if patch.surface.friction_ratio < _SLIPPERY_RATIO:
        return "slippery ground"
    if abs(grade) > _STEEP_PERCENT:
        return "steep climb" if grade > 0.0 else "steep descent"
    if patch.surface.roughness_1e6_m3 >= ROUGH_1E6_M3:
        return "rough ground"
    if float(results.column("bus_low_v")[0, lane]) < 1.05 * ride.board.battery.bus_low_v:
        return "low pack"
    return "asked for more than there was"
