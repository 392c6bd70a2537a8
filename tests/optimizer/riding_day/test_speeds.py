"""Riders of the day slow down, in time, for what shakes or slips and for kerbs."""

import dataclasses

import numpy as np
import pytest

from optimizer.riding_day.drawn_course import drawn_course
from optimizer.riding_day.rides import day_rides
from optimizer.riding_day.speeds import (
    CHANGE_MPS2,
    ROUGH_1E6_M3,
    Stretch,
    careful_stretches,
    held_between,
    speed_bounds,
)
from optimizer.study.catalogue import STUDIES_FOLDER, shelves
from optimizer.study.load import load_study
from plant.description.course import Course, Manoeuvre, Patch, Road, Surface
from plant.description.profile_array import profile_to_array
from plant.kernel.road import straight_lines
from plant.kernel.simulate import Ride, simulate
from plant.kernel.trace import trace

STUDY = load_study(STUDIES_FOLDER / "hill_town")
DAY = STUDY.riding_day
ROW = profile_to_array(STUDY.baseline)
SMOOTH = Surface(rolling_ratio=0.012, friction_ratio=0.8, roughness_1e6_m3=0.0)
VERY_UNCOMFORTABLE_MPS2 = 2.5  # ISO 2631-1 annex C, from memory: the end of that band


def limits(course):
    """Return (from m, to m, fastest m/s, its name) of whatever a course asks to slow down for."""
    patches = course.road.patches
    ends = [patch.from_m for patch in patches[1:]] + [np.inf]
    found = [
        (patch.from_m, end, DAY.fastest_mps[patch.surface], patch.surface)
        for patch, end in zip(patches, ends, strict=True)
        if patch.surface in DAY.fastest_mps
    ]
    return found + [
        (place, place, DAY.kerb_mps, "kerb")
        for place, height in course.road.kerbs
        if abs(height) > DAY.flush_m
    ]


def nominal(course, step_s=0.01):
    """Return distance and speed of a board that keeps exactly to the wanted speed."""
    at_s = np.arange(0.0, DAY.ride_s, step_s)
    speed = straight_lines(course.manoeuvre.speed_mps, at_s)
    return np.cumsum(speed) * step_s, speed


@pytest.mark.parametrize("number", range(40))
def test_the_wanted_speed_keeps_to_what_the_road_allows(number):
    course = drawn_course(DAY, number=number, seed=5)
    distance, speed = nominal(course)

    for from_m, to_m, fastest, _ in limits(course):
        over = (distance >= from_m - 0.1) & (distance <= to_m + 0.1)
        assert np.all(speed[over] <= fastest + 1e-9)


@pytest.mark.parametrize("number", range(40))
def test_nobody_comes_to_a_kerb_or_over_rough_ground_without_way(number):
    course = drawn_course(DAY, number=number, seed=5)
    distance, speed = nominal(course)

    rough = [
        (from_m, to_m)
        for from_m, to_m, _, surface in limits(course)
        if surface != "kerb" and surface.roughness_1e6_m3 >= ROUGH_1E6_M3
    ]
    for from_m, to_m in rough + [(at, at) for at, height in course.road.kerbs if height > 0.0]:
        over = (distance >= max(from_m, 0.0)) & (distance <= to_m + 0.1)
        assert np.all(speed[over] >= DAY.slow_mps - 1e-9)


@pytest.mark.parametrize("number", range(10))
def test_care_changes_neither_the_road_nor_speeds_harder_than_comfort_has_it(number):
    careless = dataclasses.replace(DAY, fastest_mps={}, flush_m=0.1)
    course, without = (drawn_course(day, number=number, seed=5) for day in (DAY, careless))
    at_s = np.array([time for time, _ in course.manoeuvre.speed_mps])
    speed = straight_lines(course.manoeuvre.speed_mps, at_s)

    assert course.road == without.road
    assert np.abs(np.diff(speed) / np.diff(at_s)).max() <= 1.1 * CHANGE_MPS2


def test_slowing_follows_constant_deceleration():
    slow = Stretch(from_m=100.0, to_m=120.0, slowest_mps=1.5, fastest_mps=2.0)

    slowest, fastest = speed_bounds([slow], fast_mps=6.0, length_m=300.0)

    at_m = 0.1 * np.arange(len(fastest))
    entered = at_m[np.flatnonzero(fastest <= 2.0 + 1e-9)[0]]
    over = (at_m >= 100.0) & (at_m <= 120.0)
    assert entered < 100.0
    # Kinematics: v^2 = 2^2 + 2 a s.
    before = fastest[np.searchsorted(at_m, entered - 20.0)]
    assert before == pytest.approx(np.sqrt(4.0 + 2.0 * CHANGE_MPS2 * 20.0), rel=0.01)
    np.testing.assert_allclose(fastest[over], 2.0)
    np.testing.assert_allclose(slowest[over], 1.5)
    assert fastest[0] == fastest[-1] == pytest.approx(6.0)
    assert slowest[0] == slowest[-1] == 0.0


