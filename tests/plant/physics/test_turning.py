"""A turn: what gyros and accelerometer of a banked board feel, and what the filter makes of it.

Kinematics are held against MuJoCo's sensors and against rotation matrices differentiated by sympy;
the filter against closed forms here and against ahrs in test_attitude_package.py.
"""

import math

import mujoco
import numpy as np
import pytest
import sympy

from plant.constants import DEG_PER_RAD, DT_S, GRAVITY_MPS2
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.lane_init import torque_per_amp
from plant.physics.attitude import estimated, felt_tilt
from plant.physics.control import turn_response
from plant.physics.turning import felt_pitch_rate, leaned, rolling_radius
from tests import invented, invented_rides
from tests.plant import rig

# A sensor on a board that goes round a centre at its left, the way ahead along +x.
_ROUND = """
<mujoco>
  <compiler angle="radian" eulerseq="zxy"/>
  <option gravity="0 0 -{gravity}"/>
  <worldbody>
    <body>
      <joint name="yaw" type="hinge" axis="0 0 1"/>
      <inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>
      <body pos="0 {minus_radius_m} 0" euler="0 {minus_roll} {pitch}">
        <joint name="pitch" type="hinge" axis="0 1 0"/>
        <inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>
        <site name="sensor"/>
      </body>
    </body>
  </worldbody>
  <sensor><gyro site="sensor"/><accelerometer site="sensor"/></sensor>
</mujoco>
"""


def sensors(*, speed_mps, yaw_rate, roll, pitch, pitch_rate=0.0):
    """Return MuJoCo's gyro and accelerometer, each (3,), on a board in a steady turn."""
    model = mujoco.MjModel.from_xml_string(
        _ROUND.format(
            gravity=GRAVITY_MPS2,
            minus_radius_m=-speed_mps / yaw_rate,
            minus_roll=-roll,
            pitch=pitch,
        )
    )
    data = mujoco.MjData(model)
    data.qvel[:] = [yaw_rate, pitch_rate]
    mujoco.mj_forward(model, data)
    gyro, accelerometer = np.split(data.sensordata, 2)
    return gyro, accelerometer


@pytest.mark.parametrize("yaw_rate", [0.8, -1.4])
@pytest.mark.parametrize("pitch_rate", [0.0, 0.3])
def test_the_gyro_of_a_banked_board_feels_it_rear_up_by_yaw_rate_times_sine_of_roll(
    yaw_rate, pitch_rate
):
    _, roll_s, roll_c, _ = leaned(4.0 * yaw_rate, 0.0, 0.9)
    roll = math.atan2(roll_s, roll_c)

    gyro, _ = sensors(
        speed_mps=4.0, yaw_rate=yaw_rate, roll=roll, pitch=0.06, pitch_rate=pitch_rate
    )

    assert felt_pitch_rate(pitch_rate, yaw_rate, roll_s) == pytest.approx(gyro[1], abs=1e-9)
    assert felt_pitch_rate(0.0, yaw_rate, roll_s) < -0.2  # nose up, left and right alike


@pytest.mark.parametrize("ratio", [1.0, 0.7, 0.0])
def test_the_accelerometer_of_a_banked_board_feels_the_turn(ratio):
    speed, yaw_rate, pitch = 5.0, 0.8, 0.05
    lateral = speed * yaw_rate
    _, roll_s, roll_c, _ = leaned(lateral, 0.0, ratio)

    _, force = sensors(
        speed_mps=speed, yaw_rate=yaw_rate, roll=math.atan2(roll_s, roll_c), pitch=pitch
    )

    pitch_felt, roll_felt = felt_tilt(pitch, 0.0, GRAVITY_MPS2, lateral, roll_s, roll_c)
    assert pitch_felt == pytest.approx(math.atan2(-force[0], force[2]), abs=1e-9)
    # A body rolled to its left without turning would feel its left side low: -y.
    level_z = math.hypot(force[0], force[2])
    assert roll_felt == pytest.approx(-force[1] / level_z, abs=0.01)
    assert roll_felt == pytest.approx(0.0, abs=1e-12) if ratio == 1.0 else abs(roll_felt) > 0.1


