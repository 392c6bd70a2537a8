"""A part of a ride: the same road and the same wishes, ridden from a moment on."""

import dataclasses

import numpy as np
import pytest

from plant.description.course import Part
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
