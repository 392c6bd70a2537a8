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


def window(wheel_radps, *, weakening=0.0, current_a=0.0, bus_v=BUS_V):
    """Return our window of current, and the square of what flows besides, at a stiff bus."""
    resistance = MOTOR.phase_resistance_ohm
    return current_window(
        torque_per_amp(MOTOR.kv_rpm_per_v) / 1.5 * wheel_radps,
        resistance,
        1.0 / resistance,
        MOTOR.pole_pairs * wheel_radps * MOTOR.phase_inductance_h,
        BOARD.drive.modulation_limit_ratio**2 * bus_v**2 / 3.0,
        0.0,
        weakening,
        bus_v,
        1e9,
        1e12,
        1e12,
        current_a,
    )


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


def held(current_a, wheel_radps, winding_c=20.0, demagnetising_a=0.0):
    """Return torque and phase voltage with which the other machine rests at its currents."""
    motor = machine(winding_c)
    along_d = motor.par.psi_f - motor.par.L_d * demagnetising_a
    motor.state.psi_s = along_d + 1j * motor.par.L_q * current_a
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
    low, high, _ = window(wheel_radps)

    def surplus(current_a):
        return abs(held(current_a, wheel_radps)[1]) - LIMIT_V

    # Between the limits lies the current that needs the least voltage.
    middle = -emf * resistance / (resistance**2 + reactance**2)
    assert high == pytest.approx(brentq(surplus, middle, 5000.0, xtol=1e-9), rel=1e-9)
    assert low == pytest.approx(brentq(surplus, -5000.0, middle, xtol=1e-9), rel=1e-9)


@pytest.mark.parametrize("wheel_radps", [5.0, 30.0, 60.0])
def test_the_other_machine_settles_at_the_available_current(wheel_radps):
    # Held at the voltage limit in time, with the angle of that voltage left alone.
    _, high, _ = window(wheel_radps)
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
    limit_a = BOARD.drive.phase_current_limit_a

    def room(wheel_radps):
        _, high, _ = window(wheel_radps)
        return high - limit_a

    def surplus(wheel_radps):
        return LIMIT_V - abs(held(limit_a, wheel_radps)[1])

    theirs = brentq(surplus, 1.0, 80.0, xtol=1e-12)
    assert brentq(room, 1.0, 80.0, xtol=1e-12) == pytest.approx(theirs, rel=1e-9)


BASE_RADPS = LIMIT_V / (torque_per_amp(MOTOR.kv_rpm_per_v) / 1.5)


@pytest.mark.parametrize("weakening", [15.0, 40.0])
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("speed_ratio", [0.9, 1.0, 1.05, 1.1])
def test_field_weakening_drives_up_to_the_voltage_of_the_other_machine(
    speed_ratio, sign, weakening
):
    wheel_radps = sign * speed_ratio * BASE_RADPS
    low, high, _ = window(wheel_radps, weakening=weakening)
    driving = high if sign > 0.0 else low

    torque, voltage = held(driving, wheel_radps, demagnetising_a=weakening)
    if driving != 0.0:
        assert abs(voltage) == pytest.approx(LIMIT_V, rel=1e-9)
        assert torque * sign > 0.0
    assert (driving != 0.0) == (abs(held(0.0, wheel_radps, demagnetising_a=weakening)[1]) < LIMIT_V)
    without = window(wheel_radps)[1 if sign > 0.0 else 0]
    assert sign * driving > sign * without or driving == without == 0.0


@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 1.0])
def test_no_more_demagnetising_current_flows_than_the_other_machine_needs(share):
    wheel_radps = 1.02 * BASE_RADPS
    _, high, _ = window(wheel_radps, weakening=40.0)
    current_a = share * high
    needed = brentq(
        lambda d: abs(held(current_a, wheel_radps, demagnetising_a=d)[1]) - LIMIT_V, 0.0, 41.0
    )

    _, _, square = window(wheel_radps, weakening=40.0, current_a=current_a)

    # In a straight line with the voltage's square: up to 6 % of the most from the root.
    assert np.sqrt(square) == pytest.approx(needed, abs=0.06 * 40.0)
    assert window(0.8 * BASE_RADPS, weakening=40.0, current_a=current_a)[2] == 0.0


def test_below_the_speed_at_which_diodes_conduct_nothing_is_forced():
    # Line-to-line peak back-EMF over bus voltage, times 3 / pi: where a six-pulse rectifier starts.
    onset = np.pi / 3.0 * BUS_V / np.sqrt(3.0) / LIMIT_V
    for ratio in np.linspace(0.9, 0.999 * onset, 20):
        for sign in (1.0, -1.0):
            low, high, _ = window(sign * ratio * BASE_RADPS)

            assert low <= 0.0 <= high
    assert window(1.02 * onset * BASE_RADPS)[1] < 0.0
    assert window(-1.02 * onset * BASE_RADPS)[0] > 0.0


def bridged(wheel_radps, bus_v):
    """Return q-axis current and amplitude of a machine on a bridge of diodes, solved in time.

    Three phases of back-EMF, resistance and inductance; each terminal lies at the rail to which its
    current flows. The q-axis current is the shaft's power over 3/2 e; the amplitude heats alike.
    """
    emf = torque_per_amp(MOTOR.kv_rpm_per_v) / 1.5 * wheel_radps
    turning = MOTOR.pole_pairs * wheel_radps
    angles = np.array([0.0, -2.0, 2.0]) * np.pi / 3.0
    period = 2.0 * np.pi / turning

    def phases(two):
        return np.array([two[0], two[1], -two[0] - two[1]])

    def slope(time_s, two):
        out = phases(two)
        rail = 0.5 * bus_v * np.tanh(out / 0.05)
        inner = emf * np.cos(turning * time_s + angles)
        pushed = inner - MOTOR.phase_resistance_ohm * out - (rail - rail.mean())
        return (pushed / MOTOR.phase_inductance_h)[:2]

    solved = solve_ivp(
        slope,
        (0.0, 20.0 * period),
        [0.0, 0.0],
        method="LSODA",
        rtol=1e-6,
        atol=1e-4,
        max_step=period / 200.0,
    )
    last = solved.t > 16.0 * period
    time_s, out = solved.t[last], phases(solved.y[:, last])
    inner = emf * np.cos(turning * time_s + angles[:, np.newaxis])
    span = time_s[-1] - time_s[0]
    shaft = np.trapezoid((inner * out).sum(axis=0), time_s) / span
    square = np.trapezoid((out**2).sum(axis=0), time_s) / span
    return shaft / (1.5 * emf), np.sqrt(square / 1.5)


@pytest.mark.parametrize("over_onset", [1.1, 1.2, 1.4])
def test_the_diodes_brake_as_a_bridge_solved_in_time(over_onset):
    # Above: the published mean of a rectifier with commutating reactance. Commutations that
    # overlap each other make it up to 15 % too little at the highest speeds.
    wheel_radps = over_onset * np.pi / 3.0 * BUS_V / np.sqrt(3.0) / LIMIT_V * BASE_RADPS
    braking, amplitude = bridged(wheel_radps, BUS_V)

    low, high, square = window(wheel_radps)

    assert low == high
    assert -high == pytest.approx(braking, rel=0.15)
    assert np.sqrt(high**2 + square) == pytest.approx(amplitude, rel=0.15)


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
    copper, _ = losses(current_a, 0.0, MOTOR.phase_resistance_ohm, 0.0, 0.0, BUS_V)
    drawn = converter.i_dc_int * BUS_V
    assert 1.5 * emf * current_a + copper == pytest.approx(drawn, rel=1e-9)
