"""Attitude filter, gyro, wheel-speed tracking and reflex delay against closed forms."""

import dataclasses
import math

import numpy as np
import pytest

from plant.constants import GRAVITY_MPS2
from plant.kernel.lane_init import reflex_slots, torque_per_amp
from plant.kernel.lane_layout import WIDTH
from tests import invented, invented_rides
from tests.plant import rig

BOARD = invented.board()
RADIUS_M = BOARD.wheel.wheel_radius_m


def constant_acceleration(acceleration):
    """Return the rows that push the upright board with one acceleration along a flat road."""
    ridden = rig.run(rig.QUIET, seconds=0.001)
    inertia = ridden.end["rolling_mass_kg"][0]
    current = acceleration * inertia * RADIUS_M / torque_per_amp(BOARD.motor.kv_rpm_per_v)
    # Without the frame mode, which the motor's reaction would bend.
    return rig.QUIET | rig.UPRIGHT | rig.held_current(current) | {"flex_rad_per_nm": 0.0}


@pytest.mark.parametrize("acceleration", [1.0, -0.5])
def test_sustained_acceleration_drags_level_by_acceleration_over_gravity(acceleration):
    # The accelerometer feels the vertical tilted forwards by a/g: the board seems nose-up.
    rows = constant_acceleration(acceleration) | {"attitude_time_s": 0.5, "per_attitude_time": 2.0}

    ridden = rig.run(
        rows, seconds=3.0, course=rig.flat(3.0, 6.0), record=("attitude_rad", "accel_mps2")
    )

    time_s = np.arange(1, 3001) * 0.001
    expected = -acceleration / GRAVITY_MPS2 * -np.expm1(-time_s / 0.5)
    np.testing.assert_allclose(ridden.signal["accel_mps2"][-1], acceleration, rtol=1e-3)
    np.testing.assert_allclose(ridden.signal["attitude_rad"][:, 0], expected, atol=3e-4)


def test_attitude_settles_on_the_true_pitch_when_nothing_accelerates():
    rows = {"pitch_rad": 0.1, "attitude_rad": 0.0, "attitude_time_s": 0.5, "per_attitude_time": 2.0}

    ridden = rig.run(rig.QUIET | rig.HELD | rows, seconds=5.0)

    np.testing.assert_allclose(ridden.end["attitude_rad"], 0.1, rtol=1e-4)


def test_gyro_bias_tilts_the_attitude_by_bias_times_filter_time():
    rows = {"gyro_bias_deg_per_s": 0.2, "attitude_time_s": 0.5, "per_attitude_time": 2.0}

    ridden = rig.run(rig.QUIET | rig.HELD | rows, seconds=6.0)

    np.testing.assert_allclose(np.degrees(ridden.end["attitude_rad"]), 0.2 * 0.5, rtol=1e-3)


def with_sensors(**changes):
    return dataclasses.replace(BOARD, sensors=dataclasses.replace(BOARD.sensors, **changes))


def test_a_tilted_imu_and_a_biased_accelerometer_move_level_by_their_angles():
    # Sensed specific force turns by the tilt, and by bias over gravity.
    askew = with_sensors(imu_tilt_deg=0.5, accelerometer_bias_mps2=0.2, attitude_time_s=0.5)

    ridden = rig.run(rig.QUIET | rig.HELD | {"pitch_rad": 0.1}, seconds=6.0, board=askew)

    expected = 0.1 + math.radians(0.5) + 0.2 / GRAVITY_MPS2
    np.testing.assert_allclose(ridden.end["attitude_rad"], expected, rtol=1e-4)


def test_a_ride_begins_at_what_the_sensors_take_for_level():
    askew = with_sensors(imu_tilt_deg=0.5, accelerometer_bias_mps2=0.2)

    ridden = rig.run(rig.QUIET | rig.HELD, seconds=2.0, board=askew)

    level = math.radians(0.5) + 0.2 / GRAVITY_MPS2
    np.testing.assert_allclose(ridden.end["pitch_rad"], -level, rtol=1e-12)
    np.testing.assert_allclose(ridden.end["attitude_rad"], 0.0, atol=1e-12)


def test_the_current_loop_brings_the_measured_current_to_the_wanted_one():
    rows = rig.QUIET | rig.HELD | rig.held_current(20.0)

    ridden = rig.run(rows, seconds=2.0, board=with_sensors(current_offset_a=1.5))

    np.testing.assert_allclose(ridden.end["current_a"], 18.5, rtol=1e-9)
    # And the law compares the measured one with the acceleration.
    np.testing.assert_allclose(ridden.end["current_filtered_a"], 20.0, rtol=1e-6)


def test_wheel_speed_lags_a_steady_acceleration_by_two_over_the_bandwidth():
    # Critically damped second-order tracking: the speed estimate trails by 2 a / w.
    acceleration, pairs = 2.0, 1e6  # so fine an angle that quantisation can not be seen
    rows = constant_acceleration(acceleration)
    rows |= {"counts_per_rad": 6.0 * pairs / (2.0 * math.pi)}
    rows |= {"per_counts_per_rad": 2.0 * math.pi / (6.0 * pairs)}

    ridden = rig.run(
        rows, seconds=1.0, course=rig.flat(1.0, 6.0), record=("speed_mps", "rotor_speed_radps")
    )

    lag = ridden.signal["speed_mps"] / RADIUS_M - ridden.signal["rotor_speed_radps"]
    bandwidth = 2.0 * math.pi * BOARD.sensors.speed_tracking_hz
    expected = 2.0 * acceleration / RADIUS_M / bandwidth
    # A step of one millisecond in the loop adds its own small lag.
    np.testing.assert_allclose(lag[-1], expected, rtol=0.03)


