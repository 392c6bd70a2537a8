"""Motor and drive against data sheets, published relations and numerical roots."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from optimizer.study.tolerances import with_numbers
from plant.kernel.lane_init import torque_per_amp
from plant.kernel.lane_layout import WIDTH
from plant.physics.drive import losses, voltage_window
from tests import invented
from tests.plant import rig

RADPS_PER_RPM = 2.0 * math.pi / 60.0


def highest(emf, resistance, reactance, phase_voltage):
    """Return the highest current of our voltage window at a stiff bus, without field weakening."""
    square, bus_v = phase_voltage**2, math.sqrt(3.0) * phase_voltage
    return voltage_window(emf, resistance, reactance, square, 0.0, 0.0, bus_v, 0.0)[1]


def test_torque_constant_is_8_26993_over_kv():
    # MathWorks, Surface Mount PMSM: lambda = Ke / (sqrt(3) 1000 p) 60 / (2 pi), Ke in V per krpm
    # line-to-line peak, Kt = 3/2 p lambda; Kv = 1000 / Ke and p drop out.
    kv = 15.0
    flux_times_pairs = (1000.0 / kv) / (math.sqrt(3.0) * 1000.0) * 60.0 / (2.0 * math.pi)

    assert torque_per_amp(kv) == pytest.approx(1.5 * flux_times_pairs, rel=1e-12)
    assert torque_per_amp(kv) == pytest.approx(8.26993 / kv, rel=1e-6)


def test_torque_constant_is_root_three_over_two_of_the_direct_current_one():
    # A brushed motor, or one with trapezoidal currents, has Kt = 60 / (2 pi Kv) = 9.54930 / Kv.
    assert torque_per_amp(15.0) / (9.54930 / 15.0) == pytest.approx(math.sqrt(3.0) / 2.0, rel=1e-6)


def test_flux_linkage_from_rms_current_agrees():
    # MathWorks Answers 102421: lambda = kt sqrt(2) / (3 p) with kt in N m per A rms; an amplitude
    # taken for an rms value would be off by sqrt(2).
    per_amp_rms = torque_per_amp(15.0) * math.sqrt(2.0)
    line_to_line_peak_v = math.sqrt(3.0) * (per_amp_rms * math.sqrt(2.0) / 3.0) * RADPS_PER_RPM

    assert 1.0 / line_to_line_peak_v == pytest.approx(15.0, rel=1e-12)


@pytest.mark.parametrize(
    ("rpm", "electrical_radps"), [(5393.0, 2259.1), (7008.0, 2935.5), (8361.0, 3502.3)]
)
def test_catalogued_motor_gives_its_torque_from_its_speeds(rpm, electrical_radps):
    # MathWorks examples of PMSMRatedTorque and PMSMSpeeds, motor BLY171D: 0.0314 N m at 1 A,
    # 4 pole pairs; each speed is given in rpm and in electrical rad/s.
    flux = 0.0314 / (1.5 * 4.0)
    line_to_line_peak_v = math.sqrt(3.0) * flux * electrical_radps

    assert torque_per_amp(rpm / line_to_line_peak_v) == pytest.approx(0.0314, rel=1e-4)


@pytest.mark.parametrize("speed_rpm", [0.0, 1000.0, 3000.0, 6000.0])
def test_catalogued_brushed_motor_keeps_its_power_balance(speed_rpm):
    # maxon catalogue, RE 40 at 24 V (from memory, self-consistent): 317 rpm/V, 30.2 mN m/A,
    # 0.299 ohm, stall 2420 mN m. maxon, Key information on DC motors: U I = pi/30000 n M + R I^2.
    emf = speed_rpm / 317.0
    current = highest(emf, 0.299, 0.0, 24.0)
    torque_mnm = 30.2 * current
    # Our losses and powers are those of three phases, 3/2 of the equal brushed motor's.
    copper_w, _ = losses(current, 0.0, 0.299, 0.0, 0.0, 24.0)

    shaft_w = math.pi / 30000.0 * speed_rpm * torque_mnm
    assert 24.0 * current == pytest.approx(shaft_w + copper_w / 1.5, rel=3e-3)


def test_catalogued_brushed_motor_has_its_stall_torque_and_gradient():
    # RE 40 as above: stall 2420 mN m, 3.14 rpm per mN m (from memory, self-consistent).
    stall_a = highest(0.0, 0.299, 0.0, 24.0)
    running_a = highest(3000.0 / 317.0, 0.299, 0.0, 24.0)

    assert 30.2 * stall_a == pytest.approx(2420.0, rel=3e-3)
    assert 3000.0 / (30.2 * (stall_a - running_a)) == pytest.approx(3.14, rel=5e-3)


def base_speed(voltage, resistance, inductance, current, *, flux, pairs):
    """MathWorks getMotorBaseSpeed, mechanical rad/s, for id = 0."""
    headroom = voltage / math.sqrt(3.0) - resistance * current
    return headroom / (pairs * math.hypot(inductance * current, flux))


@pytest.mark.parametrize(("resistance", "inductance"), [(1e-12, 2e-4), (0.06, 0.0)])
def test_voltage_limit_meets_the_published_base_speed(resistance, inductance):
    # getMotorBaseSpeed takes R i off the voltage as a number. That is exact where resistance or
    # inductance vanishes, and there the exact window must meet it.
    pairs, current, bus = 15, 60.0, 60.0
    flux = torque_per_amp(15.0) / (1.5 * pairs)
    speed = base_speed(bus, resistance, inductance, current, flux=flux, pairs=pairs)

    high = highest(
        pairs * flux * speed, resistance, pairs * speed * inductance, bus / math.sqrt(3.0)
    )

    assert high == pytest.approx(current, rel=1e-6)


def test_published_base_speed_lies_inside_the_exact_limit_in_between():
    pairs, current, bus, resistance, inductance = 15, 60.0, 60.0, 0.06, 2e-4
    flux = torque_per_amp(15.0) / (1.5 * pairs)
    speed = base_speed(bus, resistance, inductance, current, flux=flux, pairs=pairs)

    high = highest(
        pairs * flux * speed, resistance, pairs * speed * inductance, bus / math.sqrt(3.0)
    )

    # The shortcut adds the resistive drop as if it were in phase with the whole voltage.
    assert current < high < 1.1 * current


def pack_voltage(source_v, ohm, power_w):
    """Return the voltage of a source behind a resistance, by Ohm's law and P = V I."""
    return 0.5 * (source_v + math.sqrt(source_v**2 - 4.0 * ohm * power_w))


