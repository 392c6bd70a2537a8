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
