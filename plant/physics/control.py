"""The control law of one lane, section by section of the profile.

Angles in deg and gains in A/deg, as in the profile. A pitch error is positive when the nose is
below the wanted level; a positive current drives forward and lifts the nose.
"""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from plant.compile import scalar
from plant.constants import DT_S
from plant.physics.scalar_math import clip, direction, larger, magnitude, smaller

LOAD_FILTER_S = 0.10  # assumed: current and acceleration pass equal filters before comparison
_LIFT_FILTER_S = 0.15  # assumed: the stiffness lift follows the load residual with this lag
_BRAKE_SPEED_MPS = 0.5  # assumed: braking settings blend in up to this speed
_OVERRIDE_MPS2 = 1.0  # assumed: downhill residual that fully overrides soft braking
_LEAST_RESERVE_RATIO = 0.02  # assumed: a warning that starts later still does not jump
_LEAST_HEAT_MARGIN_K = 0.5  # assumed: as above
_LEAST_BUS_MARGIN_V = 0.2  # assumed: as above

_Number = TypeVar("_Number", float, NDArray[np.float64])


@scalar
def stiffness_current(
    error: float,
    inner_gain: float,
    inner_band: float,
    base_gain: float,
    mid_knee: float,
    mid_ratio: float,
    outer_knee: float,
    outer_ratio: float,
) -> float:
    """Return the current in A that the gain schedule asks for a pitch error in deg."""
    size = magnitude(error)
    first = larger(mid_knee, inner_band)
    second = larger(outer_knee, first)
    mid_gain = base_gain * mid_ratio
    current = (
        inner_gain * smaller(size, inner_band)
        + base_gain * clip(size - inner_band, 0.0, first - inner_band)
        + mid_gain * clip(size - first, 0.0, second - first)
        + mid_gain * outer_ratio * larger(size - second, 0.0)
    )
    return current if error > 0.0 else -current


@scalar
def braking_share(error: float, speed: float) -> float:
    """Return 1 where the wanted current opposes the motion, 0 where it drives, blended."""
    return clip(-direction(error, 0.3) * direction(speed, _BRAKE_SPEED_MPS), 0.0, 1.0)


@scalar
def override(ratio: float, downhill: float) -> float:
    """Return a soft braking ratio brought back towards 1 by a downhill residual in m/s2."""
    back = ratio + (1.0 - ratio) * clip(downhill / _OVERRIDE_MPS2, 0.0, 1.0)
    return back if ratio < 1.0 else ratio


@scalar
def load_residual(
    current: float, acceleration: float, per_expected: float, deadband: float
) -> tuple[float, float]:
    """Return uphill and downhill residual beyond the deadband in m/s2, both from zero up.

    The residual is the acceleration that the current should give on the flat (`per_expected` in
    m/s2 per A), less the measured.
    """
    residual = current * per_expected - acceleration
    return larger(residual - deadband, 0.0), larger(-residual - deadband, 0.0)


@scalar
def slewed(value: float, wanted: float, rise: float, fall: float) -> float:
    """Return `value` moved towards `wanted`: by `rise` away from zero, by `fall` towards it."""
    grows = magnitude(wanted) > magnitude(value) and wanted * value >= 0.0
    step = rise if grows else fall
    return value + clip(wanted - value, -step, step)


@scalar
def lift_under_load(lift: float, residual: float, gain: float, cap: float) -> float:
    """Return the stiffness ratio under load after one step, a lag towards 1 + gain residual."""
    wanted = smaller(1.0 + gain * residual, cap)
    return lift + (wanted - lift) * (DT_S / _LIFT_FILTER_S)


def warning_widths(
    reserve_warning_ratio: _Number, heat_margin_k: _Number, bus_margin_v: _Number
) -> tuple[_Number, _Number, _Number]:
    """Return over what width each warning grows from nothing to its full.

    Parameters
    ----------
    reserve_warning_ratio : float or (lane,) float64
        Torque reserve, as a ratio of the phase current limit, at which its warning starts.
    heat_margin_k, bus_margin_v : float or (lane,) float64
        How far before the throttle temperature and the bus-voltage limit their warnings start.

    Returns
    -------
    tuple of float or (lane,) float64
        Half the reserve at which the warning starts, as a ratio: the lift is full before the
        reserve is gone. The whole margin in K, and the whole margin in V.
    """
    return (
        0.5 * np.maximum(reserve_warning_ratio, _LEAST_RESERVE_RATIO),
        np.maximum(heat_margin_k, _LEAST_HEAT_MARGIN_K),
        np.maximum(bus_margin_v, _LEAST_BUS_MARGIN_V),
    )


@scalar
def below(value: float, start: float, per_width: float) -> float:
    """Return how far `value` has gone below `start`, 0 to 1 over the width 1 / `per_width`."""
    return clip((start - value) * per_width, 0.0, 1.0)


@scalar
def warning_share(
    reserve: float,
    reserve_start: float,
    per_reserve_width: float,
    heat_room: float,
    heat_margin: float,
    per_heat_width: float,
    bus_room: float,
    bus_margin: float,
    per_bus_width: float,
) -> float:
    """Return how strongly to warn, 0 to 1, by the nearest of the limits.

    Torque reserve as a ratio; the room left to the throttle temperature in K and to the nearer
    bus-voltage limit in V; each with the margin at which its warning starts and one over its
    width (`warning_widths`).
    """
    by_reserve = below(reserve, reserve_start, per_reserve_width)
    by_heat = below(heat_room, heat_margin, per_heat_width)
    by_bus = below(bus_room, bus_margin, per_bus_width)
    return larger(by_reserve, larger(by_heat, by_bus))


@scalar
def integrate(integral: float, error: float, gain: float, clamp: float, excess: float) -> float:
    """Return the integral's current after one step; it holds while the drive saturates its way.

    `excess` is wanted less available current: anti-windup by conditional integration.
    """
    winding_up = error * excess > 0.0
    step = 0.0 if winding_up else gain * error * DT_S
    return clip(integral + step, -clamp, clamp)
