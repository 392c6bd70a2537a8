"""A short current pulse each way, as a drive gives to be felt on engaging.

Common practice, no source: 10 to 20 A for 1 ms each way is felt as a click and moves nothing.
"""

import math

import numpy as np
import pytest

from plant.kernel.lane_layout import STATE_NAMES
from tests import invented
from tests.plant import rig

PULSE_A = 15.0


def pulsed():
    """Return torque, pitch and distance, (step,) each, of a free board at rest under the pulse."""
    signals = {"current_a": [], "pitch_rad": [], "distance_m": []}
    state = {}
    for seconds, current_a in ((0.001, PULSE_A), (0.001, -PULSE_A), (0.3, 0.0)):
        asked = rig.held_current(current_a) | {"current_a": state.get("current_a", 0.0)}
        ridden = rig.run(rig.QUIET | state | asked, seconds=seconds, record=tuple(signals))
        # Where the state stands at the end of a part the next one begins.
        state = {name: ridden.end[name] for name in STATE_NAMES if name != "integral_a"}
        for name, values in signals.items():
            values.append(ridden.signal[name][:, 0])
    torque_per_amp = float(ridden.end["torque_per_amp_nm"][0])
    joined = {name: np.concatenate(values) for name, values in signals.items()}
    return torque_per_amp * joined["current_a"], joined["pitch_rad"], joined["distance_m"]


def test_an_engagement_pulse_is_felt_and_moves_nothing():
    torque_nm, pitch_rad, distance_m = pulsed()

    assert np.max(torque_nm) > 4.0  # N m: a knock that feet feel
    assert np.min(torque_nm) < -1.0
    assert math.degrees(np.max(np.abs(pitch_rad))) < 0.02
    assert np.max(np.abs(distance_m)) < 0.1e-3


def test_an_engagement_pulse_turns_the_board_no_further_than_its_impulse_can():
    torque_nm, pitch_rad, _ = pulsed()
    impulse_nm_s = 0.001 * np.max(np.abs(np.cumsum(torque_nm)))
    frame = invented.board().frame

    # Momentum about the axle: rate <= impulse over the frame's inertia, for the two milliseconds of
    # the pulse and the current's decay after it.
    inertia = frame.frame_inertia_kg_m2
    assert np.max(np.abs(pitch_rad[:6])) <= impulse_nm_s / inertia * 0.006
    assert np.max(np.abs(pitch_rad[:6])) > 0.0


@pytest.mark.parametrize("share", [0.5, 1.0])
def test_the_click_is_the_currents_own_lag_to_a_pulse(share, monkeypatch):
    monkeypatch.setattr("tests.plant.kernel.test_engagement_pulse.PULSE_A", 15.0 * share)
    torque_nm, _, _ = pulsed()
    board = invented.board()
    per_amp = 8.26993 / board.motor.kv_rpm_per_v

    # First-order lag over 1 ms.
    peak_a = 15.0 * share * -math.expm1(-0.001 / board.drive.current_lag_s)
    assert np.max(torque_nm) == pytest.approx(per_amp * peak_a, rel=1e-6)
