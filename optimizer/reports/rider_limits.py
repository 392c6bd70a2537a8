"""How fast and how steep each rider was seen to ride a profile: no first ride goes beyond that."""

import dataclasses
import math
from collections.abc import Mapping, Sequence

import numpy as np

from objectives import outcome_codes
from optimizer.analysis.kept_facts import Kind, facts
from optimizer.analysis.results import Results
from optimizer.analysis.ridden_again import ridden_again
from plant.kernel.outcomes import Outcome
from plant.kernel.road import TABLE_STEP_M, grade_rad
from plant.kernel.simulate import Ride
from plant.kernel.trace import Trace

_TRACED = 2  # rides of each rider, those that ask for the highest speed
_SAMPLED_STEPS = 5  # ms


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class RiderLimits:
    """What of one rider's simulated rides came to their end.

    Attributes
    ----------
    fastest_mps : float
        The highest speed that was ridden; 0 where no ride came to its end.
    up_percent, down_percent : float
        The steepest climb and descent, each from 0 up.
    """

    fastest_mps: float
    up_percent: float
    down_percent: float


def rider_limits(results: Results, number: int) -> dict[str, RiderLimits]:
    """Return how far each rider's rides of the study went with a candidate, by name.

    Rides that ended early show nothing that a rider may do.

    Parameters
    ----------
    results : Results
    number : int
        Of the candidate.
    """
    return facts(LIMITS, results, [number])[0]


def _found(results: Results, numbers: Sequence[int]) -> list[dict[str, RiderLimits]]:
    finished = {number: _finished(results, number) for number in numbers}
    fast = [
        (number, place)
        for number, by_rider in finished.items()
        for places in by_rider.values()
        for place in sorted(places, key=lambda place: -_wanted_mps(results.study.rides[place]))[
            :_TRACED
        ]
    ]
    speeds = ridden_again(results, fast, made_of=_fastest_mps, every_steps=_SAMPLED_STEPS)
    return [
        {
            name: _limits(results, number, places, speeds)
            for name, places in finished[number].items()
        }
        for number in numbers
    ]


def _finished(results: Results, number: int) -> dict[str, list[int]]:
    """Return the rides of each rider that came to their end, as places, by the rider's name."""
    [codes] = outcome_codes(results.rides[number : number + 1])
    return {
        name: [
            place
            for place, ride in enumerate(results.study.rides)
            if ride.rider_name == name and codes[place] == Outcome.RIDDEN
        ]
        for name in results.study.riders
    }


def _limits(
    results: Results,
    number: int,
    places: Sequence[int],
    speeds: Mapping[tuple[int, int], float],
) -> RiderLimits:
    way_m = results.ride_column("distance_m", number)
    grades = [_grades(results.study.rides[place], float(way_m[place])) for place in places]
    return RiderLimits(
        fastest_mps=max((speeds.get((number, place), 0.0) for place in places), default=0.0),
        up_percent=max((up for up, _ in grades), default=0.0),
        down_percent=max((down for _, down in grades), default=0.0),
    )


LIMITS = Kind(
    name="rider_limits",
    find=_found,
    read=lambda kept: {name: RiderLimits(**limit) for name, limit in kept.items()},
)


def _fastest_mps(_ride: Ride, ridden: Trace) -> float:
    return float(np.nanmax(ridden.speed_mps))


def _wanted_mps(ride: Ride) -> float:
    return max(speed for _, speed in ride.course.manoeuvre.speed_mps)


def _grades(ride: Ride, way_m: float) -> tuple[float, float]:
    """Return the steepest climb and descent of the ridden part of a road, in percent."""
    places = np.arange(0.0, max(way_m, TABLE_STEP_M), TABLE_STEP_M)
    percent = 100.0 * np.tan(grade_rad(ride.course.road, places))
    return max(float(percent.max()), 0.0), max(-float(percent.min()), 0.0)


def whole_percent(percent: float) -> str:
    """Return a grade in whole percent, rounded down: no more than was ridden."""
    return f"{math.floor(percent + 1e-6)} %"
