"""Motor and voltage limit against motulator, a package of machine and drive models.

Its synchronous machine is a flux-linkage model in peak-valued space vectors; current, torque and
the voltage that holds them are asked of it over a grid of speeds, and solved in time as well.
"""

import numpy as np
import pytest
from motulator.common.control import PWM
from motulator.common.utils import abc2complex
from motulator.drive.model import SynchronousMachine, VoltageSourceConverter
from motulator.drive.utils import SynchronousMachinePars
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from plant.kernel.lane_init import torque_per_amp
from plant.kernel.lane_layout import WIDTH
from plant.physics.drive import current_window, losses
from tests import invented
from tests.plant import rig

BOARD = invented.board()
MOTOR = BOARD.motor
WHEEL_RADPS = np.linspace(-60.0, 80.0, 7)
BUS_V = 55.0
LIMIT_V = BOARD.drive.modulation_limit_ratio * BUS_V / np.sqrt(3.0)


def machine(winding_c=20.0):
    """Return the board's motor in the other package: flux from Kv by its line-to-line peak."""
    warm = 1.0 + 0.00393 * (winding_c - 20.0)  # copper, Texas Instruments SPRUHJ1I
    electrical_radps = MOTOR.pole_pairs * MOTOR.kv_rpm_per_v * 2.0 * np.pi / 60.0  # at 1 V
    flux = 1.0 / np.sqrt(3.0) / electrical_radps
    return SynchronousMachine(
        SynchronousMachinePars(
            n_p=int(MOTOR.pole_pairs),
            R_s=MOTOR.phase_resistance_ohm * warm,
            L_d=MOTOR.phase_inductance_h,
            L_q=MOTOR.phase_inductance_h,
            psi_f=flux,
        )
    )


def held(current_a, wheel_radps, winding_c=20.0):
    """Return torque and phase voltage with which the other machine rests at a q-axis current."""
    motor = machine(winding_c)
    motor.state.psi_s = motor.par.psi_f + 1j * motor.par.L_q * current_a
    motor.set_outputs(None)
    motor.inp.w_M = wheel_radps
    motor.inp.u_ss = 0.0
    needed = -motor.rhs()[0]  # d psi / dt = u - R i - j w psi
    return motor.tau_M, needed


@pytest.mark.parametrize("current_a", [-80.0, 10.0, 110.0])
def test_torque_is_that_of_the_other_machine(current_a):
    for wheel_radps in WHEEL_RADPS:
        torque, _ = held(current_a, wheel_radps)

        assert torque_per_amp(MOTOR.kv_rpm_per_v) * current_a == pytest.approx(torque, rel=1e-9)


@pytest.mark.parametrize("wheel_radps", WHEEL_RADPS)
def test_the_voltage_limit_cuts_where_the_other_machine_needs_it(wheel_radps):
    emf = torque_per_amp(MOTOR.kv_rpm_per_v) / 1.5 * wheel_radps
    reactance = MOTOR.pole_pairs * wheel_radps * MOTOR.phase_inductance_h
    resistance = MOTOR.phase_resistance_ohm
    low, high = current_window(
        emf, resistance, 1.0 / resistance, reactance, LIMIT_V**2, 0.0, 1e9, 1e12, 1e12
    )

    def surplus(current_a):
        return abs(held(current_a, wheel_radps)[1]) - LIMIT_V

    # Between the limits lies the current that needs the least voltage.
    middle = -emf * resistance / (resistance**2 + reactance**2)
    assert high == pytest.approx(brentq(surplus, middle, 5000.0, xtol=1e-9), rel=1e-9)
    assert low == pytest.approx(brentq(surplus, -5000.0, middle, xtol=1e-9), rel=1e-9)


