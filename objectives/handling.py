"""What a rider keeps: how a profile handles, as numbers measured over defined rides.

Each is measured for the lightest and for the heaviest rider, so that a profile which handles well
for one alone shows it.
"""

import dataclasses
import functools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from objectives.asked_way import asked_way_m
from objectives.portfolio import weighted_sum
from objectives.ride_scores import RIDE_COLUMNS, outcome_codes
from plant.arrays import Flags, Floats
from plant.description.course import Course, Road
from plant.kernel.lane_init import torque_per_amp
from plant.kernel.outcomes import Outcome
from plant.kernel.road import TABLE_STEP_M, grade_rad, slope_bounds
from plant.kernel.simulate import Ride
from plant.linear.balance_loop import GAIN_POINTS, loop_gains

# All pitches are positive with the nose down, but for what lifts it.
HANDLING_NAMES = (
    "feel_deg_per_mps2",  # nose-down pitch per acceleration
    "braking_feel_deg_per_mps2",  # nose-up pitch per deceleration
    "grade_dip_deg",  # largest nose-down pitch where a climb of 10 % begins
    "bend_lift_deg",  # mean nose-up pitch in a bend at 45 deg/s
    "stiffness_nm_per_deg",  # motor torque per pitch near level, without damping and integral
    "tail_effort_ratio",  # largest effort on the tail in a tail drag, of the rider's largest
    "warned_ratio",  # share of time with a perceived warning, over the study's own rides
    "climb_speed_ratio",  # way over way asked, over the study's own climbs
)
HANDLING_RIDERS = ("lightest", "heaviest", "all")  # "all" is the mean over the first two, or rides
HANDLING_PREFIX = "handling_"  # of the names of the courses
_LEAN = "lean_past_limit"

# Number: test, column, sign.
_BY_TEST = {
    "feel_deg_per_mps2": ("accelerate", "feel_deg_per_mps2", 1.0),
    "braking_feel_deg_per_mps2": ("brake", "braking_feel_deg_per_mps2", 1.0),
    "grade_dip_deg": ("grade_step", "hold_pitch_most_deg", 1.0),
    "bend_lift_deg": ("bend", "hold_pitch_mean_deg", -1.0),
    "tail_effort_ratio": ("tail_drag", "tail_effort_ratio", 1.0),
}
HANDLING_TESTS = (*(test for test, _, _ in _BY_TEST.values()), _LEAN)
MEASURED_ON = {name: HANDLING_PREFIX + test for name, (test, _, _) in _BY_TEST.items()}  # courses
RIDDEN_BY_ALL = (_LEAN,)  # the others are ridden by the lightest and the heaviest rider

_CLIMB = 0.04  # assumed: a grade on which a slow board is felt to be slow ...
_CLIMB_SHARE = 1.0 / 3.0  # ... over this share of the way makes a ride a climb
_ROUNDING = 1e-9  # of a slope, far above any


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HandlingRules:
    """Which rides measure what; `handling_rules` makes it from them.

    Attributes
    ----------
    places : tuple of (test, rider, place)
        Of the handling rides; the rider is 0 for the lightest, 1 for the heaviest.
    lean_places : tuple of int
        Of the rides in which a rider leans past what the motor can give.
    by_rider : tuple of (ride,) bool
        Of the study's own rides: those of the lightest, of the heaviest, all.
    asked_m : (ride,) float64
        Of the study's own rides: way that is asked for, 0 where a ride is no climb.
    to_finish : (handling ride,) bool
        Which handling rides must not end early.
    n_rides : int
        Number of handling rides.
    baseline : (number, rider) float64 or None
        What the baseline has of them, in the order of `HANDLING_NAMES` and `HANDLING_RIDERS`.
    """

    places: tuple[tuple[str, int, int], ...]
    lean_places: tuple[int, ...]
    by_rider: tuple[NDArray[np.bool_], ...]
    asked_m: Floats
    to_finish: Flags
    n_rides: int
    baseline: Floats | None


def handling_rules(
    rides: Sequence[Ride], handling: Sequence[Ride], *, baseline: Floats | None
) -> HandlingRules:
    """Return which rides measure what.

    Parameters
    ----------
    rides : sequence of Ride
        The study's own.
    handling : sequence of Ride
        Over the courses of `HANDLING_TESTS`, whose names begin with `HANDLING_PREFIX`.
    baseline : (number, rider) float64, optional
        From `handling_numbers`.
    """
    ends = lightest_and_heaviest(rides)
    tests = [ride.course.name.removeprefix(HANDLING_PREFIX) for ride in handling]
    places = tuple(
        (test, which, place)
        for place, (test, ride) in enumerate(zip(tests, handling, strict=True))
        for which, rider in enumerate(ends)
        if ride.rider_name == rider
    )
    by_rider = [np.array([ride.rider_name == rider for ride in rides]) for rider in ends]
    return HandlingRules(
        places=places,
        lean_places=tuple(place for place, test in enumerate(tests) if test == _LEAN),
        by_rider=(*by_rider, np.ones(len(rides), dtype=np.bool_)),
        asked_m=np.array([asked_climb_m(ride.course) for ride in rides]),
        to_finish=np.array([must_be_finished(ride) for ride in handling], dtype=np.bool_),
        n_rides=len(handling),
        baseline=baseline,
    )


def lightest_and_heaviest(rides: Sequence[Ride]) -> tuple[str, str]:
    """Return the names of the riders between whom handling is compared.

    Of equally light ones it is the first, of equally heavy ones the last.

    Parameters
    ----------
    rides : sequence of Ride
        The study's own: a rider without any of them is not compared.
    """
    mass_kg = {ride.rider_name: ride.rider.body.mass_kg for ride in rides}
    by_mass = sorted(mass_kg, key=mass_kg.__getitem__)
    return by_mass[0], by_mass[-1]


