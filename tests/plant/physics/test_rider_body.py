"""The rider's body against published segment tables, and the reflex against statics."""

import math

import numpy as np
import pytest

from plant.description.rider import COM_ABOVE_ANKLE_RATIO, INERTIA_ABOUT_ANKLE_RATIO
from plant.physics.reflex import bounded_moment, carried_moment, foot_command
from tests import invented_rides

# Winter (Dempster): share of the body's mass, centre from the proximal end, radius of gyration
# about the centre; both legs together. Drillis & Contini: heights as fractions of the stature.
ANKLE, KNEE, HIP, SHOULDER = 0.039, 0.285, 0.530, 0.818
SEGMENTS = (
    # share, height of the proximal end, length down (legs) or up (trunk), centre, gyration
    (2 * 0.0465, KNEE, KNEE - ANKLE, 0.433, 0.302),
    (2 * 0.100, HIP, HIP - KNEE, 0.433, 0.323),
    (0.678, HIP, -(SHOULDER - HIP), 0.626, 0.496),
)


def summed_above_the_ankle():
    """Return centre height over the ankle and J over m h^2 of what stands on the feet."""
    share = np.array([segment[0] for segment in SEGMENTS])
    centre = np.array([top - down * at for _, top, down, at, _ in SEGMENTS]) - ANKLE
    gyration = np.array([abs(down) * about for _, _, down, _, about in SEGMENTS])
    height = np.sum(share * centre) / np.sum(share)
    inertia = np.sum(share * (centre**2 + gyration**2))
    return height, inertia / (np.sum(share) * height**2)


def test_centre_of_mass_and_inertia_meet_the_segment_table():
    height, inertia = summed_above_the_ankle()

    assert pytest.approx(height, abs=0.001) == COM_ABOVE_ANKLE_RATIO
    assert pytest.approx(inertia, abs=0.002) == INERTIA_ABOUT_ANKLE_RATIO


@pytest.mark.parametrize("mass_kg", [40.0, 62.0, 80.0, 105.0])
def test_inertia_is_that_of_a_standing_person(mass_kg):
    rider = invented_rides.rider(mass_kg)

    # PMC5664365, table 1: J 66 kg m2 about the ankle for 75 kg with the centre at 0.83 m, which
    # is 1.28 m h^2; J. NeuroEng. Rehab. 2017, table 3: 80.8, 70.1 and 0.99, which is 1.18.
    lever = rider.com_above_ankle_m
    about_ankle = rider.inertia_kg_m2 + mass_kg * lever**2
    assert 1.1 < about_ankle / (mass_kg * lever**2) < 1.35


def test_the_commanded_moment_in_balance_carries_the_motor_through_the_feet():
    # Leaning by a/g + T / m g h the rider is in balance when the feet give T: then the moment
    # about the ankle, m g h lean = m h a + T, is what gravity gives. The board keeps its angle
    # when T is the motor's F r and what the board's m h of 6.5 kg m takes, its rider's weight at
    # the ankles included.
    acceleration, force, radius, mgh = 1.2, 150.0, 0.14, 700.0
    lean = acceleration / 9.80665 + (force * radius + 6.5 * acceleration) / mgh

    carried = carried_moment(force, radius, acceleration, 6.5)
    moment = foot_command(lean, 0.0, acceleration, carried, mgh, 0.2, 0.05, 0.0)

    assert moment == pytest.approx(force * radius + 6.5 * acceleration, rel=1e-12)


def test_a_lean_beyond_balance_presses_the_nose_and_short_of_it_the_tail():
    balanced = 100.0 * 0.14 / 700.0

    ahead = foot_command(balanced + 0.05, 0.0, 0.0, 14.0, 700.0, 0.2, 0.05, 0.0)
    behind = foot_command(balanced - 0.05, 0.0, 0.0, 14.0, 700.0, 0.2, 0.05, 0.0)

    assert ahead - 14.0 == pytest.approx(0.2 * 700.0 * 0.05)
    assert behind - 14.0 == pytest.approx(-0.2 * 700.0 * 0.05)


def test_feet_press_no_more_than_the_load_on_one_foot():
    # All the weight on one foot, half a stance from the middle.
    moment, limit = bounded_moment(1e6, 80.0 * 9.80665, 0.25, 1.0)

    assert limit == pytest.approx(80.0 * 9.80665 * 0.25)
    assert moment == limit
    assert bounded_moment(-1e6, 80.0 * 9.80665, 0.25, 1.0)[0] == -limit
    assert bounded_moment(50.0, -10.0, 0.25, 1.0) == (0.0, 0.0)


def test_a_light_rider_has_less_moment_to_hold_the_tail_down():
    limits = []
    for mass_kg in (40.0, 105.0):
        body = invented_rides.rider(mass_kg).body
        limits.append(bounded_moment(1e6, mass_kg * 9.80665, 0.5 * body.stance_m, 0.8)[1])

    assert limits[0] < 0.4 * limits[1]
    assert math.isfinite(limits[0])