@pytest.mark.parametrize("wheel_radps", [5.0, 30.0, 60.0])
def test_the_other_machine_settles_at_the_available_current(wheel_radps):
    # Held at the voltage limit in time, with the angle of that voltage left alone.
    emf = torque_per_amp(MOTOR.kv_rpm_per_v) / 1.5 * wheel_radps
    reactance = MOTOR.pole_pairs * wheel_radps * MOTOR.phase_inductance_h
    resistance = MOTOR.phase_resistance_ohm
    _, high = current_window(
        emf, resistance, 1.0 / resistance, reactance, LIMIT_V**2, 0.0, 1e9, 1e12, 1e12
    )
    motor = machine()
    motor.inp.w_M = wheel_radps
    voltage = held(high, wheel_radps)[1]
    assert abs(voltage) == pytest.approx(LIMIT_V, rel=1e-9)

    def slope(_, flux):
        motor.state.psi_s = complex(*flux)
        motor.state.exp_j_theta_m = 1.0 + 0.0j
        motor.set_outputs(None)
        motor.inp.u_ss = voltage
        rate = motor.rhs()[0]
        return [rate.real, rate.imag]

    solved = solve_ivp(slope, (0.0, 0.05), [motor.par.psi_f, 0.0], rtol=1e-9, atol=1e-12)

    motor.state.psi_s = complex(*solved.y[:, -1])
    assert motor.i_s.imag == pytest.approx(high, rel=1e-4)
    assert motor.tau_M == pytest.approx(torque_per_amp(MOTOR.kv_rpm_per_v) * high, rel=1e-4)


def test_torque_starts_to_fall_at_the_base_speed_of_the_other_machine():
    limit_a, resistance = BOARD.drive.phase_current_limit_a, MOTOR.phase_resistance_ohm

    def room(wheel_radps):
        emf = torque_per_amp(MOTOR.kv_rpm_per_v) / 1.5 * wheel_radps
        reactance = MOTOR.pole_pairs * wheel_radps * MOTOR.phase_inductance_h
        _, high = current_window(
            emf, resistance, 1.0 / resistance, reactance, LIMIT_V**2, 0.0, 1e9, 1e12, 1e12
        )
        return high - limit_a

    def surplus(wheel_radps):
        return LIMIT_V - abs(held(limit_a, wheel_radps)[1])

    theirs = brentq(surplus, 1.0, 80.0, xtol=1e-12)
    assert brentq(room, 1.0, 80.0, xtol=1e-12) == pytest.approx(theirs, rel=1e-9)


def realised(reference, bus_v):
    """Return the phase voltage that the other package's inverter makes of a reference."""
    return bus_v * abc2complex(PWM().duty_ratios(reference, bus_v))


def test_the_ride_draws_as_much_current_as_the_other_inverter_can_drive():
    # At a modulation index of one: the current of a ride on the rig needs a voltage that the
    # space-vector modulator still makes at every angle; 0.5 % more amplitude is clipped at some.
    asked = rig.held_current(1e4) | {"current_a": 0.0, "modulation_limit_ratio": 1.0}
    pack = {"series_resistance_ohm": 0.005, "battery_current_limit_a": 500.0}
    speed = np.linspace(2.0, 10.0, WIDTH)
    ridden = rig.run(
        rig.QUIET | rig.HELD | asked | pack | {"speed_mps": speed, "mosfet_resistance_ohm": 0.0},
        seconds=0.2,
        course=rig.flat(0.2, 5.0),
        record=("available_high_a", "bus_v", "winding_c"),
    )
    angles = np.exp(1j * np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False))
    for lane in range(WIDTH):
        bus_v = ridden.signal["bus_v"][-1, lane]
        current_a = ridden.signal["available_high_a"][-1, lane]
        voltage = held(
            current_a,
            speed[lane] / BOARD.wheel.wheel_radius_m,
            ridden.signal["winding_c"][-1, lane],
        )[1]
        made = np.array([realised(voltage * angle, bus_v) for angle in angles])
        clipped = np.array([realised(1.005 * voltage * angle, bus_v) for angle in angles])

        np.testing.assert_allclose(made, voltage * angles, rtol=1e-3)
        assert np.abs(clipped - 1.005 * voltage * angles).max() > 0.003 * abs(voltage)


@pytest.mark.parametrize("current_a", [-80.0, 10.0, 110.0])
@pytest.mark.parametrize("wheel_radps", WHEEL_RADPS)
def test_the_other_inverter_draws_our_power_from_the_battery(current_a, wheel_radps):
    converter = VoltageSourceConverter(BUS_V)
    converter.inp.i_cs = 1j * current_a
    converter.inp.q_cs = held(current_a, wheel_radps)[1] / BUS_V

    emf = torque_per_amp(MOTOR.kv_rpm_per_v) / 1.5 * wheel_radps
    copper, _ = losses(current_a, MOTOR.phase_resistance_ohm, 0.0, 0.0, BUS_V)
    drawn = converter.i_dc_int * BUS_V
    assert 1.5 * emf * current_a + copper == pytest.approx(drawn, rel=1e-9)
