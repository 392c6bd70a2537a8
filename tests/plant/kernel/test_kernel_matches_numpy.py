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


def of_each(names):
    """Return every rider on each of the named courses, with the same noise on each."""
    return [ride for name in names for ride in invented_rides.rides((name,))]


def worst_differences(rides, *, n_steps, n_sub=1, profile=SINGLE):
    """Return the largest difference of each signal, relative to its largest value, by course.

    The plain model rides all of them at once: a step of one lane takes it as long as one of many.
    """
    ridden = kernel_signals(rides, n_steps, n_sub, profile, SIGNALS)
    profiles = np.tile(profile_to_array(profile), (len(rides), 1))
    _, record = numpy_plant.ride_lanes(
        profiles, rides, n_steps=n_steps, n_sub=n_sub, signals=SIGNALS
    )
    plain = np.stack([record[name] for name in SIGNALS], axis=1)
    # Once every lane has ended the plain model stops; the kernel records NaN from there on.
    assert np.isnan(ridden[len(plain) :]).all()
    ridden = ridden[: len(plain)]
    np.testing.assert_array_equal(np.isnan(ridden), np.isnan(plain))
    courses = np.array([ride.course.name for ride in rides])
    return {
        name: _relative(ridden[..., courses == name], plain[..., courses == name])
        for name in dict.fromkeys(courses)
    }


def _relative(ridden, plain):
    """Return the largest difference of each signal, relative to its largest value, (signal,)."""
    scale = np.maximum(np.nanmax(np.abs(ridden), axis=(0, 2)), LEAST_SCALE)
    return np.nanmax(np.abs(ridden - plain), axis=(0, 2)) / scale


FIRST = ("launch", "tail_down_uphill", "kerb", "cobbles", "brake", "turn", "slippery")
FIRST_NESTED = ("launch", "tail_down_uphill", "cobbles", "slippery")
FIRST_FAULTY = ("launch", "tail_down_uphill")
FIRST_STRAINED = ("launch", "climb", "brake")


@pytest.fixture(scope="module")
def first_seconds():
    return worst_differences(of_each(FIRST), n_steps=2000)


@pytest.mark.parametrize("name", FIRST)
def test_first_seconds_agree_in_every_signal(name, first_seconds):
    assert first_seconds[name].max() < 1e-9


@pytest.fixture(scope="module")
def first_seconds_nested():
    return worst_differences(of_each(FIRST_NESTED), n_steps=2000, profile=NESTED)


@pytest.mark.parametrize("name", FIRST_NESTED)
def test_first_seconds_of_the_nested_structure_agree_in_every_signal(name, first_seconds_nested):
    assert first_seconds_nested[name].max() < 1e-9


@pytest.fixture(scope="module")
def first_seconds_faulty():
    return worst_differences([faulty(ride) for ride in of_each(FIRST_FAULTY)], n_steps=1000)


def faulty(ride):
    """Return a ride on a board whose sensors are mounted askew and biased."""
    faults = {"imu_tilt_deg": 0.7, "accelerometer_bias_mps2": -0.05, "current_offset_a": 1.3}
    sensors = dataclasses.replace(ride.board.sensors, **faults)
    return dataclasses.replace(ride, board=dataclasses.replace(ride.board, sensors=sensors))


@pytest.mark.parametrize("name", FIRST_FAULTY)
def test_first_seconds_with_faulty_sensors_agree_in_every_signal(name, first_seconds_faulty):
    assert first_seconds_faulty[name].max() < 1e-9


def strained(ride):
    """Return a ride on a board with every effect of motor, drive and pack that others lack."""
    board = ride.board
    motor = dataclasses.replace(board.motor, saturation_ratio=0.2, saturation_current_a=60.0)
    drive = dataclasses.replace(board.drive, regen_taper_v=6.0, field_weakening_a=30.0)
    battery = dataclasses.replace(board.battery, chemistry="lfp", charge_ratio=0.99)
    strained = dataclasses.replace(board, motor=motor, drive=drive, battery=battery)
    return dataclasses.replace(ride, board=strained)


@pytest.fixture(scope="module")
def first_seconds_strained():
    return worst_differences([strained(ride) for ride in of_each(FIRST_STRAINED)], n_steps=2000)


@pytest.mark.parametrize("name", FIRST_STRAINED)
def test_first_seconds_of_a_strained_board_agree_in_every_signal(name, first_seconds_strained):
    # The needed current's inverse is a fitted polynomial there, and exact here.
    fitted = np.array(SIGNALS) == "need_a"

    assert first_seconds_strained[name][~fitted].max() < 1e-9
    assert first_seconds_strained[name][fitted].max() < 2e-3


def test_sub_steps_agree_in_every_signal():
    worst = worst_differences(of_each(["climb"]), n_steps=500, n_sub=3)

    assert worst["climb"].max() < 1e-9


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


@pytest.fixture(scope="module")
def whole_rides():
    """Return outcomes and metrics of whole rides by the plain model, each (lane,)."""
    rides = of_each(COURSES)
    profiles = np.tile(invented_rides.profile_row(), (len(rides), 1))
    lanes, _ = numpy_plant.ride_lanes(profiles, rides)
    return lanes.outcome, numpy_measures.metrics(lanes)


@pytest.mark.parametrize("name", list(COURSES))
def test_whole_rides_agree_in_every_metric(name, whole_rides):
    outcome, plain = whole_rides
    here = np.array([ride.course.name == name for ride in of_each(COURSES)])

    ridden = simulate(invented_rides.profile_row()[None, :], invented_rides.rides((name,)))

    # Two digital forms of one analogue weighting differ where its gain is small: by 0.2 % over
    # rides to their ends, by 0.6 % where a blow ends a short ride.
    loose = {"vibration_mps2": {"rtol": 0.01, "atol": 1e-4}}
    np.testing.assert_array_equal(outcome[here], ridden.outcome[0])
    for metric in METRIC_NAMES:
        np.testing.assert_allclose(
            plain[metric][here],
            ridden.column(metric)[0],
            **loose.get(metric, {"rtol": 1e-7, "atol": 1e-9}),
            err_msg=metric,
        )
