"""Traces are the same ride that is measured, signal by signal."""

import dataclasses

import numpy as np
import pytest

from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate
from plant.kernel.trace import Trace, trace, traces
from tests import invented, invented_rides

ROW = invented_rides.profile_row()
COURSES = invented_rides.courses()
SIGNALS = [field.name for field in dataclasses.fields(Trace) if field.name != "outcome"]


def metrics_of(ride):
    """Return a function that reads one metric of a ride."""
    rides = simulate(ROW[None, :], [ride])
    return lambda name: rides.column(name)[0, 0]


@pytest.mark.parametrize("name", ["launch", "climb", "descent"])
def test_a_trace_agrees_with_the_metrics_of_its_ride(name):
    ride = invented_rides.ride(COURSES[name])

    seen, metric = trace(ROW, ride, every_steps=1), metrics_of(ride)

    assert seen.outcome is Outcome.RIDDEN
    assert seen.time_s[-1] == pytest.approx(metric("ride_time_s"))
    assert seen.distance_m[-1] == metric("distance_m")
    assert seen.speed_mps[-1] == metric("end_speed_mps")
    assert np.max(np.abs(seen.current_a)) == metric("peak_current_a")
    assert np.max(seen.mosfet_c) == metric("mosfet_peak_c")
    assert np.min(seen.bus_v) == metric("bus_low_v")
    nose = 1.0 - seen.ground_pitch_deg / invented.board().frame.nose_contact_deg
    assert np.min(nose) == pytest.approx(metric("least_nose_margin_ratio"), rel=1e-12)
    held = seen.pitch_deg[(seen.time_s > 1.0)]
    assert np.sqrt(np.mean(held**2)) == pytest.approx(metric("hold_pitch_rms_deg"), rel=1e-3)


def test_samples_of_a_coarse_trace_are_those_of_a_fine_one():
    ride = invented_rides.ride(COURSES["turn"])

    fine, coarse = trace(ROW, ride, every_steps=1), trace(ROW, ride, every_steps=20)

    for name in SIGNALS:
        np.testing.assert_array_equal(getattr(coarse, name), getattr(fine, name)[19::20])


def test_a_trace_is_nan_from_the_end_of_the_ride_on():
    ride = invented_rides.ride(COURSES["overspeed"], 105.0)

    seen, metric = trace(ROW, ride), metrics_of(ride)

    ended = seen.time_s >= metric("ride_time_s")
    assert seen.outcome is Outcome.NOSE_DOWN
    assert 0 < np.count_nonzero(ended) < ended.size
    for name in set(SIGNALS) - {"time_s"}:
        np.testing.assert_array_equal(np.isnan(getattr(seen, name)), ended, err_msg=name)
    assert np.isfinite(seen.time_s).all()


def test_grade_and_reserve_are_in_the_units_of_their_names():
    ride = invented_rides.ride(COURSES["climb"])

    seen = trace(ROW, ride)

    limit = invented.board().drive.phase_current_limit_a
    assert seen.grade_percent[-1] == pytest.approx(12.0, rel=1e-6)
    np.testing.assert_allclose(
        seen.torque_reserve_ratio * limit, seen.available_current_a - seen.current_a, atol=1e-9
    )


def test_a_standing_rider_loads_the_wheel_with_all_the_weight():
    ride = invented_rides.ride(COURSES["stand"])

    seen = trace(ROW, ride)

    board = invented.board()
    mass = 80.0 + board.frame.frame_mass_kg + board.wheel.wheel_mass_kg
    assert np.mean(seen.wheel_load_n) == pytest.approx(mass * 9.80665, rel=1e-3)


@pytest.mark.parametrize("every_steps", [0, -5])
def test_an_interval_below_one_millisecond_is_refused(every_steps):
    with pytest.raises(ValueError, match="every_steps must be at least 1"):
        trace(ROW, invented_rides.ride(COURSES["stand"]), every_steps=every_steps)


def test_several_profiles_at_once_are_refused():
    with pytest.raises(ValueError, match="profiles must be"):
        trace(np.tile(ROW, (2, 1)), invented_rides.ride(COURSES["stand"]))


def test_profiles_that_ride_together_have_the_traces_that_each_has_alone():
    ride = invented_rides.ride(COURSES["climb"])
    profiles = np.stack([ROW, 0.9 * ROW, 1.1 * ROW])
    together = traces(profiles, ride, every_steps=20)

    for profile, beside in zip(profiles, together, strict=True):
        alone = trace(profile, ride, every_steps=20)
        for name in SIGNALS:
            np.testing.assert_array_equal(getattr(beside, name), getattr(alone, name))
        assert beside.outcome is alone.outcome
