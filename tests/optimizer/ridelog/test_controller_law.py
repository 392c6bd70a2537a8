"""The law that is fitted to a log is the one by which the simulated boards ride."""

import numpy as np
import pytest

from optimizer.ridelog.fits.controller_law import LOAD_EXPECTED, SETTINGS, asked_current
from plant.constants import DEG_PER_RAD, DT_S
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.lane_layout import R
from plant.kernel.simulate import ride_lanes
from tests import invented_rides

ROWS = (
    "attitude_rad",
    "warning_now_deg",
    "rate_filtered_radps",
    "rotor_speed_radps",
    "current_a",
    "yaw_seen_radps",
    "current_raw_a",
    "current_wanted_a",
)
# Settings of the fitted law that a profile calls otherwise, or that belong to a log.
OTHERWISE = {LOAD_EXPECTED: "expected_current_a_per_mps2"}
OF_A_LOG = {"level_deg": 0.0, "integral_start_a": 0.0}


def ridden(course):
    """Return what the kernel's law saw and asked on a course, millisecond by millisecond."""
    ride = invented_rides.ride(invented_rides.courses()[course])
    rows = tuple(R[name] for name in ROWS)
    _, probe = ride_lanes(invented_rides.profile_row()[None, :], ride, probe=(rows, 1))
    return ride.board, dict(zip(ROWS, probe[:, :, 0].T, strict=True))


def settings():
    """Return the profile of the ride as the fitted law takes it."""
    profile = dict(zip(PROFILE_NAMES, invented_rides.profile_row(), strict=True))
    return np.array([{**profile, **OF_A_LOG}[OTHERWISE.get(name, name)] for name in SETTINGS])


def step_before(values):
    """Return values as the law has them, which acts before the plant moves."""
    return np.concatenate([values[:1], values[:-1]])


@pytest.mark.parametrize("course", ["launch", "climb", "descent", "brake", "turn"])
def test_the_fitted_law_asks_what_the_simulated_board_asks(course):
    board, seen = ridden(course)
    speed = seen["rotor_speed_radps"] * board.wheel.wheel_radius_m
    signals = np.stack(
        [
            seen["attitude_rad"] * DEG_PER_RAD + seen["warning_now_deg"],
            seen["rate_filtered_radps"] * DEG_PER_RAD,
            speed,
            step_before(seen["current_a"]),
            np.abs(seen["yaw_seen_radps"] * speed),
            seen["current_raw_a"] - seen["current_wanted_a"],
        ]
    )

    asked = asked_current(signals, settings(), dt_s=DT_S)
    apart = asked - seen["current_raw_a"]
    # The kernel's filters move by dt / T a step, and not by the 1 - exp(-dt / T) of a log's.
    assert np.sqrt(np.mean(apart**2)) < 0.015 * np.max(np.abs(seen["current_raw_a"]))