@functools.lru_cache(maxsize=512)
def asked_climb_m(course: Course) -> float:
    """Return how far a rider asks to ride up a climb, in m; 0 where the course is none."""
    way_m = asked_way_m(course.manoeuvre)
    if way_m < 1.0:
        return 0.0
    return way_m if _climbs(course.road, np.arange(0.0, way_m, TABLE_STEP_M)) else 0.0


def _climbs(road: Road, distance_m: Floats) -> bool:
    """Say whether so much of a way is felt to be a climb."""
    least, most = slope_bounds(road, distance_m)
    if float(np.mean(least >= _CLIMB + _ROUNDING)) >= _CLIMB_SHARE:
        return True
    if float(np.mean(most >= _CLIMB - _ROUNDING)) < _CLIMB_SHARE:
        return False
    # Few ways are neither, and only then is anything compiled.
    grade = grade_rad(road, distance_m)
    return float(np.mean(grade >= math.atan(_CLIMB))) >= _CLIMB_SHARE


def handling_numbers(
    own: Floats,
    handling: Floats,
    profiles: Floats,
    rules: HandlingRules,
    *,
    ride_weight: Floats,
    kv_rpm_per_v: float,
) -> Floats:
    """Return how profiles handle.

    Parameters
    ----------
    own : (candidate, ride, column) float64
        From `objectives.ride_scores.ride_columns`, of the study's own rides.
    handling : (candidate, handling ride, column) float64
        The same of the handling rides.
    profiles : (candidate, parameter) float64
    rules : HandlingRules
    ride_weight : (ride,) float64
        Of the study's own rides.
    kv_rpm_per_v : float
        Of the motor.

    Returns
    -------
    (candidate, number, rider) float64
        In the order of `HANDLING_NAMES` and `HANDLING_RIDERS`; NaN where a ride was not ridden, or
        not to its end, or where no ride measures it.
    """
    numbers = np.full((len(profiles), len(HANDLING_NAMES), len(HANDLING_RIDERS)), np.nan)
    to_the_end = outcome_codes(handling) == Outcome.RIDDEN
    for name, (wanted, column, sign) in _BY_TEST.items():
        row = HANDLING_NAMES.index(name)
        for test, which, place in rules.places:
            if test == wanted:
                value = sign * handling[:, place, RIDE_COLUMNS.index(column)]
                numbers[:, row, which] = np.where(to_the_end[:, place], value, np.nan)
        numbers[:, row, 2] = numbers[:, row, :2].mean(axis=1)
    numbers[:, HANDLING_NAMES.index("stiffness_nm_per_deg")] = _stiffness(profiles, kv_rpm_per_v)
    for which, chosen in enumerate(rules.by_rider):
        weight = np.where(chosen, ride_weight, 0.0)
        warned, speed = _warned_and_speed(own, weight / weight.sum(), rules.asked_m)
        numbers[:, HANDLING_NAMES.index("warned_ratio"), which] = warned
        numbers[:, HANDLING_NAMES.index("climb_speed_ratio"), which] = speed
    return numbers


def _stiffness(profiles: Floats, kv_rpm_per_v: float) -> Floats:
    """Return motor torque per pitch near level in N m per deg, (candidate, 1), at one speed."""
    gains = loop_gains(profiles)
    # What a loop on the acceleration inside makes of the pitch loop's current.
    passed = gains.feed_forward_ratio + (
        gains.acceleration_gain_a_per_mps2 / gains.expected_current_a_per_mps2
    )
    current = passed * gains.stiffness_a_per_deg[:, GAIN_POINTS.index("inner")]
    stiffness: Floats = current[:, np.newaxis] * torque_per_amp(kv_rpm_per_v)
    return stiffness


def _warned_and_speed(own: Floats, weight: Floats, asked_m: Floats) -> tuple[Floats, Floats]:
    """Return share of time warned and way over way asked, each (candidate,), over chosen rides."""
    chosen = weight > 0.0
    warned = own[:, chosen, RIDE_COLUMNS.index("warned_ratio")]
    climbs = chosen & (asked_m > 0.0)
    way_m = own[:, climbs, RIDE_COLUMNS.index("distance_m")]
    asked = float((weight * asked_m).sum())
    speed = weighted_sum(way_m, weight[climbs]) / asked if asked else np.full(len(own), np.nan)
    return weighted_sum(warned, weight[chosen]), speed


def must_be_finished(ride: Ride) -> bool:
    """Say whether a handling ride must not end early, unlike a lean past what the motor gives."""
    return ride.course.name != HANDLING_PREFIX + _LEAN


def least_warning_s(handling: Floats, rules: HandlingRules) -> Floats:
    """Return for how long riders are warned at least who lean past what the motor can give.

    Parameters
    ----------
    handling : (candidate, handling ride, column) float64

    Returns
    -------
    (candidate,) float64
        Of the rides that end early; infinite where none does, NaN where they were not ridden.
    """
    leans = handling[:, list(rules.lean_places)]
    ridden_s, share, code = (
        leans[:, :, RIDE_COLUMNS.index(name)] for name in ("ride_time_s", "warned_ratio", "outcome")
    )
    warned = np.where(code == Outcome.RIDDEN, np.inf, share * ridden_s)
    shortest: Floats = warned.min(axis=1, initial=np.inf)
    return shortest
