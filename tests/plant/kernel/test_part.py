"""A part of a ride: the same road and the same wishes, ridden from a moment on."""

import dataclasses

import numpy as np
import pytest

from plant.description.course import Part
from plant.kernel.course_tables import course_tables
from plant.kernel.lane_layout import ROAD_NAMES
from plant.kernel.road import TABLE_STEP_M
from plant.kernel.simulate import simulate
from plant.kernel.trace import trace
from tests import invented_rides

COBBLES = invented_rides.course(
    "up_the_cobbles",
    invented_rides.road(invented_rides.COBBLES, grade_percent=((0.0, 0.0), (12.0, 6.0))),
    invented_rides.manoeuvre(12.0, ((0.0, 4.0), (5.0, 4.0), (7.0, 2.5), (12.0, 2.5))),
)
ROW = invented_rides.profile_row()


def part_of(course, from_s, to_s, *, from_m, speed_mps):
    part = Part(from_s=from_s, to_s=to_s, from_m=from_m, speed_mps=speed_mps)
    return dataclasses.replace(course, name=f"{course.name}_part", part=part)


def test_the_whole_of_a_ride_as_a_part_is_the_ride_to_the_bit():
    whole = part_of(COBBLES, 0.0, 12.0, from_m=0.0, speed_mps=4.0)

    ridden = simulate(ROW[None, :], [invented_rides.ride(COBBLES), invented_rides.ride(whole)])

    np.testing.assert_array_equal(ridden.metrics[:, 0], ridden.metrics[:, 1])
    assert whole.duration_s == COBBLES.duration_s


def test_a_part_is_ridden_on_the_same_grade_at_the_same_wanted_speed():
    full = trace(ROW, invented_rides.ride(COBBLES), every_steps=10)
    at = 399  # the sample after 4 s
    part = part_of(COBBLES, 4.0, 9.0, from_m=full.distance_m[at], speed_mps=full.speed_mps[at])

    short = trace(ROW, invented_rides.ride(part), every_steps=10)

    n = len(short.time_s)
    assert n == 500
    np.testing.assert_allclose(
        short.wanted_speed_mps, full.wanted_speed_mps[at + 1 : at + 1 + n], atol=0.05
    )
    # Roads are the same by place: where both have come as far, grades agree.
    place = short.distance_m + full.distance_m[at]
    np.testing.assert_allclose(
        short.grade_percent, np.interp(place, full.distance_m, full.grade_percent), atol=0.1
    )
    assert short.speed_mps[0] == pytest.approx(full.speed_mps[at], abs=0.05)
    # Once the board has settled it rides as in the whole.
    later = short.time_s > 2.0
    apart_mps = short.speed_mps - full.speed_mps[at + 1 : at + 1 + n]
    assert np.abs(apart_mps[later]).mean() < 0.25


def test_a_part_feels_the_roughness_of_its_own_stretch():
    full = trace(ROW, invented_rides.ride(COBBLES), every_steps=1)
    at = 3999
    part = part_of(COBBLES, 4.0, 9.0, from_m=full.distance_m[at], speed_mps=full.speed_mps[at])

    short = trace(ROW, invented_rides.ride(part), every_steps=1)

    # The wheel's load swings with the road; by place, after settling, in step with the whole's.
    place = short.distance_m[1000:4000] + full.distance_m[at]
    whole = np.interp(place, full.distance_m, full.wheel_load_n)
    assert np.corrcoef(short.wheel_load_n[1000:4000], whole)[0, 1] > 0.8


def test_a_part_begins_at_rest_on_its_road_and_soon_rides_the_whole_one():
    ride = invented_rides.ride(part_of(COBBLES, 4.0, 9.0, from_m=16.0, speed_mps=4.0))
    wheel = ride.board.wheel
    whole = course_tables(COBBLES, wheel).road[round(16.0 / TABLE_STEP_M) :]

    road = course_tables(ride.course, wheel).road

    height, slope, rolling = (
        ROAD_NAMES.index(f"road_{name}") for name in ("height_m", "slope", "rolling_ratio")
    )
    assert road[0, height] == road[0, rolling] == 0.0
    assert road[0, slope] == pytest.approx(0.0, abs=1e-3)
    eased = round(2.5 / TABLE_STEP_M)
    np.testing.assert_allclose(
        road[eased:, height], whole[eased:, height] - whole[0, height], atol=1e-12
    )
    np.testing.assert_array_equal(road[eased:, slope], whole[eased:, slope])
    np.testing.assert_array_equal(road[eased:, rolling], whole[eased:, rolling])
    # The slope is that of the heights where they are eased too.
    np.testing.assert_allclose(
        road[:eased, slope], np.gradient(road[:, height], TABLE_STEP_M)[:eased], atol=0.02
    )


def test_a_part_that_begins_in_deep_ground_comes_no_nearer_to_a_nose_down_than_whole_rides():
    deep = invented_rides.road(invented_rides.surface(0.065, 0.45, 256.0))
    slow = invented_rides.course("deep", deep, invented_rides.manoeuvre(40.0, ((0.0, 1.5),)))
    courses = [dataclasses.replace(slow, road_seed=seed) for seed in range(6)]
    parts = [
        part_of(course, float(at_s), at_s + 3.0, from_m=1.5 * at_s, speed_mps=1.5)
        for course in courses
        for at_s in range(8, 36, 4)
    ]

    whole, short = (
        simulate(ROW[None, :], [invented_rides.ride(course, 105.0) for course in ridden])
        .column("least_nose_margin_ratio")
        .min()
        for ridden in (courses, parts)
    )

    assert short > whole - 0.02
