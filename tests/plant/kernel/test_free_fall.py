"""A rider whose feet do nothing falls at the rate of the linear theory."""

import math

import pytest

from plant.constants import GRAVITY_MPS2
from tests import invented_rides
from tests.plant import rig

FIRST_LEAN_RAD = 1e-5


PASSIVE = rig.QUIET | {"frame_mh_kg_m": 0.0, "per_frame_j": 0.0, "lean_rad": FIRST_LEAN_RAD}


def fall_rate(ridden):
    """Return the rate in 1/s of a lean that grows as cosh(rate t), from the end of the fall."""
    lean = ridden.signal["lean_rad"][:, 0]
    return math.acosh(lean[-1] / FIRST_LEAN_RAD) / (lean.size * 0.001)


def pole(base_kg, mass_kg, inertia, height, gravity):
    """Return the unstable pole of a pendulum on a free base: check of published systems."""
    whole, about_axle = base_kg + mass_kg, inertia + mass_kg * height**2
    coupling = mass_kg * height
    return math.sqrt(coupling * gravity * whole / (whole * about_axle - coupling**2))


def test_closed_form_pole_meets_the_published_balance_system():
    # Astrom & Murray, Feedback Systems, balance system at a rider's scale (from memory): M 10 kg,
    # m 80 kg, J 100 kg m2, l 1 m, g 9.8, undamped: poles at +-2.683 rad/s.
    assert pole(10.0, 80.0, 100.0, 1.0, 9.8) == pytest.approx(2.683, abs=5e-4)


def test_published_balance_system_falls_at_its_pole():
    published = {
        "rolling_mass_kg": 90.0,
        "moving_mass_kg": 90.0,
        "per_rim_mass": 1e9,
        "rider_mh_kg_m": 80.0,
        "per_rider_j": 1.0 / 180.0,
    }

    rate = fall_rate(rig.run(PASSIVE | published, seconds=1.5, record=("lean_rad",)))

    assert rate == pytest.approx(2.683 * math.sqrt(GRAVITY_MPS2 / 9.8), rel=1e-3)


@pytest.mark.parametrize("mass_kg", [40.0, 62.0, 80.0, 105.0])
def test_each_rider_falls_at_the_pole_of_their_body(mass_kg):
    ridden = rig.run(
        PASSIVE, seconds=1.5, rider=invented_rides.rider(mass_kg), record=("lean_rad",)
    )

    end = {name: values[0] for name, values in ridden.end.items()}
    # M_e = m_wheel + I_wheel / r^2 + board + rider; the rider's J is about the axle.
    rolling = (
        end["mass_kg"]
        + end["frame_mass_kg"]
        + end["wheel_mass_kg"]
        + end["wheel_inertia_kg_m2"] / end["wheel_radius_m"] ** 2
    )
    height = end["rider_mh_kg_m"] / end["mass_kg"]
    inertia = end["rider_j_kg_m2"] - end["mass_kg"] * height**2
    expected = pole(rolling - end["mass_kg"], end["mass_kg"], inertia, height, GRAVITY_MPS2)
    # Half a step more or less is 3e-4 of the fall.
    assert fall_rate(ridden) == pytest.approx(expected, rel=1e-3)
