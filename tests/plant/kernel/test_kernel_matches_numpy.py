"""The compiled kernel rides like the plain NumPy model in tests/reference.

The two share data only (assumed constants, tables, starting values), so an equation mistyped in
one of them, a wrong row or a lane that leaks into its neighbour shows here.
"""

import dataclasses
import itertools

import numpy as np
import pytest

from plant.description.profile import AccelerationLoop
from plant.description.profile_array import profile_to_array
from plant.kernel.lane_layout import SIGNAL_NAMES, STATE_NAMES, WIDTH, R
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.simulate import ride_lanes, simulate
from tests import invented_rides
from tests.reference import numpy_measures, numpy_plant

# Everything a lane carries from step to step and from pass to pass, except the switch itself.
SIGNALS = tuple(name for name in STATE_NAMES + SIGNAL_NAMES if name != "alive")
COURSES = invented_rides.courses()
SINGLE = invented_rides.profile()
NESTED = dataclasses.replace(
    SINGLE,
    acceleration_loop=AccelerationLoop(
        feed_forward_ratio=0.8,
        acceleration_gain_a_per_mps2=4.0,
        acceleration_integral_a_per_mps=20.0,
        acceleration_clamp_a=12.0,
        acceleration_filter_hz=8.0,
    ),
)
# Signals that rest at zero are compared against this scale, in their own units.
LEAST_SCALE = 1e-3


def kernel_signals(rides, n_steps, n_sub, profile, signals):
    """Return every signal of the kernel at every step, (step, signal, lane)."""
    rows = tuple(R[name] for name in signals)
    row = profile_to_array(profile)[None, :]
    records = [ride_lanes(row, ride, probe=(rows, 1), n_sub=n_sub)[1] for ride in rides]
    return np.stack([record[:n_steps, :, 0] for record in records], axis=2)


def worst_difference(rides, *, n_steps, n_sub=1, profile=SINGLE, signals=SIGNALS):
    """Return the largest difference of any signal, relative to that signal's largest value."""
    ridden = kernel_signals(rides, n_steps, n_sub, profile, signals)
    profiles = np.tile(profile_to_array(profile), (len(rides), 1))
    _, record = numpy_plant.ride_lanes(
        profiles, rides, n_steps=n_steps, n_sub=n_sub, signals=signals
    )
    plain = np.stack([record[name] for name in signals], axis=1)
    # Once every lane has ended the plain model stops; the kernel records NaN from there on.
    assert np.isnan(ridden[len(plain) :]).all()
    ridden = ridden[: len(plain)]
    np.testing.assert_array_equal(np.isnan(ridden), np.isnan(plain))
    scale = np.maximum(np.nanmax(np.abs(ridden), axis=(0, 2), keepdims=True), LEAST_SCALE)
    return float(np.nanmax(np.abs(ridden - plain) / scale))


@pytest.mark.parametrize(
    "name", ["launch", "tail_down_uphill", "kerb", "cobbles", "brake", "turn", "slippery"]
)
def test_first_seconds_agree_in_every_signal(name):
    rides = invented_rides.rides((name,))

    assert worst_difference(rides, n_steps=2000) < 1e-9


@pytest.mark.parametrize("name", ["launch", "tail_down_uphill", "cobbles", "slippery"])
def test_first_seconds_of_the_nested_structure_agree_in_every_signal(name):
    rides = invented_rides.rides((name,))

    assert worst_difference(rides, n_steps=2000, profile=NESTED) < 1e-9


@pytest.mark.parametrize("name", ["launch", "tail_down_uphill"])
def test_first_seconds_with_faulty_sensors_agree_in_every_signal(name):
    faults = {"imu_tilt_deg": 0.7, "accelerometer_bias_mps2": -0.05, "current_offset_a": 1.3}
    rides = [
        dataclasses.replace(
            ride,
            board=dataclasses.replace(
                ride.board, sensors=dataclasses.replace(ride.board.sensors, **faults)
            ),
        )
        for ride in invented_rides.rides((name,))
    ]

    assert worst_difference(rides, n_steps=1000) < 1e-9


def strained(ride):
    """Return a ride on a board with every effect of motor, drive and pack that others lack."""
    board = ride.board
    motor = dataclasses.replace(board.motor, saturation_ratio=0.2, saturation_current_a=60.0)
    drive = dataclasses.replace(board.drive, regen_taper_v=6.0, field_weakening_a=30.0)
    battery = dataclasses.replace(board.battery, chemistry="lfp", charge_ratio=0.99)
    strained = dataclasses.replace(board, motor=motor, drive=drive, battery=battery)
    return dataclasses.replace(ride, board=strained)


@pytest.mark.parametrize("name", ["launch", "climb", "brake"])
def test_first_seconds_of_a_strained_board_agree_in_every_signal(name):
    # The needed current's inverse is a fitted polynomial there, and exact here.
    rides = [strained(ride) for ride in invented_rides.rides((name,))]
    exact = tuple(signal for signal in SIGNALS if signal != "need_a")

    assert worst_difference(rides, n_steps=2000, signals=exact) < 1e-9
    assert worst_difference(rides, n_steps=2000, signals=("need_a",)) < 2e-3


def test_sub_steps_agree_in_every_signal():
    rides = invented_rides.rides(("climb",))

    assert worst_difference(rides, n_steps=500, n_sub=3) < 1e-9


def test_a_full_block_of_different_riders_and_profiles_agrees():
    short = invented_rides.course(
        "short",
        invented_rides.road(invented_rides.COBBLES),
        invented_rides.manoeuvre(2.0, ((0, 4),)),
    )
    bodies = itertools.islice(itertools.cycle(invented_rides.BODIES), WIDTH + 3)
    rides = [invented_rides.ride(short, mass_kg) for mass_kg in bodies]
    spread = 1.0 + 0.1 * np.random.default_rng(2).uniform(-1.0, 1.0, (len(rides), 1))
    profiles = invented_rides.profile_row() * spread

    lanes, _ = numpy_plant.ride_lanes(profiles, rides)
    ridden = [
        simulate(profile[None, :], [ride]).column("hold_pitch_rms_deg")[0, 0]
        for profile, ride in zip(profiles, rides, strict=True)
    ]

    plain = numpy_measures.metrics(lanes)["hold_pitch_rms_deg"]
    np.testing.assert_allclose(plain, ridden, rtol=1e-7)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(COURSES))
def test_whole_rides_agree_in_every_metric(name):
    rides = invented_rides.rides((name,))
    profiles = np.tile(invented_rides.profile_row(), (len(rides), 1))

    lanes, _ = numpy_plant.ride_lanes(profiles, rides)
    plain = numpy_measures.metrics(lanes)
    ridden = simulate(invented_rides.profile_row()[None, :], rides)

    # Two digital forms of one analogue weighting differ where its gain is small: by 0.2 % over
    # rides to their ends, by 0.6 % where a blow ends a short ride.
    loose = {"vibration_mps2": {"rtol": 0.01, "atol": 1e-4}}
    np.testing.assert_array_equal(lanes.outcome, ridden.outcome[0])
    for metric in METRIC_NAMES:
        np.testing.assert_allclose(
            plain[metric],
            ridden.column(metric)[0],
            **loose.get(metric, {"rtol": 1e-7, "atol": 1e-9}),
            err_msg=metric,
        )
