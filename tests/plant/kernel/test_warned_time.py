"""The seconds of a warning count from the nose lift that a rider perceives."""

import numpy as np
import pytest

from plant.description.profile_array import PROFILE_NAMES
from tests.plant import rig


def warned(*, lift_deg, slew_deg_per_s, seconds):
    """Return the warned seconds of a ride on a drive that is too warm from its start."""
    profile = rig.without_gains()
    settings = {
        "warning_lift_deg": lift_deg,
        "warning_slew_deg_per_s": slew_deg_per_s,
        "heat_warning_margin_k": 3.0,
    }
    for name, value in settings.items():
        profile[PROFILE_NAMES.index(name)] = value
    hot = {"mosfet_c": 84.9, "throttle_start_c": 80.0, "throttle_end_c": 110.0}
    ridden = rig.run(rig.QUIET | rig.HELD | hot, seconds=seconds, profile=profile)
    [time_s] = np.unique(ridden.end["warning_time"])
    return time_s


def test_a_warning_counts_once_it_has_grown_to_one_degree():
    # At 2 deg/s the lift is 1 deg after half a second.
    assert warned(lift_deg=3.0, slew_deg_per_s=2.0, seconds=2.0) == pytest.approx(1.5, abs=0.002)


def test_a_warning_that_stays_below_one_degree_is_none():
    assert warned(lift_deg=0.9, slew_deg_per_s=5.0, seconds=1.0) == 0.0
    assert warned(lift_deg=1.1, slew_deg_per_s=5.0, seconds=1.0) > 0.7


def test_each_board_is_warned_of_its_own_nearest_limit():
    """Lanes differ in limits and margins: the lift is the share of the margin that is used up."""
    profiles = np.tile(rig.without_gains(), (8, 1))
    settings = {
        "warning_lift_deg": 6.0,
        "warning_slew_deg_per_s": 100.0,
        # Without a current the reserve is the whole limit; its warning is full at half its start.
        "reserve_warning_ratio": [0.2, 0.2, 0.2, 0.2, 1.25, 0.2, 0.2, 0.2],
        "heat_warning_margin_k": [4.0, 4.0, 4.0, 4.0, 4.0, 8.0, 4.0, 4.0],
        "bus_warning_margin_v": [2.0, 2.0, 2.0, 2.0, 2.0, 2.0, 4.0, 2.0],
    }
    for name, values in settings.items():
        profiles[:, PROFILE_NAMES.index(name)] = values
    none, warm = 80.0, 27.0  # the MOSFETs stay at 25 degC
    [bus_v] = np.unique(rig.run(rig.QUIET | rig.HELD, seconds=0.1).end["bus_v"])
    rows = {
        "throttle_start_c": [none, warm, none, none, none, warm, none, warm],
        "bus_low_v": [0.0, 0.0, bus_v - 1.0, 0.0, 0.0, 0.0, bus_v - 1.0, 0.0],
        "taper_start_v": [1e9, 1e9, 1e9, bus_v + 1.0, 1e9, 1e9, 1e9, bus_v + 1.0],
    }

    ridden = rig.run(rig.QUIET | rig.HELD | rows, seconds=0.3, profile=profiles)

    lift_deg = ridden.end["warning_now_deg"]
    # Half of each margin; a high bus lifts half as far; then 0.4 and three quarters twice.
    expected = np.array([0.0, 0.5, 0.5, 0.25, 0.4, 0.75, 0.75, 0.5])
    np.testing.assert_allclose(lift_deg, 6.0 * expected, atol=0.02)
