"""Kerbs as the compiled plant rides them: the force, torque and friction that hold on the edge.

Statics textbooks: a wheel of radius r under a load W, in first contact with a step h, is lifted by
a force W sqrt(2 r h - h^2) / (r - h) at its axle. Derived: driven by torque it needs W
sqrt(2 r h - h^2), and friction of sqrt(2 r h - h^2) / (r - h).
"""

import dataclasses
import math

import numpy as np
import pytest

from plant.constants import GRAVITY_MPS2
from plant.kernel.lane_init import torque_per_amp
from plant.kernel.road import road_table, straight_lines
from plant.kernel.wheel_path import wheel_centre_path
from tests import invented, invented_rides
from tests.plant import rig

BOARD = invented.board()
RADIUS_M = BOARD.wheel.wheel_radius_m
KERB_AT_M = 5.0


def kerb_road(height_m, friction=1.5):
    return invented_rides.road(
        invented_rides.surface(0.0, friction, 0.0), kerbs=((KERB_AT_M, height_m),)
    )


def table_of(height_m, *, contact_length_m=BOARD.wheel.contact_length_m, moved_m=0.0):
    """Return the road's columns over a kerb, (point, column), a point every 2 cm."""
    surface = invented_rides.surface(0.0, 1.5, 0.0)
    return road_table(
        invented_rides.road(surface, kerbs=((KERB_AT_M + moved_m, height_m),)),
        wheel=dataclasses.replace(BOARD.wheel, contact_length_m=contact_length_m),
        length_m=10.0,
        press_ratio=((0.0, 0.0),),
        seed=1,
    )


def on_the_edge(height_m):
    """Return distance, height and slope of the centre where a kerb is steepest."""
    table = table_of(height_m)
    steepest = int(np.argmax(table[:, 1]))
    return 0.02 * steepest, table[steepest, 0], table[steepest, 1]


def standing_on_the_edge(height_m, current_a, *, friction=1.5):
    """Return the acceleration of each lane a moment after standing there with that current."""
    distance, height, _ = on_the_edge(height_m)
    course = dataclasses.replace(
        rig.flat(1.0), road=kerb_road(height_m, friction), name=f"kerb {height_m:g} {friction:g}"
    )
    # Wheel and rider rest at the height of the edge, so the load is the weight; the first
    # millisecond's current is not held back by the board's own limit.
    rest = {"distance_m": distance, "wheel_height_m": height, "rider_height_m": height}
    rest |= {"available_high_a": 1e6}
    ridden = rig.run(
        rig.QUIET | rig.UPRIGHT | rig.held_current(current_a) | rest,
        seconds=0.002,
        course=course,
        record=("accel_mps2", "wheel_load_n"),
    )
    np.testing.assert_allclose(ridden.signal["wheel_load_n"], weight(), rtol=1e-3)
    return ridden.signal["accel_mps2"][-1]


def weight():
    return rig.run(rig.QUIET, seconds=0.001).end["moving_mass_kg"][0] * GRAVITY_MPS2


SHARES = np.array([0.90, 0.95, 0.98, 0.99, 1.01, 1.02, 1.05, 1.10])


@pytest.mark.parametrize("height_m", [0.006, 0.025, 0.05])
def test_the_wheel_climbs_exactly_from_the_torque_of_load_times_slope_on(height_m):
    # Flush kerb of at most 6 mm and vehicle crossing of 25 mm: UK highway guidance.
    slope = on_the_edge(height_m)[2]
    holding_a = weight() * slope * RADIUS_M / torque_per_amp(BOARD.motor.kv_rpm_per_v)

    accel = standing_on_the_edge(height_m, SHARES * holding_a)

    np.testing.assert_array_equal(accel > 0.0, SHARES > 1.0)


@pytest.mark.parametrize("height_m", [0.025, 0.05])
def test_the_wheel_climbs_exactly_from_the_friction_of_the_slope_on(height_m):
    slope = on_the_edge(height_m)[2]
    ample_a = 3.0 * weight() * slope * RADIUS_M / torque_per_amp(BOARD.motor.kv_rpm_per_v)

    accel = [
        standing_on_the_edge(height_m, ample_a, friction=share * slope)[0] for share in (0.97, 1.03)
    ]

    assert accel[0] < 0.0 < accel[1]


@pytest.mark.parametrize("height_m", [0.006, 0.0125, 0.025, 0.0306])
def test_no_kerb_asks_more_than_a_rigid_wheel_needs(height_m):
    rigid = math.sqrt(2.0 * RADIUS_M * height_m - height_m**2) / (RADIUS_M - height_m)

    assert on_the_edge(height_m)[2] < rigid


@pytest.mark.parametrize("contact_m", [0.06, 0.09])
@pytest.mark.parametrize("height_m", [0.0125, 0.025, 0.05])
def test_the_table_keeps_the_steepest_slope_of_an_enveloped_kerb_wherever_it_lies(
    contact_m, height_m
):
    distance = np.arange(-0.5, 0.5, 1e-4)
    step = np.where(distance >= 0.0, height_m, 0.0)
    path = wheel_centre_path(step, step_m=1e-4, radius_m=RADIUS_M, contact_length_m=contact_m)
    fine = np.max(np.diff(path)) / 1e-4

    found = [
        table_of(height_m, contact_length_m=contact_m, moved_m=moved)[:, 1].max()
        for moved in np.linspace(0.0, 0.02, 5)
    ]

    # Points 1 cm apart see a contact of 6 cm up to an eighth less steep, one of 9 cm a fourteenth.
    assert max(found) < 1.001 * fine
    assert min(found) > (0.87 if contact_m < 0.08 else 0.92) * fine


@pytest.mark.parametrize("height_m", [0.025, -0.1])
def test_slope_over_the_kerb_does_the_work_of_its_height(height_m):
    # However the table smooths the kerb, load times slope adds up to load times height.
    table = table_of(height_m)
    fine_m = np.arange(0.0, 9.9, 1e-3)

    slope = straight_lines(
        tuple(zip(0.02 * np.arange(len(table)), table[:, 1], strict=True)), fine_m
    )

    assert np.sum(slope) * 1e-3 == pytest.approx(height_m, rel=0.02)


def test_the_torque_asked_is_the_known_share_above_that_of_statics():
    # The plant's wheel turns by the horizontal distance: tan in place of sin of the centre's
    # slope. Rigid, it is r / (r - h) at first contact, 1.17 at 20 mm; enveloped, nearly nothing.
    height_m = 0.02
    lever = math.sqrt(2.0 * RADIUS_M * height_m - height_m**2)
    distance = np.arange(-0.4, 0.4, 1e-4)
    step = np.where(distance >= 0.0, height_m, 0.0)
    path = wheel_centre_path(step, step_m=1e-4, radius_m=RADIUS_M, contact_length_m=0.0)
    rigid = RADIUS_M * np.max(np.diff(path)) / 1e-4

    enveloped = on_the_edge(0.025)[2]

    assert rigid / lever == pytest.approx(RADIUS_M / (RADIUS_M - height_m), rel=5e-3)
    assert math.sqrt(1.0 + enveloped**2) < 1.08