def test_rates_of_yaw_roll_and_pitch_are_those_of_the_rotation_matrix():
    # The angular velocity in the board's axes is R^T R', for both orders of the angles.
    t = sympy.Symbol("t")
    yaw, roll, pitch, bank = (sympy.Function(name)(t) for name in ("yaw", "roll", "pitch", "bank"))
    about_x = sympy.Matrix([[1, 0, 0], [0, sympy.cos(roll), sympy.sin(roll)],
                            [0, -sympy.sin(roll), sympy.cos(roll)]])  # fmt: skip
    ours = sympy.rot_ccw_axis3(yaw) * about_x * sympy.rot_ccw_axis2(pitch)
    aerospace = sympy.rot_ccw_axis3(yaw) * sympy.rot_ccw_axis2(pitch) * sympy.rot_ccw_axis1(bank)

    def rates(rotation):
        spin = rotation.T * rotation.diff(t)
        return [sympy.simplify(spin[place]) for place in ((2, 1), (0, 2), (1, 0))]

    p, q, r = rates(ours)
    yaw_d, roll_d, pitch_d = (angle.diff(t) for angle in (yaw, roll, pitch))
    sin, cos = sympy.sin, sympy.cos
    assert sympy.simplify(p + roll_d * cos(pitch) + yaw_d * cos(roll) * sin(pitch)) == 0
    assert sympy.simplify(q - (pitch_d - yaw_d * sin(roll))) == 0
    assert sympy.simplify(r - (yaw_d * cos(roll) * cos(pitch) - roll_d * sin(pitch))) == 0
    # Solved for the angles, as the filter integrates them.
    assert sympy.simplify(r * cos(pitch) - p * sin(pitch) - yaw_d * cos(roll)) == 0
    assert sympy.simplify(-p * cos(pitch) - r * sin(pitch) - roll_d) == 0
    # The same rate in the order yaw, pitch, roll: q = theta' cos(phi) + psi' cos(theta) sin(phi).
    _, q_aerospace, _ = rates(aerospace)
    textbook = pitch_d * cos(bank) + yaw_d * cos(pitch) * sin(bank)
    assert sympy.simplify(q_aerospace - textbook) == 0


def test_roll_is_the_coordinated_lean_and_its_rate_the_derivative():
    time_s = np.linspace(0.0, 2.0, 4001)
    lateral = 4.0 * np.sin(1.3 * time_s)
    rate = 4.0 * 1.3 * np.cos(1.3 * time_s)

    def found(ratio):
        return np.array([leaned(*each, ratio) for each in zip(lateral, rate, strict=True)])

    lean = np.arctan(lateral / GRAVITY_MPS2)  # textbooks: tan(lean) = lateral / g
    _, roll_s, roll_c, _ = found(1.0).T
    np.testing.assert_allclose(np.arctan2(roll_s, roll_c), lean, atol=1e-12)
    _, roll_s, roll_c, roll_rate = found(0.8).T
    np.testing.assert_allclose(np.hypot(roll_s, roll_c), 1.0, atol=1e-12)
    roll = np.arctan2(roll_s, roll_c)
    np.testing.assert_allclose(roll, 0.8 * lean, rtol=0.01)
    np.testing.assert_allclose(roll_rate[5:-5], np.gradient(roll, time_s)[5:-5], atol=1e-5)


@pytest.mark.parametrize("lateral", [0.0, 2.5, -4.7])
def test_what_a_leaning_body_weighs_agrees_with_the_roll(lateral):
    # At the coordinated lean gravity and the turn point along the body, and nothing tips it over.
    weight, roll_s, roll_c, _ = leaned(lateral, 0.0, 1.0)

    along = GRAVITY_MPS2 * roll_c + lateral * roll_s
    across = GRAVITY_MPS2 * roll_s - lateral * roll_c
    assert weight == pytest.approx(along, rel=1e-12)
    assert weight == pytest.approx(math.hypot(GRAVITY_MPS2, lateral), rel=1e-12)
    assert across == pytest.approx(0.0, abs=1e-12)


