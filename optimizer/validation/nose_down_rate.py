"""Counting how often a profile puts the nose down in a mixed riding day."""

import dataclasses
from collections import Counter
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from objectives.event_rate import EventRate, event_rate
from optimizer.base.hashing import spawned
from optimizer.base.progress import UNWATCHED
from optimizer.riding_day.rides import LANES_OF_A_COURSE, day_rides
from optimizer.riding_day.speeds import ROUGH_1E6_M3
from optimizer.study.study import Study
from optimizer.study.validation_settings import RidingDay
from plant.arrays import Floats
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, Rides, simulate

_COURSES_AT_ONCE = 64
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
    per_100_h, per_1000_km : EventRate
        Nose-downs.
    other_ends : mapping of str to int
        Rides that ended otherwise, by reason.
    causes : mapping of str to int
        Nose-downs by what was under the wheel or missing, most frequent first.
    by_pace : mapping of str to int
        Nose-downs by how fast the board was, most frequent first.
    by_rider : mapping of str to int
        Nose-downs by rider.
    """

    hours: float
    kilometres: float
    per_100_h: EventRate
    per_1000_km: EventRate
    other_ends: Mapping[str, int]
    causes: Mapping[str, int]
    by_pace: Mapping[str, int]
    by_rider: Mapping[str, int]


def ride_days(
    study: Study,
    profile: Floats,
    *,
    hours: float,
    n_jobs: int = 1,
    advance: Callable[[float], None] = UNWATCHED.advance,
) -> DayCount:
    """Ride a profile for hours of mixed riding and count its nose-downs.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    hours : float
        At least so many are ridden.
    n_jobs : int
        Threads; the count does not depend on it.
    advance : callable
        Receives the hours ridden since it was last called.
    """
    found: list[tuple[Floats, Floats, Floats]] = []  # hours, kilometres, nose-downs by course
    counts = {name: Counter[str]() for name in ("other_ends", "causes", "by_pace", "by_rider")}
    seed = spawned(study.seed, "validation", "day")
    ridden_h = 0.0
    while ridden_h < hours:
        first = _COURSES_AT_ONCE * len(found)
        courses = day_rides(study, np.arange(first, first + _COURSES_AT_ONCE), seed=seed)
        rides = [ride for course in courses for ride in course]
        results = simulate(profile[None, :], rides, n_jobs=n_jobs, keep_roads=False)
        by_course = _by_course(results)
        found.append(by_course)
        _tally(counts, study, rides, results)
        new_h = float(by_course[0].sum())
        ridden_h += new_h
        advance(new_h)
    by_h, by_km, downs = (np.concatenate(column) for column in zip(*found, strict=True))
    return DayCount(
        hours=ridden_h,
        kilometres=float(by_km.sum()),
        per_100_h=event_rate(downs, by_h / 100.0),
        per_1000_km=event_rate(downs, by_km / 1000.0),
        **{name: dict(counter.most_common()) for name, counter in counts.items()},
    )


def _tally(
    counts: Mapping[str, Counter[str]], study: Study, rides: Sequence[Ride], results: Rides
) -> None:
    """Count the rides that ended early, in place."""
    speeds = results.column("end_speed_mps")[0]
    for lane in np.flatnonzero(results.outcome[0] != Outcome.RIDDEN).tolist():
        outcome = Outcome(int(results.outcome[0, lane]))
        if outcome is Outcome.NOSE_DOWN:
            counts["causes"][_cause(rides[lane], results, lane)] += 1
            counts["by_pace"][_pace(study.validation.day, float(speeds[lane]))] += 1
            counts["by_rider"][rides[lane].rider_name] += 1
        else:
            counts["other_ends"][outcome.message] += 1


def _by_course(results: Rides) -> tuple[Floats, Floats, Floats]:
    """Return hours, kilometres and nose-downs of each course, lanes together."""
    shape = (-1, LANES_OF_A_COURSE)
    hours = results.column("ride_time_s")[0].reshape(shape).sum(axis=1) / 3600.0
    kilometres = np.abs(results.column("distance_m")[0]).reshape(shape).sum(axis=1) / 1000.0
    downs = (results.outcome[0] == Outcome.NOSE_DOWN).reshape(shape).sum(axis=1)
    return hours, kilometres, downs.astype(np.float64)


def _pace(day: RidingDay, speed_mps: float) -> str:
    """Return how fast a board was when its nose went down, in words."""
    if speed_mps < day.slow_mps:
        return f"below {day.slow_mps:g} m/s"
    if speed_mps > _RUNAWAY * day.fast_mps:
        return f"above {_RUNAWAY * day.fast_mps:g} m/s, faster than anybody wanted"
    return "in between"


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
