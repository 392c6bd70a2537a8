"""Resistance to riding against a worked example and a coast-down with a closed form."""

import math

import numpy as np
import pytest

from plant.physics.resistance import air_drag, rolling_resistance, turn_scrub
from tests import invented_rides
from tests.plant import rig

GRAVITY = 9.81


def test_road_load_of_the_cycling_worked_example():
    # Martin et al. 1998, J. Appl. Biomech. 14:276 (213 W; its parts from memory): 90 kg over
    # 471.8 m in 56.42 s on a grade of 0.003, 8.28 to 8.45 m/s, wind 2.94 m/s at 30 degrees to
    # the course, density 1.2234, drag area 0.2565 and 0.0044 for the wheels, Crr 0.0032, bearings
    # v (91 + 8.7 v) mW, wheels 0.14 kg m2 on 0.311 m, chain efficiency 0.97698.
    speed = 471.8 / 56.42
    weight = 90.0 * GRAVITY
    slope = math.atan(0.003)

    air = air_drag(speed, 2.94 * math.cos(math.radians(30.0)), 1.2234, 0.2565 + 0.0044) * speed
    rolling = rolling_resistance(speed, weight * math.cos(slope), 0.0032) * speed
    bearings = speed * (91.0 + 8.7 * speed) * 1e-3
    climbing = weight * math.sin(slope) * speed
    gathering = 0.5 * (90.0 + 0.14 / 0.311**2) * (8.45**2 - 8.28**2) / 56.42

    assert air == pytest.approx(158.80, abs=0.1)
    assert rolling == pytest.approx(23.63, abs=0.02)
    assert (air + rolling + bearings + climbing + gathering) / 0.97698 == pytest.approx(
        213.16, abs=0.1
    )


def test_air_pushes_with_the_wind_when_it_blows_faster_than_the_ride():
    assert air_drag(3.0, -5.0, 1.225, 0.5) == pytest.approx(-0.5 * 1.225 * 0.5 * 4.0)


def test_dry_resistances_vanish_at_rest_and_oppose_motion_both_ways():
    for resistance in (
        lambda speed: rolling_resistance(speed, 1000.0, 0.02),
        lambda speed: turn_scrub(speed, 1000.0, 0.5, 0.04),
    ):
        assert resistance(0.0) == 0.0
        assert resistance(3.0) == pytest.approx(20.0)
        assert resistance(-3.0) == pytest.approx(-20.0)


@pytest.mark.parametrize("ratio", [0.005, 0.012, 0.04])
def test_coast_down_follows_the_closed_form(ratio):
    # M v' = -(F + k v^2): v(t) = sqrt(F / k) tan(atan(v0 sqrt(k / F)) - sqrt(F k) t / M)
    course = invented_rides.course(
        "coast",
        invented_rides.road(invented_rides.surface(ratio, 1.0, 0.0)),
        invented_rides.manoeuvre(5.0, ((0.0, 9.0),)),
    )

    ridden = rig.run(
        rig.QUIET | rig.UPRIGHT | {"drag_area_m2": 0.6},
        seconds=5.0,
        course=course,
        record=("speed_mps",),
    )

    mass, inertia = ridden.end["moving_mass_kg"][0], ridden.end["rolling_mass_kg"][0]
    dry, air = mass * 9.80665 * ratio, 0.5 * 1.225 * 0.6
    time_s = np.arange(1, 5001) * 0.001
    swing = math.atan(9.0 * math.sqrt(air / dry)) - math.sqrt(dry * air) * time_s / inertia
    expected = math.sqrt(dry / air) * np.tan(swing)
    np.testing.assert_allclose(ridden.signal["speed_mps"][:, 0], expected, rtol=5e-5)


def test_steepest_street_needs_the_statics_torque_to_stand():
    # Highway records: 34.8 % is a sine of 0.3287; 100 kg on a wheel of 0.14 m needs 45.1 N m.
    course = rig.flat(0.5, 0.0, grade_percent=((-5.0, 34.8),))
    torque = 100.0 * 9.80665 * 0.3287 * 0.14
    asked = {"moving_mass_kg": 100.0, "rolling_mass_kg": 106.0, "per_rim_mass": 1.0 / 6.0}

    ridden = rig.run(
        rig.QUIET | rig.UPRIGHT | asked | rig.held_current(45.1 / (8.26993 / 15.0)),
        seconds=0.5,
        course=course,
    )

    assert torque == pytest.approx(45.1, abs=0.05)
    np.testing.assert_allclose(ridden.end["speed_mps"], 0.0, atol=2e-3)
