"""The motor current that holds a steady ride."""

import math

from plant.compile import entry
from plant.constants import AIR_DENSITY_KG_M3, GRAVITY_MPS2
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.lane_init import saturation_of, torque_per_amp
from plant.physics.resistance import air_drag, rolling_resistance
from plant.physics.saturation import saturated

_air_drag = entry(air_drag)
_rolling_resistance = entry(rolling_resistance)
_saturated = entry(saturated)


def holding_current(
    board: Board,
    rider: Rider,
    *,
    speed_mps: float,
    rolling_ratio: float,
    grade_rad: float = 0.0,
    headwind_mps: float = 0.0,
) -> float:
    """Return the motor current in A against grade, rolling resistance and air."""
    mass_kg = rider.body.mass_kg + board.frame.frame_mass_kg + board.wheel.wheel_mass_kg
    weight_n = mass_kg * GRAVITY_MPS2
    force_n = weight_n * math.sin(grade_rad)
    force_n += _rolling_resistance(speed_mps, weight_n * math.cos(grade_rad), rolling_ratio)
    force_n += _air_drag(speed_mps, headwind_mps, AIR_DENSITY_KG_M3, rider.body.drag_area_m2)
    linear_a = force_n * board.wheel.wheel_radius_m / torque_per_amp(board.motor.kv_rpm_per_v)
    return float(_saturated(linear_a, *saturation_of(board.motor)))
