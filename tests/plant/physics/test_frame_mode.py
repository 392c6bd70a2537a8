"""The frame's mode between the steps against scipy and against its closed form."""

import dataclasses

import numpy as np
import pytest
from scipy.signal import cont2discrete

from plant.constants import DT_S
from plant.physics.frame_mode import flexed, mode_changes
from tests import invented
from tests.plant import rig


@pytest.mark.parametrize("damping_ratio", [0.01, 0.15, 0.9, 1.0])
@pytest.mark.parametrize("frequency_hz", [5.0, 45.0, 120.0])
def test_a_step_of_the_mode_is_scipys_zero_order_hold(frequency_hz, damping_ratio):
    omega, inertia = 2.0 * np.pi * frequency_hz, 0.45
    a = np.array([[0.0, 1.0], [-(omega**2), -2.0 * damping_ratio * omega]])
    b = np.array([[0.0], [-1.0 / inertia]])
    step, push, *_ = cont2discrete((a, b, np.eye(2), np.zeros((2, 1))), DT_S, method="zoh")
    start, torque = np.array([0.003, -0.4]), 17.0

    changes = mode_changes(frequency_hz, damping_ratio, DT_S)
    found = start + flexed(*start, torque, 1.0 / (inertia * omega**2), *changes)

    np.testing.assert_allclose(found, step @ start + push[:, 0] * torque, rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize("frequency_hz", [30.0, 80.0, 120.0])
def test_the_mode_rings_in_the_kernel_as_a_damped_oscillator_does(frequency_hz):
    board = invented.board()
    frame = dataclasses.replace(board.frame, flex_frequency_hz=frequency_hz)
    rows = rig.QUIET | rig.HELD | rig.held_current(0.0) | {"flex_rate_radps": 1.0}

    ridden = rig.run(
        rows,
        seconds=0.1,
        record=("flex_rad",),
        board=dataclasses.replace(board, frame=frame),
    )

    # Free vibration of an underdamped system, in any textbook.
    omega, ratio = 2.0 * np.pi * frequency_hz, frame.flex_damping_ratio
    swing = omega * np.sqrt(1.0 - ratio**2)
    at_s = np.arange(1, 101) * DT_S
    expected = np.exp(-ratio * omega * at_s) * np.sin(swing * at_s) / swing
    np.testing.assert_allclose(
        ridden.signal["flex_rad"][:, 0], expected, rtol=1e-9, atol=1e-9 / omega
    )