def most_current(board, source_v, wheel_radps, resistance):
    """Return the largest current that voltage and battery leave while the pack sags under it, A."""
    emf = torque_per_amp(board.motor.kv_rpm_per_v) / 1.5 * wheel_radps
    reactance = board.motor.pole_pairs * wheel_radps * board.motor.phase_inductance_h
    ohm, drive = board.battery.series_resistance_ohm, board.drive

    def spare(current):
        power = 1.5 * (emf * current + resistance * current**2) + drive.standby_power_w
        if 4.0 * ohm * power >= source_v**2:
            return -1.0
        bus = pack_voltage(source_v, ohm, power)
        asked = math.hypot(emf + resistance * current, reactance * current)
        spare_v = drive.modulation_limit_ratio * bus / math.sqrt(3.0) - asked
        return min(spare_v, drive.battery_current_limit_a - power / bus)

    return brentq(spare, 0.0, 1e4, xtol=1e-9)


@pytest.mark.parametrize("ohm", [0.04, 0.08, 0.16])
@pytest.mark.parametrize("asked_a", [1.0, 1e4])
def test_available_current_is_the_root_of_voltage_and_sag_whatever_flows_now(asked_a, ohm):
    limits = {"battery_current_limit_a": 50.0, "series_resistance_ohm": ohm}
    board = with_numbers(invented.board(), limits)
    speed = np.linspace(1.0, 9.5, WIDTH)
    asked = rig.held_current(asked_a) | {"current_a": 0.0} | limits
    pack = {"capacity_ah": 1e9, "per_charge": 0.0, "rc_resistance_ohm": 0.0}

    ridden = rig.run(
        rig.QUIET | rig.HELD | asked | pack | {"speed_mps": speed},
        seconds=0.2,
        course=rig.flat(0.2, 5.0),
        record=("available_high_a", "source_v", "winding_resistance_now_ohm"),
    )

    resistance = ridden.signal["winding_resistance_now_ohm"][-1] + board.drive.mosfet_resistance_ohm
    roots = [
        most_current(board, source, mps / board.wheel.wheel_radius_m, ohms)
        for source, mps, ohms in zip(ridden.signal["source_v"][-1], speed, resistance, strict=True)
    ]
    # A chord stands for the curve of the sag: a little below it.
    found = ridden.signal["available_high_a"][-1]
    np.testing.assert_allclose(found, roots, atol=0.015 * 140.0)
    assert np.all(found <= np.array(roots) + 1e-6)
    if ohm <= 0.08:
        np.testing.assert_allclose(found, roots, atol=0.004 * 140.0)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_battery_limits_bound_the_electrical_power(sign):
    # Discharging while driving and charging while braking, in both directions of travel.
    # Slower than 2 m/s, as a board that rolls back faster is a lost ride.
    speed = sign * np.linspace(0.2, 1.9, WIDTH)
    limits = {"battery_current_limit_a": 10.0, "regen_current_limit_a": 2.0}
    loose = rig.held_current(1e4) | {"current_a": 0.0} | limits
    pack = {"rc_resistance_ohm": 0.0, "per_charge": 0.0}
    signals = ("available_high_a", "available_low_a", "source_v", "winding_resistance_now_ohm")

    ridden = rig.run(
        rig.QUIET | rig.HELD | loose | pack | {"speed_mps": speed, "tracking_gain_per_s2": 0.0},
        seconds=0.1,
        course=rig.flat(0.1, 5.0),
        record=signals,
    )

    board = invented.board()
    rotor = speed / board.wheel.wheel_radius_m
    emf = torque_per_amp(board.motor.kv_rpm_per_v) / 1.5 * rotor
    resistance = ridden.signal["winding_resistance_now_ohm"][-1] + board.drive.mosfet_resistance_ohm
    # Ohm's law at the limit itself; the electronics take their share of the pack's power.
    source, ohm = ridden.signal["source_v"][-1], board.battery.series_resistance_ohm
    most_w = 10.0 * (source - 10.0 * ohm) - board.drive.standby_power_w
    least_w = -2.0 * (source + 2.0 * ohm) - board.drive.standby_power_w

    def power(current):
        return 1.5 * (emf * current + resistance * current**2)

    driving, braking = ("available_high_a", "available_low_a")[:: int(sign)]
    np.testing.assert_allclose(power(ridden.signal[driving][-1]), most_w, rtol=1e-9)
    charged = power(ridden.signal[braking][-1])
    assert np.all(charged >= least_w * (1.0 + 1e-9))
    # The most that braking can charge is 1.5 e^2 / 4 R, at half the short-circuit current.
    binds = 1.5 * emf**2 / (4.0 * resistance) > -least_w
    assert 1 <= np.count_nonzero(binds) < WIDTH
    np.testing.assert_allclose(charged[binds], least_w[binds], rtol=1e-9)


def test_current_follows_its_command_with_the_stated_lag():
    lag_s = invented.board().drive.current_lag_s
    asked = rig.held_current(20.0) | {"current_a": 0.0}

    ridden = rig.run(rig.QUIET | rig.HELD | asked, seconds=0.01, record=("current_a",))

    time_s = np.arange(1, 11) * 0.001
    np.testing.assert_allclose(
        ridden.signal["current_a"][:, 0], 20.0 * -np.expm1(-time_s / lag_s), rtol=1e-9
    )
