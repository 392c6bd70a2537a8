"""The attitude filter against ahrs, a package of attitude estimators, on recorded motion.

A ride is recorded with its gyro and what an accelerometer feels; ahrs's complementary filter runs
over the same signals. Its gain g weighs the gyro against the accelerometer at each sample, which
is a time constant of g dt / (1 - g). A ride through bends is given to its quaternion filter of
Mahony, which integrates three gyros in space; its gain is one over the time constant.
"""

import numpy as np
import pytest
from ahrs import Quaternion
from ahrs.filters import Complementary, Mahony

from plant.constants import GRAVITY_MPS2
from plant.kernel.lane_init import torque_per_amp
from tests import invented, invented_rides
from tests.plant import rig

SIGNALS = (
    "gyro_radps",
    "attitude_rad",
    "pitch_rad",
    "flex_rad",
    "accel_mps2",
    "road_grade_rad",
)


def recorded(time_s):
    """Return the signals of a lively ride by name, (step,), with a filter of that time constant."""
    course = invented_rides.course(
        "lively",
        invented_rides.road(rig.SMOOTH, grade_percent=((0.0, 0.0), (8.0, 6.0), (16.0, -4.0))),
        invented_rides.manoeuvre(8.0, ((0.0, 2.0), (1.0, 2.0), (3.0, 4.5), (5.0, 4.5), (7.0, 2.0))),
    )
    ridden = rig.run(
        {"attitude_time_s": time_s, "per_attitude_time": 1.0 / time_s, "gyro_noise_per_mps2": 0.0},
        seconds=8.0,
        course=course,
        profile=invented_rides.profile_row(),
        record=SIGNALS,
    )
    signal = {name: values[:, 0] for name, values in ridden.signal.items()}
    assert np.isfinite(signal["attitude_rad"]).all()
    return signal


def current_for(acceleration):
    """Return the current that pushes the rig's upright board with that acceleration, in A."""
    board = invented.board()
    inertia = rig.run(rig.QUIET, seconds=0.001).end["rolling_mass_kg"][0]
    torque_nm = acceleration * inertia * board.wheel.wheel_radius_m
    return torque_nm / torque_per_amp(board.motor.kv_rpm_per_v)


def felt(signal):
    """Return gyro and accelerometer of each step in the package's axes, (step, 3).

    Each step's filter sees the accelerometer of the step before. The package's angle is the roll
    of a body whose y points along the ride: arctan2(ay, az), positive with the nose up.
    """
    before = {name: np.concatenate([[0.0], values[:-1]]) for name, values in signal.items()}
    board = before["pitch_rad"] + before["flex_rad"]
    along = before["accel_mps2"] * np.cos(before["road_grade_rad"])
    up = GRAVITY_MPS2 + before["accel_mps2"] * np.sin(before["road_grade_rad"])
    zero = np.zeros_like(board)
    # The specific force, turned into the board.
    forward = along * np.cos(board) - up * np.sin(board)
    upward = along * np.sin(board) + up * np.cos(board)
    gyro = np.column_stack([-signal["gyro_radps"], zero, zero])
    return gyro, np.column_stack([zero, forward, upward])


@pytest.mark.parametrize("time_s", [0.5, 3.0])
def test_attitude_follows_the_packages_filter_over_a_ride(time_s):
    signal = recorded(time_s)
    gyro, accelerometer = felt(signal)
    gain = time_s / (time_s + 0.001)

    package = Complementary(
        gyr=gyro, acc=accelerometer, frequency=1000.0, gain=gain, w0=np.zeros(3)
    )

    theirs = -np.asarray(package.W)[:, 0]
    swing = np.ptp(signal["attitude_rad"])
    assert swing > np.radians(4.0)
    assert np.abs(theirs - signal["attitude_rad"]).max() < 0.02 * swing


def test_sustained_acceleration_tilts_both_filters_by_acceleration_over_gravity():
    # A made motion: a level board pushed by 1.5 m/s2 for ten time constants. The apparent
    # vertical of the textbooks leans by atan(a / g); the plant's filter takes a / g for it.
    acceleration, time_s, n_steps = 1.5, 0.3, 3000
    rest = np.zeros((n_steps, 3))
    pushed = np.tile([0.0, acceleration, GRAVITY_MPS2], (n_steps, 1))

    package = Complementary(
        gyr=rest, acc=pushed, frequency=1000.0, gain=time_s / (time_s + 0.001), w0=np.zeros(3)
    )

    theirs = -np.asarray(package.W)[-1, 0]
    ridden = rig.run(
        rig.QUIET
        | rig.UPRIGHT
        | rig.held_current(current_for(acceleration))
        | {"attitude_time_s": time_s, "per_attitude_time": 1.0 / time_s, "flex_rad_per_nm": 0.0},
        seconds=3.0,
        course=rig.flat(3.0, 6.0),
        record=("attitude_rad", "accel_mps2"),
    )
    ours = ridden.signal["attitude_rad"][-1, 0]
    assert ridden.signal["accel_mps2"][-1, 0] == pytest.approx(acceleration, rel=1e-3)
    assert theirs == pytest.approx(-np.arctan(acceleration / GRAVITY_MPS2), rel=1e-3)
    assert ours == pytest.approx(theirs, abs=np.radians(0.1))


