"""A mixed riding day: rides drawn at random from what a day holds, for counting rare events."""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np

from optimizer.riding_day.speeds import (
    CHANGE_MPS2,
    careful_stretches,
    held_between,
    speed_bounds,
)
from optimizer.study.riding_day import ROUTE_STEP_M, RidingDay, lasts_s
from plant.arrays import Floats
from plant.description.course import Course, Elevation, Manoeuvre, Patch, Points, Road

Random: TypeAlias = np.random.Generator

_STRETCH_M = (15.0, 70.0)  # assumed: a grade or a surface lasts as long
_PATCH_M = (20.0, 150.0)
_SPEED_S = (4.0, 15.0)  # assumed: a wanted speed is kept as long
_WALK_MPS = 0.8  # assumed: beside people
_TURN_S = (1.5, 4.0)  # assumed
_GUST_S = 2.5  # assumed


def drawn_course(day: RidingDay, *, number: int, seed: int) -> Course:
    """Return a road and a manoeuvre of the day.

    Parameters
    ----------
    day : RidingDay
    number : int
        Which of the day's courses; each depends on its own number and the seed alone.
    seed : int
    """
    random = np.random.default_rng([seed, number])
    road = _road(day, random)
    stretches = careful_stretches(
        road,
        day.fastest_mps,
        slow_mps=day.slow_mps,
        kerb_mps=day.kerb_mps,
        flush_m=day.flush_m,
    )
    bounds = speed_bounds(stretches, fast_mps=day.fast_mps, length_m=day.way_m)
    return Course(
        name=f"day_{number}",
        title=f"Ride {number} of a mixed day",
        road=road,
        manoeuvre=_manoeuvre(day, random, bounds),
        road_seed=int(random.integers(2**63)),
    )


def drawn_road(day: RidingDay, *, number: int, seed: int) -> Road:
    """Return the road of `drawn_course` alone, which takes a small part of the time."""
    return _road(day, np.random.default_rng([seed, number]))


def _road(day: RidingDay, random: Random) -> Road:
    length_m = day.way_m
    return Road(
        patches=_patches(day, random, length_m),
        grade_percent=_grades(day, random, length_m),
        grade_blend_m=3.0,
        kerbs=_kerbs(day, random, length_m),
    )


def _places(random: Random, length: float, between: tuple[float, float]) -> list[float]:
    """Return places from zero on, a random distance apart."""
    count = int(length / between[0]) + 1
    places = np.concatenate([[0.0], np.cumsum(random.uniform(*between, count))])
    inside: list[float] = places[places < length].tolist()
    return inside


def _patches(day: RidingDay, random: Random, length_m: float) -> tuple[Patch, ...]:
    surfaces = list(day.surfaces)
    share = np.array(list(day.surfaces.values()))
    places = _places(random, length_m, _PATCH_M)
    chosen = random.choice(len(surfaces), len(places), p=share / share.sum())
    return tuple(
        Patch(from_m=place, surface=surfaces[index])
        for place, index in zip(places, chosen, strict=True)
    )


def _grades(day: RidingDay, random: Random, length_m: float) -> Points:
    """Return grades of a part of a recorded route, or drawn ones where the day has no route."""
    if day.routes:
        return _recorded_grades(day.routes, random, length_m)
    places = _places(random, length_m, _STRETCH_M)
    grades = random.normal(0.0, day.grade_percent_sd, len(places))
    grades = np.clip(grades, -day.steepest_percent, day.steepest_percent)
    grades[0] = 0.0
    return tuple(zip(places, grades.tolist(), strict=True))


def _recorded_grades(routes: Sequence[Elevation], random: Random, length_m: float) -> Points:
    """Return grades from a random start on, in a random direction; every start is as likely."""
    spare_m = np.array([route.distance_m[-1] - length_m for route in routes])
    weight = np.maximum(spare_m, 0.0) + ROUTE_STEP_M
    which = int(random.choice(len(routes), p=weight / weight.sum()))
    route = routes[which]
    start_m = float(random.uniform(0.0, max(spare_m[which], 0.0)))
    places = ROUTE_STEP_M * np.arange(int(length_m / ROUTE_STEP_M) + 1)
    on_route = start_m + places
    if random.random() < 0.5:
        on_route = route.distance_m[-1] - on_route
    height_m = np.interp(on_route, route.distance_m, route.height_m)
    grades = 100.0 * np.diff(height_m) / ROUTE_STEP_M
    return tuple(zip(places[:-1].tolist(), grades.tolist(), strict=True))


