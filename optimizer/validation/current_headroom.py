"""How much current is left for balancing, by speed, rider and state of charge.

Charge is not in the linearised loop: inside its limits the current loop is a lag that no voltage
changes, so a loop's margins are the same on every pack. Charge decides where they end. The pack's
voltage, less its sag under the very current that is asked for, bounds that current at a speed; a
pitch error that asks for more meets a drive that gives no more, and the loop's gain falls.
"""

import dataclasses
import math
from collections.abc import Callable

import numpy as np

from optimizer.study.catalogue_surface import ASPHALT, catalogue_surface
from optimizer.study.drive_window import drive_window, emf_v, seen_pack
from optimizer.study.holding_current import holding_current
from plant.arrays import Floats
from plant.compile import entry
from plant.description.board import Board
from plant.description.cells import open_circuit_voltage
from plant.description.profile import Profile
from plant.description.rider import Rider
from plant.kernel.lane_init import saturation_of
from plant.physics.battery import bus_voltage
from plant.physics.control import warning_share, warning_widths
from plant.physics.drive import losses
from plant.physics.saturation import unsaturated
from plant.stiffness import stiffness_curve

_HALVINGS = 40
_ERRORS_DEG = np.linspace(0.0, 45.0, 451)
_bus_voltage = entry(bus_voltage)
_losses = entry(losses)
_unsaturated = entry(unsaturated)
_warning_share = entry(warning_share)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class CurrentHeadroom:
    """What the drive has at a steady ride on the level, on a cold winding.

    Attributes
    ----------
    steady_a : float
        What the ride itself takes.
    bus_v : float
        Pack voltage meanwhile.
    high_a, low_a : float
        The most and the least current that the drive can make while the pack sags, or rises, under
        it, inside every limit and between the voltages at which the drive cuts out.
    reserve_ratio : float
        Torque reserve as the control law sees it: of the phase current limit.
    """

    steady_a: float
    bus_v: float
    high_a: float
    low_a: float
    reserve_ratio: float


def current_headroom(
    board: Board, rider: Rider, *, speed_mps: float, charge_ratio: float
) -> CurrentHeadroom:
    """Return what current the drive has left while a rider rides steadily on level asphalt.

    The pack's RC pair has settled under the steady ride; a correction is too short to move it.
    """
    rolling_ratio = catalogue_surface(ASPHALT).rolling_ratio
    steady_a = holding_current(board, rider, speed_mps=speed_mps, rolling_ratio=rolling_ratio)
    cell_v = open_circuit_voltage(charge_ratio, board.battery.chemistry)
    source_v = board.battery.cells_in_series * cell_v
    source_v = _settled(board, source_v, speed_mps, steady_a)
    bus_v, _ = _bus(board, source_v, speed_mps, steady_a)
    battery, drive = board.battery, board.drive
    seen_high_a = drive_window(board, speed_mps, seen_pack(board, source_v))[1]

    def possible(current_a: float) -> bool:
        bus, _ = _bus(board, source_v, speed_mps, current_a)
        most_w = bus * drive.battery_current_limit_a - drive.standby_power_w
        least_w = bus * _charge_limit(board, bus) + drive.standby_power_w
        low_a, high_a = drive_window(board, speed_mps, (bus * bus, 0.0, max(most_w, 0.0), least_w))
        inside = battery.bus_low_v <= bus <= battery.bus_high_v
        return inside and low_a <= current_a <= high_a

    limit_a = board.drive.phase_current_limit_a
    return CurrentHeadroom(
        steady_a=steady_a,
        bus_v=bus_v,
        high_a=_farthest(possible, steady_a, limit_a),
        low_a=_farthest(possible, steady_a, -limit_a),
        reserve_ratio=(seen_high_a - steady_a) / limit_a,
    )


def answered_pitch(profile: Floats, headroom: CurrentHeadroom) -> float:
    """Return up to what pitch error, nose down, the stiffness gets the current it asks for, in deg.

    For an error that comes slowly: damping asks for more.

    Parameters
    ----------
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    headroom : CurrentHeadroom
    """
    riding, _ = stiffness_curve(profile, _ERRORS_DEG)
    return float(np.interp(headroom.high_a - headroom.steady_a, riding, _ERRORS_DEG))


def warning_lift(profile: Profile, board: Board, headroom: CurrentHeadroom) -> float:
    """Return by how many deg the nose is lifted to warn of reserve and pack at a steady ride."""
    asked = profile.protection
    reserve_width, heat_width, bus_width = warning_widths(
        asked.reserve_warning_ratio, asked.heat_warning_margin_k, asked.bus_warning_margin_v
    )
    share = _warning_share(
        headroom.reserve_ratio,
        asked.reserve_warning_ratio,
        1.0 / reserve_width,
        math.inf,
        asked.heat_warning_margin_k,
        1.0 / heat_width,
        headroom.bus_v - board.battery.bus_low_v,
        board.taper_start_v - headroom.bus_v,
        asked.bus_warning_margin_v,
        1.0 / bus_width,
    )
    return float(share * asked.warning_lift_deg)


def _bus(board: Board, source_v: float, speed_mps: float, current_a: float) -> tuple[float, float]:
    """Return bus voltage in V and pack current in A once the pack sags under a motor current."""
    drive, bus_v, pack_a = board.drive, source_v, 0.0
    for _ in range(3):  # switching losses go with the bus voltage itself, by a few watts
        copper_w, mosfet_w = _losses(
            current_a,
            0.0,
            board.motor.phase_resistance_ohm,
            drive.mosfet_resistance_ohm,
            drive.switching_loss_w_per_a_v,
            bus_v,
        )
        linear_a = _unsaturated(current_a, *saturation_of(board.motor))
        power_w = 1.5 * emf_v(board, speed_mps) * linear_a + copper_w + mosfet_w
        power_w += drive.standby_power_w
        square = source_v**2 - 4.0 * board.battery.series_resistance_ohm * power_w
        if square <= 0.0:  # more than the pack can give at any voltage
            return 0.0, math.inf
        bus_v, pack_a = _bus_voltage(source_v, board.battery.series_resistance_ohm, power_w)
    return bus_v, pack_a


def _settled(board: Board, rest_v: float, speed_mps: float, current_a: float) -> float:
    """Return the pack's voltage behind its series resistance after a long steady ride."""
    source_v = rest_v
    for _ in range(8):
        _, pack_a = _bus(board, source_v, speed_mps, current_a)
        source_v = max(rest_v - pack_a * board.battery.rc_resistance_ohm, 0.0)
    return source_v


def _charge_limit(board: Board, bus_v: float) -> float:
    """Return the charging current in A that the drive allows at a bus voltage."""
    band_v = board.drive.regen_taper_v
    share = (board.battery.bus_high_v - bus_v) / band_v if band_v > 0.0 else 1.0
    return board.drive.regen_current_limit_a * min(max(share, 0.0), 1.0)


def _farthest(possible: Callable[[float], bool], start: float, end: float) -> float:
    """Return how far from a possible number to an end all is possible; the start if it is not."""
    if possible(end):
        return end
    near, far = start, end
    for _ in range(_HALVINGS):
        middle = 0.5 * (near + far)
        near, far = (middle, far) if possible(middle) else (near, middle)
    return near
