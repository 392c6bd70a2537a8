"""Which motor currents a drive can make at a speed, inside every limit of motor, drive and pack."""

import math

from plant.compile import entry
from plant.description.board import Board
from plant.kernel.lane_init import per_taper, torque_per_amp
from plant.physics.battery import pack_limits
from plant.physics.drive import current_window, phase_squares

_current_window = entry(current_window)
_pack_limits = entry(pack_limits)
_phase_squares = entry(phase_squares)


def emf_v(board: Board, speed_mps: float) -> float:
    """Return the motor's back-EMF at a speed, amplitude of a phase, in V."""
    rotor_radps = speed_mps / board.wheel.wheel_radius_m
    return torque_per_amp(board.motor.kv_rpm_per_v) / 1.5 * rotor_radps


def seen_pack(board: Board, source_v: float) -> tuple[float, float, float, float]:
    """Return what a pack gives as the drive reckons it; see `plant.physics.battery.pack_limits`."""
    battery, drive = board.battery, board.drive
    found: tuple[float, float, float, float] = _pack_limits(
        source_v,
        battery.series_resistance_ohm,
        drive.battery_current_limit_a,
        drive.regen_current_limit_a,
        drive.standby_power_w,
        battery.bus_high_v,
        per_taper(drive, battery),
    )
    return found


def drive_window(
    board: Board, speed_mps: float, pack: tuple[float, float, float, float]
) -> tuple[float, float]:
    """Return the least and the most current in A, on a cold winding.

    Parameters
    ----------
    board : Board
    speed_mps : float
    pack : tuple of float
        What `plant.physics.battery.pack_limits` returns, as `seen_pack` does.
    """
    bus_square, fall, discharge_w, charge_w = pack
    drive, motor = board.drive, board.motor
    resistance = motor.phase_resistance_ohm + drive.mosfet_resistance_ohm
    rotor_radps = speed_mps / board.wheel.wheel_radius_m
    low_a, high_a, _ = _current_window(
        emf_v(board, speed_mps),
        resistance,
        1.0 / resistance,
        motor.pole_pairs * rotor_radps * motor.phase_inductance_h,
        *_phase_squares(drive.modulation_limit_ratio, bus_square, fall),
        drive.field_weakening_a,
        math.sqrt(bus_square),
        drive.phase_current_limit_a,
        discharge_w,
        charge_w,
        0.0,
    )
    return float(low_a), float(high_a)