def _kerbs(day: RidingDay, random: Random, length_m: float) -> Points:
    count = random.poisson(day.kerbs_per_km * length_m / 1000.0)
    places = np.sort(random.uniform(8.0, length_m, count))
    share = random.uniform(0.2, 1.0, count)
    heights = np.where(random.random(count) < 0.5, day.kerb_up_m, -day.kerb_down_m) * share
    return tuple(zip(places.tolist(), heights.tolist(), strict=True))


def _manoeuvre(day: RidingDay, random: Random, bounds_mps: Floats) -> Manoeuvre:
    return Manoeuvre(
        duration_s=day.ride_s,
        speed_mps=held_between(_speeds(day, random), bounds_mps, duration_s=day.ride_s),
        turn_deg_per_s=_turns(day, random),
        headwind_mps=_gusts(day, random),
        ask_ratio=float(random.uniform(day.easy_ask_ratio, day.hard_ask_ratio)),
        hold_s=((1.0, day.ride_s),),
        count_s=((1.0, day.ride_s),),
        charge_ratio=float(random.uniform(day.least_charge_ratio, 1.0)),
        mosfet_c=float(random.uniform(25.0, day.warmest_mosfet_c)),
    )


def _speeds(day: RidingDay, random: Random) -> Points:
    """Return wanted speeds as a log has them, or drawn ones where the day has no log."""
    if day.logged_mps:
        return _logged_speeds(day.logged_mps, random, day.ride_s)
    speed = float(random.uniform(day.slow_mps, day.fast_mps))
    points = [(0.0, speed)]
    at_s = float(random.uniform(*_SPEED_S))
    while at_s < day.ride_s:
        walks = random.random() < day.walk_share
        after = _WALK_MPS if walks else float(random.uniform(day.slow_mps, day.fast_mps))
        change_s = abs(after - speed) / CHANGE_MPS2 + 0.1
        points += [(at_s, speed), (at_s + change_s, after)]
        at_s, speed = at_s + change_s + float(random.uniform(*_SPEED_S)), after
    return tuple(points)


def _logged_speeds(stretches: Sequence[Points], random: Random, ride_s: float) -> Points:
    """Return the speeds of stretches, each from a random time on, until the ride is over."""
    weight = np.array([lasts_s(stretch) for stretch in stretches])
    points: list[tuple[float, float]] = []
    while not points or points[-1][0] < ride_s:
        stretch = np.array(stretches[random.choice(len(stretches), p=weight / weight.sum())])
        from_s = float(random.uniform(stretch[0, 0], stretch[-1, 0]))
        times = np.append(from_s, stretch[stretch[:, 0] > from_s, 0])
        speeds = np.interp(times, *stretch.T)
        at_s = 0.0
        if points:
            at_s = points[-1][0] + abs(float(speeds[0]) - points[-1][1]) / CHANGE_MPS2 + 0.1
        points += zip((at_s + times - from_s).tolist(), speeds.tolist(), strict=True)
    return tuple(points)


def _turns(day: RidingDay, random: Random) -> Points:
    """Return bends that stay inside the lateral acceleration at the fastest wanted speed."""
    most_deg_per_s = np.degrees(day.lateral_mps2 / day.fast_mps)
    points = [(0.0, 0.0)]
    at_s = 1.0 + random.exponential(60.0 / max(day.turns_per_min, 1e-9))
    while at_s < day.ride_s - 5.0:
        rate = float(random.uniform(-most_deg_per_s, most_deg_per_s))
        long_s = float(random.uniform(*_TURN_S))
        points += [(at_s, 0.0), (at_s + 0.8, rate), (at_s + 0.8 + long_s, rate)]
        points.append((at_s + 1.6 + long_s, 0.0))
        at_s = points[-1][0] + 0.1 + float(random.exponential(60.0 / day.turns_per_min))
    return tuple(points)


def _gusts(day: RidingDay, random: Random) -> Points:
    points = [(0.0, 0.0)]
    at_s = float(random.exponential(3600.0 / max(day.gusts_per_h, 1e-9)))
    while at_s < day.ride_s - 4.0:
        wind = float(random.uniform(-0.5, 1.0)) * day.gust_mps
        points += [(at_s, 0.0), (at_s + 0.5, wind), (at_s + 0.5 + _GUST_S, wind)]
        points.append((at_s + 1.0 + _GUST_S, 0.0))
        at_s = points[-1][0] + 0.1 + float(random.exponential(3600.0 / day.gusts_per_h))
    return tuple(points)