def test_in_a_long_turn_the_filter_takes_a_level_board_for_nose_up():
    # The estimated vertical e (a small vector across the true one) follows
    # e' = -psi' x e + (a - e) / T with the apparent vertical a, which leans out by the roll beta:
    # in the end e = -beta / (1 + T psi' i), so pitch is off by beta T psi' / (1 + (T psi')^2)
    # and roll by beta / (1 + (T psi')^2), each times the share of the turn that is felt.
    time_s, yaw_rate, speed, felt = 0.8, 0.6, 1.5, 0.7
    course = invented_rides.course(
        "round",
        invented_rides.road(rig.SMOOTH),
        invented_rides.manoeuvre(
            8.0, ((0.0, speed),), turn_deg_per_s=((0.0, math.degrees(yaw_rate)),)
        ),
    )
    rows = {"per_attitude_time": 1.0 / time_s, "turn_felt_ratio": felt}

    ridden = rig.run(rig.QUIET | rig.HELD | rows, seconds=8.0, course=course)

    roll = math.atan(yaw_rate * speed / GRAVITY_MPS2)
    turned = time_s * yaw_rate
    off = felt * roll / (1.0 + turned**2)
    np.testing.assert_allclose(ridden.end["pitch_rad"], 0.0, atol=1e-9)
    np.testing.assert_allclose(ridden.end["attitude_rad"], -off * turned, rtol=0.01)
    np.testing.assert_allclose(ridden.end["roll_seen_rad"] - roll, -off, rtol=0.01)
    np.testing.assert_allclose(ridden.end["yaw_seen_radps"], yaw_rate, rtol=0.01)


def lift_of(time_s, *, yaw_rate, roll, roll_rate, pitch, gyro):
    """Return the turn response's lift in deg at each step of a motion, and its yaw rates."""
    attitude = roll_seen = lag_1 = lag_2 = 0.0
    lifts, yaws = [], []
    for step in range(len(time_s)):
        roll_s, roll_c = math.sin(roll[step]), math.cos(roll[step])
        attitude, roll_seen, yaw_seen = estimated(
            attitude, roll_seen, pitch[step], gyro[step], yaw_rate[step], roll_c,
            roll_rate[step], pitch[step], roll_s / roll_c, 0.25, DT_S,
        )  # fmt: skip
        lag_1, lag_2, lift = turn_response(lag_1, lag_2, abs(yaw_seen * 4.0), DT_S / 0.3, 1.0, 9.0)
        lifts.append(lift)
        yaws.append(yaw_seen)
    return np.array(lifts), np.array(yaws)


def test_side_to_side_rocking_without_yaw_does_not_lift_the_nose():
    # As on rough ground: 12 deg to either side at 2 Hz, while the board pitches by 6 deg.
    time_s = np.arange(4000) * DT_S
    swing = 2.0 * math.pi * 2.0
    roll, roll_rate = 0.21 * np.sin(swing * time_s), 0.21 * swing * np.cos(swing * time_s)
    pitch, pitch_rate = 0.1 * np.sin(swing * time_s), 0.1 * swing * np.cos(swing * time_s)
    none = np.zeros_like(time_s)

    rocking, yaws = lift_of(
        time_s, yaw_rate=none, roll=roll, roll_rate=roll_rate, pitch=pitch, gyro=pitch_rate
    )
    turning, _ = lift_of(
        time_s,
        yaw_rate=none + 0.8,
        roll=none + 0.3,
        roll_rate=none,
        pitch=none,
        gyro=none - 0.8 * math.sin(0.3),
    )

    # The board's own z axis turns while it rocks; taken for yaw it would lift by a third of one.
    about_z = -roll_rate * np.sin(pitch)
    assert np.mean(4.0 * np.abs(about_z)) > 0.3
    assert np.abs(yaws).max() < 0.02
    assert rocking.max() < 0.05
    assert turning[-1] == pytest.approx(3.2, rel=0.1)


