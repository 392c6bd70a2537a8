"""On every ride of the example study the battery pays for shaft, copper, switches and standby.

maxon, Key information on DC motors: U I = (pi / 30000) n M + R I^2, here with three phases, the
drive's own losses, and regeneration. Every term is worked out again from the recorded motion.
"""

import numpy as np
import pytest

from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from plant.description.profile_array import profile_to_array
from plant.kernel.lane_layout import R
from plant.kernel.simulate import ride_lanes

NAMES = (
    "speed_mps",
    "slip_mps",
    "pitch_rate_radps",
    "current_a",
    "winding_c",
    "bus_v",
    "battery_a",
    "per_radius_now",
    "yaw_rate_radps",
    "roll_sine",
)
STUDY = load_study(STUDIES_FOLDER / "hill_town")
COURSES = list(STUDY.courses)
RISE_PER_K = 0.00393  # of copper's resistance, Texas Instruments SPRUHJ1


def powers(ride):
    """Return the power of each term at every step of a ride, in W, and of the battery."""
    board = ride.board
    _, record = ride_lanes(
        profile_to_array(STUDY.baseline)[None, :],
        ride,
        probe=(tuple(R[name] for name in NAMES), 1),
    )
    ridden = record[~np.isnan(record[:, 0, 0]), :, 0]
    speed, slip, pitch_rate, ends, winding_c, bus, pack, per_radius, yaw, roll = ridden.T
    rotor = (speed + slip) * per_radius - (pitch_rate - yaw * roll)
    # The mean of a current that goes from one end to the next by a first-order lag of time T.
    starts = np.concatenate([ends[:1], ends[:-1]])
    change, lag_s = ends - starts, board.drive.current_lag_s
    current = starts + change / -np.expm1(-1e-3 / lag_s) - lag_s * change / 1e-3
    # Saturated iron loses a share of torque that goes with the square of the current.
    share = board.motor.saturation_ratio * (current / board.motor.saturation_current_a) ** 2
    torque = np.sqrt(3.0) / 2.0 * 60.0 / (2.0 * np.pi * board.motor.kv_rpm_per_v) * current
    torque = torque * (1.0 - share)
    warm = board.motor.phase_resistance_ohm * (1.0 + RISE_PER_K * (winding_c - 20.0))
    terms = {
        "shaft": torque * rotor,
        "copper": 1.5 * warm * current**2,
        "switches": 1.5 * board.drive.mosfet_resistance_ohm * current**2
        + board.drive.switching_loss_w_per_a_v * np.abs(current) * bus,
        "standby": np.full_like(bus, board.drive.standby_power_w),
    }
    return terms, bus * pack


def rms(power):
    return np.sqrt(np.mean(np.square(power)))


@pytest.mark.parametrize("course", COURSES)
def test_battery_power_is_shaft_and_losses_to_one_percent(course):
    for ride in (ride for ride in STUDY.rides if ride.course.name == course):
        terms, battery = powers(ride)

        spent = {name: power.sum() * 1e-3 for name, power in terms.items()}
        turned_over = sum(abs(energy) for energy in spent.values())
        assert turned_over > 5.0
        assert battery.sum() * 1e-3 == pytest.approx(sum(spent.values()), abs=0.01 * turned_over)
        # At each step too: speed and current are recorded at its end, power is of its start.
        assert rms(battery - sum(terms.values())) < 0.005 * rms(sum(map(np.abs, terms.values())))
