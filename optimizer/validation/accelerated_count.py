"""Nose-downs over many more hours than are ridden, from the hardest rides of the day.

The riding day is drawn on, far beyond what the profile rides in full. Its rides are two strata: the
hardest hundredth, by weak profiles that know nothing of this one, and the rest. The profile rides
the hardest of all hours, and of the rest those of its own count, which stand for all. The sum of
both is unbiased wherever the nose-downs are (Horvitz and Thompson 1952, J. Am. Stat. Assoc.
47:663).

The interval is narrow where the rest shows no nose-down, neither of this profile in the hours that
it rode in full nor of a weak profile in what that rode of all hours. It then takes the rest to hold
as few as hours of that number show, which is assumed: no sampling could make sure of it.
"""

import dataclasses
import math
from collections.abc import Callable, Sequence

import numpy as np

from objectives.event_rate import most_unseen, weighted_interval
from objectives.nose_down_rate import RateEstimate
from optimizer.base.progress import UNWATCHED
from optimizer.riding_day.rides import LANES_OF_A_COURSE
from optimizer.study.study import Study
from optimizer.validation.hardest_rides import drawn_hours, hardest_rides
from optimizer.validation.nose_down_rate import COURSES_AT_ONCE, DayCount, Place, rides_at
from plant.arrays import Floats
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class AcceleratedCount:
    """An estimate over a long riding day.

    Attributes
    ----------
    hours, kilometres : float
        Of the whole day; the kilometres in proportion to those that were ridden in full.
    ridden_h : float
        What the profile rode of it.
    in_hardest, in_rest : int
        Nose-downs in the hardest rides of all hours, and in the others that were ridden.
    rest_weight : float
        How many rides each of the others stands for.
    assumes_an_empty_rest : bool
        Whether the interval leaves out what the others might hold unseen.
    per_1000_km : RateEstimate
    """

    hours: float
    kilometres: float
    ridden_h: float
    in_hardest: int
    in_rest: int
    rest_weight: float
    assumes_an_empty_rest: bool
    per_1000_km: RateEstimate


def accelerated_count(
    study: Study,
    profile: Floats,
    day: DayCount,
    *,
    hours: float,
    n_jobs: int = 1,
    advance: Callable[[float], None] = UNWATCHED.advance,
) -> AcceleratedCount:
    """Return the estimate over so many hours of the riding day of which a profile rode some.

    Parameters
    ----------
    study : Study
    profile : (parameter,) float64
    day : DayCount
        What the profile rode in full: the beginning of the same day.
    hours : float
        At least what was ridden in full.
    n_jobs : int
        Threads; the estimate does not depend on it.
    advance : callable
        Receives the hours that weak profiles rode since it was last called.
    """
    n_drawn = max(math.ceil(hours / drawn_hours(study, 1)), day.n_courses)
    hardest = hardest_rides(study, n_drawn=n_drawn, n_jobs=n_jobs, advance=advance)
    known = {place for place in hardest.places if place[0] < day.n_courses}
    beyond = sorted(hardest.places - known)
    downs = [place for place in day.nose_downs if place in known]
    downs += _nose_downs(study, profile, beyond, n_jobs=n_jobs)
    rest = [place for place in day.nose_downs if place not in known]
    n_rest = day.n_courses * LANES_OF_A_COURSE - len(known)
    weight = (n_drawn * LANES_OF_A_COURSE - len(hardest.places)) / n_rest
    kilometres = day.kilometres * n_drawn / day.n_courses
    return AcceleratedCount(
        hours=drawn_hours(study, n_drawn),
        kilometres=kilometres,
        ridden_h=day.hours + drawn_hours(study, 1) * len(beyond) / LANES_OF_A_COURSE,
        in_hardest=len(downs),
        in_rest=len(rest),
        rest_weight=weight,
        assumes_an_empty_rest=hardest.hold_weak_falls and not rest,
        per_1000_km=stratified_rate(
            [course for course, _ in downs],
            [course for course, _ in rest],
            rest_weight=weight,
            rest_may_hold_some=not hardest.hold_weak_falls,
            exposure=kilometres / 1000.0,
        ),
    )


def stratified_rate(
    hardest: Sequence[int],
    rest: Sequence[int],
    *,
    rest_weight: float,
    rest_may_hold_some: bool,
    exposure: float,
) -> RateEstimate:
    """Return the rate of events in two strata, with an interval of 95 %.

    Parameters
    ----------
    hardest, rest : sequence of int
        Road of each event in the stratum that was ridden in full, and in the sample of the other.
    rest_weight : float
        How many rides each of the sample stands for, at least 1.
    rest_may_hold_some : bool
        Whether one more event could be of the rest though its sample shows none.
    exposure : float
        Of both strata whole.

    Notes
    -----
    The interval is that of `objectives.event_rate.weighted_interval`, in which one more road could
    throw several riders. Without an event the rule of three gives its upper end.
    """
    one_more = rest_weight if rest or rest_may_hold_some else 1.0
    roads = np.array([*hardest, *rest], dtype=np.int64)
    weights = np.repeat([1.0, rest_weight], [len(hardest), len(rest)])
    if not len(roads):
        return RateEstimate(rate=0.0, low=0.0, high=most_unseen() * one_more / exposure)
    low, high = weighted_interval(weights, roads, most=one_more)
    return RateEstimate(
        rate=float(weights.sum()) / exposure, low=low / exposure, high=high / exposure
    )


def _nose_downs(
    study: Study, profile: Floats, places: Sequence[Place], *, n_jobs: int
) -> list[Place]:
    """Return the rides among some in which the nose goes down."""
    found: list[Place] = []
    numbers = np.unique([course for course, _ in places])
    for first in range(0, len(numbers), COURSES_AT_ONCE):
        some = set(numbers[first : first + COURSES_AT_ONCE].tolist())
        asked = [place for place in places if place[0] in some]
        results = simulate(
            profile[None, :],
            rides_at(study, asked),
            n_jobs=n_jobs,
            keep_roads=False,
            device=study.device,
        )
        down = results.outcome[0] == Outcome.NOSE_DOWN
        found += [place for place, went in zip(asked, down.tolist(), strict=True) if went]
    return found
