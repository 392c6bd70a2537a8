"""Motor and voltage limit against motulator, a package of machine and drive models.

Its synchronous machine is a flux-linkage model in peak-valued space vectors; current, torque and
the voltage that holds them are asked of it over a grid of speeds, and solved in time as well.
"""

import numpy as np
import pytest
from motulator.drive.model import SynchronousMachine
from motulator.drive.utils import SynchronousMachinePars
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from plant.drive import current_window
from plant.lanes import torque_per_amp
from tests import invented

BOARD = invented.board()
MOTOR = BOARD.motor
WHEEL_RADPS = np.linspace(-60.0, 80.0, 7)
BUS_V = 55.0
LIMIT_V = BOARD.drive.modulation_limit_ratio * BUS_V / np.sqrt(3.0)


def machine():
    """Return the board's motor in the other package: flux from Kv by its line-to-line peak."""
    electrical_radps = MOTOR.pole_pairs * MOTOR.kv_rpm_per_v * 2.0 * np.pi / 60.0  # at 1 V
    flux = 1.0 / np.sqrt(3.0) / electrical_radps
    return SynchronousMachine(
        SynchronousMachinePars(
            n_p=int(MOTOR.pole_pairs),
            R_s=MOTOR.phase_resistance_ohm,
            L_d=MOTOR.phase_inductance_h,
            L_q=MOTOR.phase_inductance_h,
            psi_f=flux,
        )
    )


def held(current_a, wheel_radps):
    """Return torque and phase voltage with which the other machine rests at a q-axis current."""
    motor = machine()
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
        emf, resistance, 1.0 / resistance, reactance, LIMIT_V, 1e9, 1e12, 1e12
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
    _, high = current_window(emf, resistance, 1.0 / resistance, reactance, LIMIT_V, 1e9, 1e12, 1e12)
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