def test_where_nothing_asks_for_care_the_wanted_speeds_stay():
    wanted = ((0.0, 3.0), (5.0, 3.0), (9.0, 5.0))
    road = Road(patches=(Patch(from_m=0.0, surface=SMOOTH),), kerbs=((10.0, -0.005),))
    stretches = careful_stretches(road, DAY.fastest_mps, slow_mps=1.5, kerb_mps=2.0, flush_m=0.01)

    held = held_between(
        wanted, speed_bounds(stretches, fast_mps=6.0, length_m=100.0), duration_s=10.0
    )

    for time_s, speed in held:
        assert speed == pytest.approx(float(straight_lines(wanted, np.array(time_s))))


@pytest.mark.slow
def test_boards_that_are_really_ridden_stay_near_the_fastest_speed():
    shares: dict[object, list[float]] = {}
    for rides in day_rides(STUDY, np.arange(40), seed=5):
        for ride in rides[:2]:
            found = trace(ROW, ride, every_steps=50)
            for from_m, to_m, fastest, name in limits(ride.course):
                over = (found.distance_m >= from_m - 0.2) & (found.distance_m <= to_m + 0.2)
                shares.setdefault(name, []).extend(found.speed_mps[over] / fastest)

    assert len(shares) == len(DAY.fastest_mps) + 1
    assert np.percentile(np.concatenate(list(shares.values())), 95) < 1.15
    for share in shares.values():
        assert len(share) > 50
        assert 0.8 < np.percentile(share, 95) < 1.2


def ridden(surface, wanted_mps, *, kerbs=(), duration_s=30.0):
    """Return mean speed in m/s, and vibration squared times its time, of the example's riders."""
    rides = [
        Ride(
            rider_name=name,
            course=Course(
                name="shaken",
                title="Shaken",
                road=Road(patches=(Patch(from_m=0.0, surface=surface),), kerbs=kerbs),
                manoeuvre=Manoeuvre(duration_s=duration_s, speed_mps=((0.0, wanted_mps),)),
                road_seed=seed,
            ),
            rider=rider,
            board=STUDY.board,
            noise_seed=seed,
        )
        for seed in (1, 2, 3)
        for name, rider in STUDY.riders.items()
    ]
    found = simulate(ROW[None, :], rides)
    time_s = found.column("ride_time_s")[0]
    speed = float(np.mean(found.column("distance_m")[0] / time_s))
    return speed, found.column("vibration_mps2")[0] ** 2 * time_s


def shaken(roughness_1e6_m3, speed_mps):
    """Return the weighted vibration in m/s2 at a speed, between two that are ridden."""
    surface = dataclasses.replace(SMOOTH, roughness_1e6_m3=roughness_1e6_m3)
    points = []
    for wanted in (0.8 * speed_mps, 1.05 * speed_mps):
        speed, dose = ridden(surface, wanted)
        points.append((speed, float(np.mean(np.sqrt(dose / 30.0)))))
    return float(straight_lines(tuple(points), np.array(speed_mps)))


@pytest.mark.parametrize("name", ["cobbles", "gravel", "grass", "track"])
def test_rough_ground_is_ridden_where_it_becomes_very_uncomfortable(name):
    surface = Surface(**shelves()["surfaces"][name])

    found = shaken(surface.roughness_1e6_m3, DAY.fastest_mps[surface])

    assert found == pytest.approx(VERY_UNCOMFORTABLE_MPS2, rel=0.05)


def test_worn_asphalt_needs_no_slowing():
    surface = Surface(**shelves()["surfaces"]["worn_asphalt"])

    assert surface not in DAY.fastest_mps
    assert shaken(surface.roughness_1e6_m3, DAY.fast_mps) < VERY_UNCOMFORTABLE_MPS2


def test_a_good_road_begins_to_be_uncomfortable_where_it_does_on_a_kick_scooter():
    # Cano-Moreno et al. 2021, 10.1007/s42417-021-00280-3, abstract: very good to good road, from
    # 16 km/h; ISO 2631-1 annex C, from memory: uncomfortable from 0.8 m/s2.
    assert shaken(16.0, 16.0 / 3.6) == pytest.approx(0.8, rel=0.15)


def test_a_flush_kerb_at_full_speed_shakes_no_more_than_rough_ground():
    _, plain = ridden(SMOOTH, DAY.fast_mps, duration_s=6.0)
    _, struck = ridden(SMOOTH, DAY.fast_mps, kerbs=((8.0, DAY.flush_m),), duration_s=6.0)

    running = np.sqrt(struck - plain)  # over one second, ISO 2631-1's running r.m.s.

    assert np.mean(running) == pytest.approx(VERY_UNCOMFORTABLE_MPS2, rel=0.05)


def test_stopping_on_slippery_ground_takes_no_further_than_on_dry_asphalt():
    furthest = DAY.fast_mps**2 / 0.8  # v^2 / (2 mu g), less the constants

    for surface, fastest in DAY.fastest_mps.items():
        assert fastest**2 / surface.friction_ratio <= furthest
