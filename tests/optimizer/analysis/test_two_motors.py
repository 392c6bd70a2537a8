"""Two motors that differ in their speed constant alone ask for currents in that proportion."""

import dataclasses

import numpy as np
import pytest

from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.trace import trace

SLOW, FAST = (load_study(STUDIES_FOLDER / f"motor_{kv}") for kv in (15, 17))


def ride(study, name):
    return next(ride for ride in study.rides if ride.name == name)


def scaled(row, factor):
    """Return a profile with every current in it scaled."""
    currents = [name.split("_per_")[0].endswith("_a") for name in PROFILE_NAMES]
    return row * np.where(currents, factor, 1.0)


def test_the_two_studies_differ_in_the_speed_constant_alone():
    assert FAST.board.motor.kv_rpm_per_v == 17.0
    same = dataclasses.replace(
        FAST.board, motor=dataclasses.replace(FAST.board.motor, kv_rpm_per_v=15.0)
    )
    assert same == SLOW.board
    for name in ("riders", "baseline", "seed", "n_candidates"):
        assert getattr(SLOW, name) == getattr(FAST, name)
    np.testing.assert_array_equal(SLOW.space.low, FAST.space.low)


def test_current_per_acceleration_grows_with_the_speed_constant():
    # Physics: total mass times radius over 8.27 / Kv. Common practice, no source: 14 to 16 A per
    # m/s2, a ratio of 1.14, from 15 to 17 rpm/V.
    row = profile_to_array(SLOW.baseline)
    amps = []
    for study in (SLOW, FAST):
        slopes = []
        for noise_seed in range(12):
            own = dataclasses.replace(
                ride(study, "accelerate_gently/baker_80"),
                rider=study.riders["baker_80"],
                noise_seed=noise_seed,
            )
            ridden = trace(row, own, every_steps=1)
            pushing = (ridden.acceleration_mps2 > 0.3) & (ridden.time_s > 1.0)
            push, current = ridden.acceleration_mps2[pushing], ridden.current_a[pushing]
            # The slope through the cloud; what rolling and air take is the same at any.
            slopes.append(np.polyfit(push, current, 1)[0])
        amps.append(np.median(slopes))

    assert amps[1] / amps[0] == pytest.approx(17.0 / 15.0, abs=0.05)


def test_a_profile_scaled_with_the_motor_rides_alike():
    row = profile_to_array(SLOW.baseline)
    for name in ("accelerate_gently/clerk_62", "grade_steps/baker_80", "cobbles/baker_80"):
        slow = trace(row, ride(SLOW, name))
        fast = trace(scaled(row, 17.0 / 15.0), ride(FAST, name))
        unscaled = trace(row, ride(FAST, name))

        def distance(one, other=slow):
            return np.sqrt(np.nanmean((one.pitch_deg - other.pitch_deg) ** 2))

        assert distance(fast) < 0.5 * distance(unscaled)
