"""The way a rider asks for is the area under the wanted speed."""

import pytest
import scipy.integrate

from objectives.asked_way import asked_way_m
from plant.description.course import Manoeuvre


def manoeuvre(*points, duration_s=10.0):
    return Manoeuvre(duration_s=duration_s, speed_mps=points)


def test_a_constant_speed_leads_speed_times_time():
    assert asked_way_m(manoeuvre((0.0, 4.0))) == pytest.approx(40.0)


def test_a_ramp_is_a_trapezium():
    assert asked_way_m(manoeuvre((2.0, 0.0), (6.0, 4.0))) == pytest.approx(8.0 + 16.0)


def test_the_first_speed_is_asked_from_the_start():
    assert asked_way_m(manoeuvre((2.0, 3.0), (6.0, 3.0))) == pytest.approx(30.0)


@pytest.mark.parametrize("until_s", [0.0, 1.3, 4.01, 7.5, 10.0])
def test_until_some_time_it_is_what_quadrature_gives(until_s):
    asked = manoeuvre((0.0, 1.0), (3.0, 5.0), (4.0, -1.0), (12.0, 2.0))
    corners = [at_s for at_s, _ in asked.speed_mps if at_s < until_s] or None

    def speed(at_s):
        for (a, low), (b, high) in zip(asked.speed_mps, asked.speed_mps[1:], strict=False):
            if a <= at_s <= b:
                return low + (high - low) * (at_s - a) / (b - a)
        raise AssertionError(at_s)

    expected = scipy.integrate.quad(speed, 0.0, until_s, points=corners, limit=200)[0]
    assert asked_way_m(asked, until_s=until_s) == pytest.approx(expected, abs=1e-9)


def test_points_beyond_the_end_do_not_count():
    assert asked_way_m(manoeuvre((0.0, 2.0), (20.0, 2.0), duration_s=5.0)) == pytest.approx(10.0)