def test_quantised_angle_makes_a_slow_speed_ripple_as_a_sawtooth_through_the_loop():
    # 6 x pole pairs counts a turn: a steady speed is seen as a ramp with a sawtooth of one count,
    # whose harmonics k f pass the loop's s w^2 / (s + w)^2, with s = (z - 1) / dt of a loop that
    # runs every millisecond, so that harmonics beyond 500 Hz come back from there.
    speed = np.array([0.11, 0.23, 0.37, 0.53, 0.71, 0.97, 1.31, 1.73])

    ridden = rig.run(
        rig.QUIET | rig.HELD | {"speed_mps": speed, "rotor_speed_radps": speed / RADIUS_M},
        seconds=8.0,
        course=rig.flat(8.0, 1.0),
        record=("rotor_speed_radps",),
    )

    seen = ridden.signal["rotor_speed_radps"][2000:]
    count = 2.0 * math.pi / (6.0 * BOARD.motor.pole_pairs)
    bandwidth = 2.0 * math.pi * BOARD.sensors.speed_tracking_hz
    harmonic = np.arange(1, 2000)[:, None]
    s = np.expm1(2j * math.pi * harmonic * speed / RADIUS_M / count * 0.001) / 0.001
    gain = np.abs(s * bandwidth**2 / (s + bandwidth) ** 2)
    ripple = np.sqrt(np.sum(0.5 * (count / (math.pi * harmonic) * gain) ** 2, axis=0))
    np.testing.assert_allclose(np.mean(seen, axis=0), speed / RADIUS_M, rtol=5e-3)
    np.testing.assert_allclose(np.std(seen, axis=0), ripple, rtol=0.03)


def test_the_reflex_acts_after_its_delay_and_with_its_lag():
    # A step of the commanded moment at 0.2 s, through the foot pressing of the manoeuvre.
    delay_s = np.array([0.012, 0.04, 0.08, 0.1, 0.12, 0.16, 0.2, 0.24])
    rows = rig.QUIET | rig.HELD
    rows |= {"reflex_delay_slots": np.round(delay_s / 0.004), "foot_use_ratio": 1.0}
    rows |= {"lean_rad": 0.01, "lean_gain_ratio": 0.5, "lean_rate_gain_s": 0.0}

    ridden = rig.run(
        rows, seconds=0.5, record=("foot_command_nm", "foot_delayed_nm", "foot_moment_nm")
    )

    command = ridden.signal["foot_command_nm"]
    assert np.all(command[0] > 1.0)
    for lane in range(WIDTH):
        late = ridden.signal["foot_delayed_nm"][:, lane]
        first = np.flatnonzero(late > 0.5 * command[0, lane])[0] * 0.001
        # Slots of 4 ms hold their last command: the delay is right within one slot.
        assert delay_s[lane] - 0.004 <= first <= delay_s[lane] + 1e-9
        moment = ridden.signal["foot_moment_nm"][:, lane]
        risen = np.flatnonzero(moment > (1.0 - math.exp(-1.0)) * command[0, lane])[0] * 0.001
        assert risen - first == pytest.approx(0.03, abs=0.003)


def test_the_reflex_has_on_the_mean_the_delay_of_the_rider_within_half_a_slot():
    # The lean grows at a steady rate, so the command does: its lag over its slope is the delay.
    delay_s = np.array([0.060, 0.081, 0.097, 0.100, 0.104, 0.110, 0.171, 0.238])
    rows = rig.QUIET | rig.HELD | {"foot_use_ratio": 1.0, "lean_rate_radps": 0.02}
    rows |= {"reflex_delay_slots": [reflex_slots(each) for each in delay_s]}
    rows |= {"lean_gain_ratio": 0.5, "lean_rate_gain_s": 0.0}

    ridden = rig.run(rows, seconds=1.0, record=("foot_command_nm", "foot_delayed_nm"))

    command = ridden.signal["foot_command_nm"][500:900]
    slope = (command[-1] - command[0]) / (0.001 * (len(command) - 1))
    late = np.mean(command - ridden.signal["foot_delayed_nm"][500:900], axis=0) / slope
    np.testing.assert_allclose(late, delay_s, atol=0.0021)
    assert np.mean(late - delay_s) == pytest.approx(0.0, abs=0.001)


def test_a_rider_without_delay_never_answers_to_what_is_long_past():
    instant = invented_rides.rider(80.0, reflex_delay_s=0.0)
    rows = rig.QUIET | rig.HELD | {"lean_rad": 0.01, "lean_gain_ratio": 0.5, "foot_delayed_nm": 0.0}

    ridden = rig.run(
        rows, seconds=0.2, rider=instant, record=("foot_command_nm", "foot_delayed_nm")
    )

    command = ridden.signal["foot_command_nm"][0, 0]
    np.testing.assert_allclose(ridden.signal["foot_delayed_nm"][8:, 0], command, rtol=0.2)
