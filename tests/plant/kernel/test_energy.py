"""Energy is kept: what bodies and battery lose is what forces and losses take."""

import numpy as np
import pytest

from plant.constants import GRAVITY_MPS2
from plant.kernel.lane_layout import R
from plant.kernel.simulate import ride_lanes, simulate
from tests import invented, invented_rides
from tests.plant import rig
from tests.reference.constants import LEG_FREQUENCY_HZ

BODIES = (
    "distance_m",
    "speed_mps",
    "pitch_rad",
    "pitch_rate_radps",
    "lean_rad",
    "lean_rate_radps",
)
FORCES = ("current_a", "board_moment_nm", "wheel_load_n", "road_slope", "bus_v", "power_w")


def body_energy(signal, constant, grade_rad):
    """Return kinetic and potential energy of wheel, board and rider along a slope, in J."""
    speed = signal["speed_mps"]
    energy = 0.5 * constant["rolling_mass_kg"] * speed**2
    energy = energy + constant["moving_mass_kg"] * GRAVITY_MPS2 * signal["distance_m"] * np.sin(
        grade_rad
    )
    for angle_name, rate_name, mh, inertia in (
        ("pitch_rad", "pitch_rate_radps", "frame_mh_kg_m", "frame_j_kg_m2"),
        ("lean_rad", "lean_rate_radps", "rider_mh_kg_m", "rider_j_kg_m2"),
    ):
        angle, rate = signal[angle_name], signal[rate_name]
        energy = energy + 0.5 * constant[inertia] * rate**2
        energy = energy + constant[mh] * rate * speed * np.cos(angle + grade_rad)
        energy = energy + constant[mh] * GRAVITY_MPS2 * np.cos(angle)
    coupling = constant["rider_mh_kg_m"] * constant["deck_height_m"]
    rates = signal["pitch_rate_radps"] * signal["lean_rate_radps"]
    return energy + coupling * rates * np.cos(signal["pitch_rad"] - signal["lean_rad"])


def settled(grade_rad):
    """Return the rows of tyre and legs at rest on a slope, which loads them by less."""
    lighter = GRAVITY_MPS2 * (1.0 - np.cos(grade_rad))
    rider, board = invented_rides.rider(80.0), invented.board()
    mass = rider.body.mass_kg
    moving = mass + board.frame.frame_mass_kg + board.wheel.wheel_mass_kg
    wheel = lighter * moving / board.wheel.tyre_stiffness_n_per_m
    legs = lighter / (2.0 * np.pi * LEG_FREQUENCY_HZ) ** 2
    return {"wheel_height_m": wheel, "rider_height_m": wheel + legs}


def coast_down(n_sub):
    """Return energy lost and work of rolling and air, in J, of bodies that fall as they coast."""
    ratio, drag_area, seconds = 0.02, 0.6, 0.4
    course = invented_rides.course(
        "coast",
        invented_rides.road(invented_rides.surface(ratio, 1.0, 0.0), grade_percent=((-5.0, -8.0),)),
        invented_rides.manoeuvre(2.0, ((0.0, 8.0),)),
    )
    fall = {"pitch_rad": -0.02, "lean_rad": 0.12, "drag_area_m2": drag_area}
    fall |= {"current_a": 0.0, "wanted_was_a": 0.0, "wanted_before_a": 0.0}
    fall |= settled(np.arctan(-0.08))
    ridden = rig.run(
        rig.QUIET | fall, seconds=seconds, course=course, n_sub=n_sub, record=(*BODIES, *FORCES)
    )
    constant = {name: values[0] for name, values in ridden.end.items()}
    signal = {name: values[:, 0] for name, values in ridden.signal.items()}
    energy = body_energy(signal, constant, np.arctan(-0.08))
    force = ratio * signal["wheel_load_n"] + 0.5 * 1.225 * drag_area * signal["speed_mps"] ** 2
    assert np.abs(signal["lean_rad"]).max() > 0.15
    return energy[0] - energy[-1], np.trapezoid(force * signal["speed_mps"], dx=0.001)


def test_a_coast_down_loses_the_work_of_rolling_and_air():
    lost, work = coast_down(n_sub=1)

    # The millisecond's integration error is 0.1 % of the 3 kJ that coast.
    assert work > 100.0
    assert lost == pytest.approx(work, rel=0.015)


def test_the_energy_error_of_a_coast_down_vanishes_with_the_step():
    coarse, fine = (np.subtract(*coast_down(n_sub)) for n_sub in (4, 8))

    assert fine == pytest.approx(0.5 * coarse, rel=0.02)
    assert abs(2.0 * fine - coarse) < 0.01


def launch_signals():
    """Return a launch's signals at every step, its constants and its ride."""
    ride = invented_rides.rides(("launch",))[2]
    names = (*BODIES, *FORCES, "accel_mps2", "slip_mps")
    buffer, record = ride_lanes(
        invented_rides.profile_row()[None, :], ride, probe=(tuple(R[name] for name in names), 1)
    )
    signal = {name: record[:, place, 0] for place, name in enumerate(names)}
    return signal, {name: buffer[R[name]] for name in R.__members__}, ride


def test_a_launch_gains_the_work_of_motor_and_feet_less_resistance():
    signal, constant, _ = launch_signals()

    speed = signal["speed_mps"]
    rotor = speed / constant["wheel_radius_m"] - signal["pitch_rate_radps"]
    motor_w = constant["torque_per_amp_nm"] * signal["current_a"] * rotor
    feet_w = signal["board_moment_nm"] * (signal["pitch_rate_radps"] - signal["lean_rate_radps"])
    dry = signal["wheel_load_n"] * 0.012 * np.clip(speed / 0.05, -1.0, 1.0)
    drag = 0.5 * 1.225 * constant["drag_area_m2"] * speed * np.abs(speed)
    against_w = (dry + drag + signal["wheel_load_n"] * signal["road_slope"]) * speed
    gained = body_energy(signal, constant, 0.0)
    work = np.trapezoid(motor_w + feet_w - against_w, dx=0.001)
    driven = np.trapezoid(np.abs(motor_w), dx=0.001)
    assert driven > 500.0
    assert gained[-1] - gained[0] == pytest.approx(work, abs=0.01 * driven)


def test_battery_energy_is_shaft_work_and_every_loss():
    signal, constant, ride = launch_signals()

    drive = invented.board().drive
    current = signal["current_a"]
    rotor = signal["speed_mps"] / constant["wheel_radius_m"] - signal["pitch_rate_radps"]
    shaft = constant["torque_per_amp_nm"] * current * rotor
    copper = 1.5 * constant["winding_resistance_now_ohm"] * current**2
    mosfet = 1.5 * drive.mosfet_resistance_ohm * current**2
    mosfet += drive.switching_loss_w_per_a_v * np.abs(current) * signal["bus_v"]
    spent_wh = np.sum(shaft + copper + mosfet + drive.standby_power_w) * 0.001 / 3600.0
    metric = simulate(invented_rides.profile_row()[None, :], [ride]).column("energy_wh")[0, 0]
    assert metric == pytest.approx(spent_wh, rel=2e-3)
    assert metric == pytest.approx(np.sum(signal["power_w"]) * 0.001 / 3600.0, rel=1e-9)