TURNING = (
    *SIGNALS,
    "yaw_rate_radps",
    "roll_sine",
    "roll_cosine",
    "roll_rate_radps",
    "lateral_mps2",
    "roll_seen_rad",
    "yaw_seen_radps",
)


def turning(time_s, *, roll_ratio, felt):
    """Return the signals of a ride through two bends by name, (step,)."""
    course = invented_rides.course(
        "bends",
        invented_rides.road(rig.SMOOTH, grade_percent=((0.0, 0.0), (20.0, 4.0))),
        invented_rides.manoeuvre(
            9.0,
            ((0.0, 4.0), (3.0, 4.0), (4.0, 5.0)),
            turn_deg_per_s=((0.5, 0.0), (1.3, 45.0), (4.0, 45.0), (5.6, -45.0), (9.0, -45.0)),
        ),
    )
    ridden = rig.run(
        {
            "attitude_time_s": time_s,
            "per_attitude_time": 1.0 / time_s,
            "gyro_noise_per_mps2": 0.0,
            "roll_ratio": roll_ratio,
            "turn_felt_ratio": felt,
        },
        seconds=9.0,
        course=course,
        profile=invented_rides.profile_row(),
        record=TURNING,
    )
    signal = {name: values[:, 0] for name, values in ridden.signal.items()}
    assert np.isfinite(signal["attitude_rad"]).all()
    return signal


def felt_in_space(signal, felt):
    """Return three gyros and accelerometers of each step, (step, 3): forwards, left and up.

    The rates are those of the rotation matrix of yaw, roll into the turn (right side up, about
    the axis ahead) and pitch; test_turning.py derives them. The accelerometer feels the share
    `felt` of the turn's acceleration, for the rest has been taken off.
    """
    before = {name: np.concatenate([[0.0], values[:-1]]) for name, values in signal.items()}
    before["roll_cosine"][0] = 1.0
    pitch = before["pitch_rad"] + before["flex_rad"]
    along, upright = np.cos(pitch), np.sin(pitch)
    levelled = before["yaw_rate_radps"] * before["roll_cosine"]
    rolling = before["roll_rate_radps"]
    gyro = np.column_stack(
        [
            -rolling * along - levelled * upright,
            signal["gyro_radps"],
            levelled * along - rolling * upright,
        ]
    )
    forwards = before["accel_mps2"] * np.cos(before["road_grade_rad"])
    up = GRAVITY_MPS2 + before["accel_mps2"] * np.sin(before["road_grade_rad"])
    roll_s, roll_c = before["roll_sine"], before["roll_cosine"]
    lateral = felt * before["lateral_mps2"]
    across = up * roll_c + lateral * roll_s
    left = lateral * roll_c - up * roll_s
    force = np.column_stack(
        [forwards * along - across * upright, left, forwards * upright + across * along]
    )
    return gyro, force


@pytest.mark.parametrize(
    ("time_s", "roll_ratio", "felt"), [(4.0, 1.0, 1.0), (1.5, 1.0, 0.5), (4.0, 0.6, 0.1)]
)
def test_attitude_follows_the_packages_quaternion_filter_through_bends(time_s, roll_ratio, felt):
    signal = turning(time_s, roll_ratio=roll_ratio, felt=felt)
    gyro, force = felt_in_space(signal, felt)

    package = Mahony(
        gyr=gyro,
        acc=force,
        frequency=1000.0,
        k_P=1.0 / time_s,
        k_I=1e-9,  # it takes no zero
        q0=np.array([1.0, 0.0, 0.0, 0.0]),
    )

    up = np.array([Quaternion(q).to_DCM()[2] for q in package.Q])  # the vertical in the body
    pitch, roll = np.arctan2(-up[:, 0], up[:, 2]), -np.arcsin(up[:, 1])
    swing = np.ptp(signal["attitude_rad"])
    assert np.ptp(signal["roll_seen_rad"]) > np.radians(15.0)
    assert np.abs(pitch - signal["attitude_rad"]).max() < 0.05 * swing
    assert np.abs(roll - signal["roll_seen_rad"]).max() < 0.03 * np.ptp(roll)
