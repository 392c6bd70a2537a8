"""A ride's bodies against MuJoCo under the same recorded torques."""

import mujoco
import numpy as np
import pytest

from plant.constants import GRAVITY_MPS2
from plant.kernel.lane_layout import R
from plant.kernel.simulate import ride_lanes
from tests import invented_rides
from tests.reference.mujoco_bodies import three_bodies

STATE = ("distance_m", "pitch_rad", "lean_rad", "speed_mps", "pitch_rate_radps", "lean_rate_radps")
FORCES = ("current_a", "board_moment_nm", "wheel_load_n", "road_slope")


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


def in_mujoco(signal, constant, *, grade_rad, first, n_steps, rolling):
    """Return MuJoCo's states (step, coordinate) from the ride's state after step `first`."""
    model = three_bodies(constant, grade_rad=grade_rad, gravity_mps2=GRAVITY_MPS2, step_s=0.001)
    data = mujoco.MjData(model)
    data.qpos[:] = [signal[name][first] for name in STATE[:3]]
    data.qpos[1:] += grade_rad
    data.qvel[:] = [signal[name][first] for name in STATE[3:]]
    states = []
    for step in range(first + 1, first + 1 + n_steps):
        torque = constant["torque_per_amp_nm"] * mean_current(signal, constant, step)
        feet = signal["board_moment_nm"][step]
        speed = data.qvel[0]
        dry = signal["wheel_load_n"][step] * (
            rolling * np.clip(speed / 0.05, -1.0, 1.0) + signal["road_slope"][step]
        )
        air = 0.5 * 1.225 * constant["drag_area_m2"] * speed * abs(speed)
        data.qfrc_applied[:] = [
            torque / constant["wheel_radius_m"] - dry - air,
            feet - torque,
            -feet,
        ]
        mujoco.mj_step(model, data)
        states.append(np.concatenate([data.qpos, data.qvel]))
    states = np.array(states)
    states[:, 1:3] -= grade_rad
    return states


@pytest.mark.parametrize("mass_kg", [40.0, 105.0])
@pytest.mark.parametrize("percent", [0.0, 12.0, -10.0])
def test_mujoco_follows_the_same_ride_under_the_same_torques(percent, mass_kg):
    speed = ((0.0, 3.0), (0.5, 3.0), (1.0, 5.0), (2.0, 2.0))
    along = invented_rides.course(
        "slope",
        invented_rides.road(grade_percent=((-5.0, percent),)),
        invented_rides.manoeuvre(3.0, speed),
    )
    signal, constant = recorded(along, mass_kg)

    first, n_steps = 100, 2000
    states = in_mujoco(
        signal,
        constant,
        grade_rad=np.arctan(percent / 100.0),
        first=first,
        n_steps=n_steps,
        rolling=0.012,
    )

    ridden = np.column_stack([signal[name] for name in STATE])[first + 1 : first + 1 + n_steps]
    assert np.ptp(ridden[:, 2]) > 0.03
    # An unstable plant: what rounds differently grows by e^6 in two seconds.
    np.testing.assert_allclose(states, ridden, atol=1e-6)
