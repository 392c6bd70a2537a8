"""Smaller plant steps approach the continuous plant, at first order."""

import math

import numpy as np
import pytest

from tests import invented_rides
from tests.plant import rig
from tests.reference.continuous_plant import STATE, ride_continuously

N_STEPS = 1000
SUB_STEPS = (1, 2, 4, 8)
WATCHED = ("distance_m", "speed_mps", "pitch_rad", "lean_rad", "current_a", "wheel_height_m")
# No noise, and counts of the rotor angle so fine that none falls into another millisecond: what
# jumps can not converge at any order.
PAIRS = 15e6
SMOOTH_SENSORS = {
    "gyro_noise_deg_per_s": 0.0,
    "gyro_noise_per_mps2": 0.0,
    "sway_ratio": 0.0,
    "pole_pairs": PAIRS,
    "phase_inductance_h": 1.5e-4 * 15 / PAIRS,
    "counts_per_rad": 6.0 * PAIRS / (2.0 * math.pi),
    "per_counts_per_rad": 2.0 * math.pi / (6.0 * PAIRS),
}


@pytest.fixture(scope="module")
def errors():
    """Return the RMS error of each watched state, (sub-step, state), over its own range.

    A ride faster and up a ramp, against the same ride with the plant solved continuously between
    the steps of controller and rider.
    """
    along = invented_rides.course(
        "smooth",
        invented_rides.road(
            invented_rides.surface(0.012, 0.9, 0.0), grade_percent=((0.0, 0.0), (2.0, 6.0))
        ),
        invented_rides.manoeuvre(3.0, ((0.0, 4.0), (0.2, 4.0), (0.4, 5.5))),
    )
    ride = invented_rides.ride(along, noise_seed=1)
    row = invented_rides.profile_row()
    exact = ride_continuously(row, ride, n_steps=N_STEPS, rows=SMOOTH_SENSORS)
    found = []
    for n_sub in SUB_STEPS:
        ridden = rig.run(
            SMOOTH_SENSORS,
            seconds=N_STEPS / 1000,
            record=STATE,
            course=along,
            rider=ride.rider,
            profile=row,
            n_sub=n_sub,
        )
        found.append(
            [
                np.sqrt(np.mean((ridden.signal[name][:, 0] - exact[name]) ** 2))
                / np.ptp(exact[name])
                for name in WATCHED
            ]
        )
    return np.array(found)


@pytest.mark.parametrize("name", WATCHED)
def test_each_state_converges_at_first_order(errors, name):
    # Semi-implicit Euler: the error halves with the step.
    error = errors[:, WATCHED.index(name)]

    order = -np.polyfit(np.log(SUB_STEPS), np.log(error), 1)[0]
    assert order == pytest.approx(1.0, abs=0.15)


def test_a_plant_step_of_one_millisecond_is_within_two_percent_of_the_continuous_ride(errors):
    assert np.all(errors[0] < 0.02)