def test_a_turn_presses_the_nose_down_through_damping_alone_by_its_gain():
    # A perfect filter (no correction) and stiffness alone against damping: rate gain times
    # psi' sin(beta) is what the stiffness then balances.
    profile = invented_rides.profile_row()
    for name, value in {
        "turn_gain_deg_per_mps2": 0.0, "integral_gain_a_per_deg_s": 0.0,
        "uphill_gain_deg_per_mps2": 0.0, "downhill_gain_deg_per_mps2": 0.0,
        "stiffness_lift_per_mps2": 0.0, "warning_lift_deg": 0.0,
        "braking_damping_ratio": 1.0, "braking_stiffness_ratio": 1.0,
    }.items():  # fmt: skip
        profile[PROFILE_NAMES.index(name)] = value
    course = invented_rides.course(
        "round",
        invented_rides.road(rig.SMOOTH),
        invented_rides.manoeuvre(3.0, ((0.0, 4.0),), turn_deg_per_s=((0.0, 45.0),)),
    )
    rows = rig.QUIET | rig.HELD | {"per_attitude_time": 0.0}

    ridden = rig.run(rows, seconds=3.0, course=course, profile=profile)

    yaw_rate = math.radians(45.0)
    roll = math.atan(4.0 * yaw_rate / GRAVITY_MPS2)
    damping = profile[PROFILE_NAMES.index("rate_gain_a_per_deg_per_s")]
    expected = -damping * yaw_rate * math.sin(roll) * DEG_PER_RAD
    stiffness = profile[PROFILE_NAMES.index("inner_gain_a_per_deg")]
    seen = np.degrees(ridden.end["attitude_rad"]) * stiffness
    np.testing.assert_allclose(ridden.end["current_raw_a"], expected + seen, rtol=0.01)


def test_a_rolled_wheel_rolls_where_its_torus_touches_the_ground():
    # Points of a torus's section, rolled over: the lowest of them, and its distance from the axle.
    radius, crown, roll = 0.14, 0.05, 0.45
    around = np.linspace(0.0, 2.0 * math.pi, 200001)
    across, outwards = crown * np.sin(around), radius - crown + crown * np.cos(around)
    lowest = np.argmin(across * math.sin(roll) - outwards * math.cos(roll))

    assert rolling_radius(radius, crown, math.cos(roll)) == pytest.approx(outwards[lowest])


def test_in_a_turn_the_wheel_speed_reads_high_and_a_current_pushes_harder():
    yaw_rate, speed, current = math.radians(45.0), 5.0, 20.0
    course = invented_rides.course(
        "round",
        invented_rides.road(invented_rides.surface(0.0, 1.5, 0.0)),
        invented_rides.manoeuvre(
            3.0, ((0.0, speed),), turn_deg_per_s=((0.0, math.degrees(yaw_rate)),)
        ),
    )
    record = ("rotor_speed_radps", "accel_mps2")
    rows = rig.QUIET | rig.HELD | rig.held_current(current) | {"scrub_ratio": 0.0}

    ridden = rig.run(rows, seconds=3.0, course=course, record=record)

    wheel = invented.board().wheel
    roll = math.atan(yaw_rate * speed / GRAVITY_MPS2)
    radius = wheel.wheel_radius_m - wheel.crown_radius_m * (1.0 - math.cos(roll))
    read = np.mean(ridden.signal["rotor_speed_radps"][-1000:])
    # The rotor turns against a board that itself goes round with psi' sin(beta).
    assert read == pytest.approx(speed / radius + yaw_rate * math.sin(roll), rel=1e-3)
    assert read * wheel.wheel_radius_m > 1.03 * speed
    torque_nm = torque_per_amp(invented.board().motor.kv_rpm_per_v) * current
    push_n = ridden.signal["accel_mps2"][-1] * ridden.end["rolling_mass_kg"]
    np.testing.assert_allclose(push_n, torque_nm / radius, rtol=1e-3)
