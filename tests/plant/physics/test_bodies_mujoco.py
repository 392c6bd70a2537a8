"""A ride's bodies against MuJoCo under the same recorded torques."""

import mujoco
import numpy as np
import pytest

from plant.constants import GRAVITY_MPS2
from plant.kernel.lane_layout import R
from plant.kernel.simulate import ride_lanes
from tests import invented_rides
from tests.reference.mujoco_bodies import lean_back, three_bodies

STATE = ("distance_m", "pitch_rad", "lean_rad", "speed_mps", "pitch_rate_radps", "lean_rate_radps")
FORCES = (
    "current_a",
    "board_moment_nm",
    "wheel_load_n",
    "leg_load_n",
    "wheel_accel_mps2",
    "road_slope",
    "road_grade_rad",
    "road_curvature_per_m",
)


def recorded(along, mass_kg):
    """Return a ride's states and forces at every step, and its constants, by name."""
    ride = invented_rides.ride(along, mass_kg)
    names = STATE + FORCES
    probe = (tuple(R[name] for name in names), 1)
    buffer, record = ride_lanes(invented_rides.profile_row()[None, :], ride, probe=probe)
    signal = {name: record[:, place, 0] for place, name in enumerate(names)}
    return signal, {name: buffer[R[name]] for name in R.__members__}


def mean_current(signal, constant, step):
    """Return the mean current in A over a step, on its exponential way from start to end."""
    start, end = signal["current_a"][step - 1], signal["current_a"][step]
    share = constant["current_share"]
    lag_steps = -1.0 / np.log1p(-share)
    return start + (end - start) * (1.0 / share - lag_steps)


def in_mujoco(signal, constant, *, first, n_steps, rolling):
    """Return MuJoCo's states (step, coordinate) from the ride's state after step `first`.

    What board and rider do along the road's normal acts as d'Alembert's forces at their centres.
    """
    model = three_bodies(constant, step_s=0.001)
    data = mujoco.MjData(model)
    state = np.array([signal[name][first] for name in STATE])
    states = []
    for step in range(first + 1, first + 1 + n_steps):
        grade, speed = signal["road_grade_rad"][step], state[3]
        lean_back(model, grade_rad=grade, gravity_mps2=GRAVITY_MPS2)
        data.qpos[:] = state[:3] + np.array([0.0, grade, -state[1]])
        data.qvel[:] = state[3:] - np.array([0.0, 0.0, state[4]])
        torque = constant["torque_per_amp_nm"] * mean_current(signal, constant, step)
        feet = signal["board_moment_nm"][step]
        dry = signal["wheel_load_n"][step] * (
            rolling * np.clip(speed / 0.05, -1.0, 1.0) + signal["road_slope"][step]
        )
        air = 0.5 * 1.225 * constant["drag_area_m2"] * speed * abs(speed)
        axle = signal["wheel_accel_mps2"][step] + speed**2 * signal["road_curvature_per_m"][step]
        legs = signal["leg_load_n"][step] / constant["mass_kg"] - GRAVITY_MPS2 * np.cos(grade)
        data.body("board").xfrc_applied[2] = -constant["frame_mass_kg"] * axle
        data.body("rider").xfrc_applied[2] = -constant["mass_kg"] * legs
        data.qfrc_applied[:] = [
            torque / constant["wheel_radius_m"] - dry - air,
            -torque,
            -feet,
        ]
        mujoco.mj_step(model, data)
        state = np.concatenate([data.qpos, data.qvel])
        state[1] -= grade
        state[2] += state[1]
        state[5] += state[4]
        states.append(state)
    return np.array(states)


def assert_mujoco_follows(along, mass_kg, *, rolling):
    signal, constant = recorded(along, mass_kg)

    ridden = np.column_stack([signal[name] for name in STATE])
    assert np.ptp(ridden[100:2100, 2]) > 0.03
    n_steps = 400  # an unstable plant: in 0.4 s what rounds differently grows by e^5
    for first in range(100, 2100, n_steps):
        states = in_mujoco(signal, constant, first=first, n_steps=n_steps, rolling=rolling)
        np.testing.assert_allclose(states, ridden[first + 1 : first + 1 + n_steps], atol=1e-7)
    return signal


@pytest.mark.parametrize("mass_kg", [40.0, 105.0])
@pytest.mark.parametrize("percent", [0.0, 12.0, -10.0])
def test_mujoco_follows_the_same_ride_under_the_same_torques(percent, mass_kg):
    speed = ((0.0, 3.0), (0.4, 3.0), (1.0, 6.0), (2.0, 2.0))
    along = invented_rides.course(
        "slope",
        invented_rides.road(grade_percent=((-5.0, percent),)),
        invented_rides.manoeuvre(3.0, speed),
    )

    assert_mujoco_follows(along, mass_kg, rolling=0.012)


@pytest.mark.parametrize("mass_kg", [40.0, 105.0])
def test_mujoco_follows_over_a_crest_and_through_a_dip_of_cobbles(mass_kg):
    along = invented_rides.course(
        "crest",
        invented_rides.road(
            invented_rides.COBBLES,
            grade_percent=((-5.0, 12.0), (3.0, -8.0), (7.0, 6.0)),
            grade_blend_m=1.5,
        ),
        invented_rides.manoeuvre(3.0, ((0.0, 4.0),)),
    )

    signal = assert_mujoco_follows(along, mass_kg, rolling=invented_rides.COBBLES.rolling_ratio)

    centripetal = signal["speed_mps"] ** 2 * signal["road_curvature_per_m"]
    assert np.nanmax(np.abs(centripetal)) > 2.0
    assert np.nanmax(np.abs(signal["wheel_accel_mps2"])) > 10.0
