"""Heat and copper against first-order responses, with and without copper's feedback."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from plant.constants import AMBIENT_C, COPPER_PER_K
from plant.kernel.lane_layout import WIDTH
from tests.plant import rig

# The wheel is held, so all the electrical power is heat.
HELD = rig.QUIET | rig.HELD
THERMAL_OHM, HEAT_CAPACITY = 1.5, 4.0  # K/W and J/K: a time constant of 6 s, short for a test
WINDING = {
    "winding_heat_capacity_j_per_k": HEAT_CAPACITY,
    "per_winding_heat_capacity": 1.0 / HEAT_CAPACITY,
    "winding_resistance_k_per_w": THERMAL_OHM,
    "per_winding_resistance": 1.0 / THERMAL_OHM,
    "winding_limit_c": 1e6,
    "mosfet_resistance_ohm": 0.0,
    "switching_loss_w_per_a_v": 0.0,
    "capacity_ah": 1e9,
    "per_charge": 0.0,
}
RESISTANCE_OHM = 0.1


def winding_rise(current_a, seconds):
    """Return the winding's temperature over copper's reference of 20 degC, (step, lane)."""
    # 1.5 R i^2 of three phases is the R I^2 of the closed form.
    rows = WINDING | {"phase_resistance_ohm": RESISTANCE_OHM / 1.5} | rig.held_current(current_a)
    ridden = rig.run(HELD | rows, seconds=seconds, record=("winding_c",), every=10)
    return ridden.signal["winding_c"] - 20.0


def test_copper_at_150_degrees_has_the_published_resistance():
    # Texas Instruments SPRUHJ1I: 10 ohm at 20 degC is 15.109 ohm at 150 degC, 0.00393 per K.
    rows = {"phase_resistance_ohm": 10.0, "winding_c": 150.0}

    ridden = rig.run(HELD | rows, seconds=0.001)

    np.testing.assert_allclose(ridden.end["winding_resistance_now_ohm"], 15.109, rtol=1e-9)


def test_a_hot_winding_cools_along_the_exponential():
    # T = T_ambient - (T_ambient - T0) exp(-t / RC)
    ridden = rig.run(
        HELD | WINDING | {"winding_c": 100.0}, seconds=12.0, record=("winding_c",), every=10
    )

    time_s = np.arange(1, 1201) * 0.01
    expected = AMBIENT_C + (100.0 - AMBIENT_C) * np.exp(-time_s / (THERMAL_OHM * HEAT_CAPACITY))
    np.testing.assert_allclose(ridden.signal["winding_c"][:, 0], expected, rtol=1e-4)


def test_mosfets_warm_along_the_exponential_to_loss_times_thermal_resistance():
    rows = {
        "mosfet_resistance_ohm": 0.02,
        "switching_loss_w_per_a_v": 0.0,
        "throttle_start_c": 1e6,
        "throttle_end_c": 2e6,
        "per_mosfet_heat_capacity": 1.0 / HEAT_CAPACITY,
        "per_mosfet_resistance": 1.0 / THERMAL_OHM,
        "phase_resistance_ohm": 0.001,
    }

    ridden = rig.run(
        HELD | WINDING | rows | rig.held_current(20.0), seconds=12.0, record=("mosfet_c",), every=10
    )

    time_s = np.arange(1, 1201) * 0.01
    final = 1.5 * 0.02 * 20.0**2 * THERMAL_OHM
    expected = AMBIENT_C + final * -np.expm1(-time_s / (THERMAL_OHM * HEAT_CAPACITY))
    np.testing.assert_allclose(ridden.signal["mosfet_c"][:, 0], expected, rtol=1e-3)


def test_winding_settles_at_the_closed_form_with_copper_feedback():
    # dT = I^2 R Rth / (1 - alpha Rth R I^2): 38.911 K for 0.1 ohm, 1.5 K/W, 15 A. The air of our
    # plant is 5 K over copper's reference; feedback amplifies that offset by the same factor.
    rise = winding_rise(15.0, seconds=80.0)[-1, 0]

    loop = COPPER_PER_K * THERMAL_OHM * RESISTANCE_OHM * 15.0**2
    offset = (AMBIENT_C - 20.0) / (1.0 - loop)
    assert rise - offset == pytest.approx(38.911, abs=0.002)


def test_winding_runs_away_beyond_the_closed_form_current():
    # 1 = alpha Rth R I^2 at I = 41.19 A: below it each second warms less, above it more.
    current = np.where(np.arange(WIDTH) < 4, 0.99 * 41.19, 1.01 * 41.19)

    rise = winding_rise(current, seconds=60.0)

    warming = np.diff(rise[::1000], axis=0)
    assert np.all(np.diff(warming[:, :4], axis=0) < 0.0)
    assert np.all(np.diff(warming[:, 4:], axis=0) > 0.0)


def test_both_nodes_follow_the_solved_heat_equations_from_any_start():
    # C dT/dt = P - (T - T_air) / Rth for each, with the copper's own warming in its loss.
    current_a = np.linspace(-30.0, 40.0, WIDTH)
    copper_c, switches_c = np.linspace(10.0, 90.0, WIDTH), np.linspace(70.0, 20.0, WIDTH)
    mosfet_ohm, per_a_v, seconds = 0.02, 0.004, 12.0
    rows = {
        "phase_resistance_ohm": RESISTANCE_OHM / 1.5,
        "mosfet_resistance_ohm": mosfet_ohm,
        "switching_loss_w_per_a_v": per_a_v,
        "per_mosfet_heat_capacity": 1.0 / (2.0 * HEAT_CAPACITY),
        "per_mosfet_resistance": 1.0 / THERMAL_OHM,
        "throttle_start_c": 1e6,
        "throttle_end_c": 2e6,
        "series_resistance_ohm": 1e-6,
        "rc_resistance_ohm": 0.0,
        "winding_c": copper_c,
        "mosfet_c": switches_c,
    }

    ridden = rig.run(HELD | WINDING | rows | rig.held_current(current_a), seconds=seconds)

    bus_v = ridden.end["bus_v"]
    switched_w = 1.5 * mosfet_ohm * current_a**2 + per_a_v * np.abs(current_a) * bus_v

    def slope(_, state):
        winding, mosfet = state.reshape(2, WIDTH)
        copper_w = RESISTANCE_OHM * (1.0 + 0.00393 * (winding - 20.0)) * current_a**2
        return np.concatenate(
            [
                (copper_w - (winding - AMBIENT_C) / THERMAL_OHM) / HEAT_CAPACITY,
                (switched_w - (mosfet - AMBIENT_C) / THERMAL_OHM) / (2.0 * HEAT_CAPACITY),
            ]
        )

    start = np.concatenate([copper_c, switches_c])
    solved = solve_ivp(slope, (0.0, seconds), start, rtol=1e-10, atol=1e-8)
    ours = np.concatenate([ridden.end["winding_c"], ridden.end["mosfet_c"]])
    # Resistance is renewed every 32 ms: within 0.5 % of the change over a time constant of 6 s.
    np.testing.assert_allclose(ours - AMBIENT_C, solved.y[:, -1] - AMBIENT_C, rtol=5e-3, atol=0.05)


def test_copper_loss_is_one_and_a_half_times_phase_resistance_times_current_squared():
    # With the wheel at rest all the power less the standby is copper loss.
    rows = WINDING | {"phase_resistance_ohm": 0.05, "winding_c": 20.0, "standby_power_w": 0.0}

    ridden = rig.run(HELD | rows | rig.held_current(30.0), seconds=0.01)

    np.testing.assert_allclose(ridden.end["power_w"], 1.5 * 0.05 * 30.0**2, rtol=1e-9)


@pytest.mark.parametrize(
    ("row", "temperature", "share"),
    [
        ("mosfet_c", 80.0, 1.0),
        ("mosfet_c", 87.5, 0.5),
        ("mosfet_c", 96.0, 0.0),
        ("winding_c", 115.0, 0.5),
    ],
)
def test_derating_takes_the_phase_limit_down_in_a_straight_line(row, temperature, share):
    ridden = rig.run(HELD | {row: temperature}, seconds=0.001)

    limit = ridden.end["phase_current_limit_a"]
    np.testing.assert_allclose(ridden.end["limit_now_a"], share * limit, atol=1e-9)
