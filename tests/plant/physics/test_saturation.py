"""Torque of saturated iron: against a magnetic circuit, and against the curve's own definition."""

import numpy as np
import pytest
from scipy.optimize import brentq

from optimizer.analysis.demonstration_catalogue import example_board
from plant.kernel.lane_init import saturation_of, torque_per_amp
from plant.kernel.lane_layout import WIDTH
from plant.physics.saturation import LEAST_SLOPE_RATIO, saturated, saturation, unsaturated
from tests import invented
from tests.plant import rig

CURRENTS_A = np.linspace(-300.0, 300.0, 601)


def curve(ratio, current_a=110.0):
    return np.array([unsaturated(amps, *saturation(ratio, current_a)) for amps in CURRENTS_A])


@pytest.mark.parametrize("ratio", [0.01, 0.1, 0.15, 0.25])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_declared_share_is_lost_at_the_declared_current(ratio, sign):
    assert unsaturated(sign * 110.0, *saturation(ratio, 110.0)) == pytest.approx(
        sign * (1.0 - ratio) * 110.0, rel=1e-12
    )


@pytest.mark.parametrize("ratio", [0.0, 0.1, 0.15, 0.25])
def test_torque_rises_with_current_from_end_to_end_and_is_odd(ratio):
    torque = curve(ratio)

    slope = np.diff(torque) / np.diff(CURRENTS_A)
    assert slope.min() >= LEAST_SLOPE_RATIO - 1e-9
    assert slope.max() <= 1.0 + 1e-9
    np.testing.assert_allclose(torque, -torque[::-1], atol=1e-9)


def test_without_saturation_torque_is_current_to_the_last_bit():
    np.testing.assert_array_equal(curve(0.0), CURRENTS_A)
    assert [saturated(amps, *saturation(0.0, 110.0)) for amps in CURRENTS_A] == CURRENTS_A.tolist()


@pytest.mark.parametrize("ratio", [0.05, 0.15, 0.25])
def test_the_needed_current_is_the_root_of_the_torque(ratio):
    of = saturation(ratio, 110.0)
    for linear in np.linspace(0.5, 130.0, 40):
        root = brentq(lambda amps, linear=linear: unsaturated(amps, *of) - linear, 0.0, 1e3)

        assert saturated(linear, *of) == pytest.approx(root, rel=2e-3)
        assert saturated(-linear, *of) == -saturated(linear, *of)


@pytest.mark.parametrize("working_point", [0.3, 0.6, 0.9])
def test_two_numbers_describe_teeth_that_saturate_on_one_side_of_a_pole(working_point):
    # Armature reaction by the textbooks (cross-magnetising: one half of a pole gains less flux
    # than the other loses; common practice, no source): half of the teeth work at the magnet's
    # field plus the current's, half at their difference, and iron carries tanh of the field.
    amps = np.linspace(1.0, 110.0, 110)

    def flux(per_amp):
        sides = np.tanh(working_point + per_amp * amps) + np.tanh(working_point - per_amp * amps)
        return 0.5 * sides / np.tanh(working_point)

    per_amp = brentq(lambda per_amp: flux(per_amp)[-1] - 0.85, 1e-5, 0.05)
    ours = np.array([unsaturated(each, *saturation(0.15, 110.0)) for each in amps]) / amps
    np.testing.assert_allclose(ours, flux(per_amp), rtol=0.015)


def test_the_catalogues_motor_loses_its_share_and_the_shaft_work_is_drawn_from_the_pack():
    motor = example_board().motor
    per_square_a, end_a = saturation_of(motor)
    current = np.linspace(-motor.saturation_current_a, motor.saturation_current_a, WIDTH)
    rows = {"saturation_per_square_a": per_square_a, "saturation_end_a": end_a}

    ridden = rig.run(
        rig.QUIET | rig.HELD | rig.held_current(current) | rows | {"speed_mps": 2.0},
        seconds=0.01,
        course=rig.flat(0.01, 2.0),
        record=("power_w", "traction_n", "winding_resistance_now_ohm"),
    )

    # At the first step nothing turns faster yet: all torque reaches the ground.
    board, kt = invented.board(), torque_per_amp(15.0)
    torque = ridden.signal["traction_n"][0] * board.wheel.wheel_radius_m
    assert torque[-1] == pytest.approx((1.0 - motor.saturation_ratio) * kt * current[-1], rel=1e-6)
    drawn = ridden.signal["power_w"][0] - board.drive.standby_power_w
    resistance = ridden.signal["winding_resistance_now_ohm"][0] + board.drive.mosfet_resistance_ohm
    switching = board.drive.switching_loss_w_per_a_v * np.abs(current) * 15 * 4.0421
    heat = 1.5 * resistance * current**2 + switching
    shaft = torque * 2.0 / board.wheel.wheel_radius_m
    np.testing.assert_allclose(drawn - heat, shaft, atol=0.5)
