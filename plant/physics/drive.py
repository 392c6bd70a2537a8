"""Motor and inverter of one lane: what current can flow, and what it costs.

Symbols: i q-axis current (amplitude-invariant), e back-EMF and u voltage, both phase peak
(line to neutral), R phase resistance, X electrical speed times inductance.
"""

import math

from plant.compile import scalar
from plant.physics.scalar_math import clip, larger, magnitude, smaller

# Square of peak phase voltage over bus voltage, at full modulation without over-modulation.
PHASE_SQUARE_PER_BUS_SQUARE = 1.0 / 3.0


@scalar
def voltage_window(
    emf: float, resistance: float, reactance: float, phase_square: float, sag: float
) -> tuple[float, float]:
    """Return the lowest and highest current that the phase voltage can drive, in A.

    Solves (e + R i)^2 + (X i)^2 <= u^2 exactly (steady-state PMSM voltage equation with id = 0),
    with u^2 = `phase_square` - `sag` (e i + R i^2) in V^2: the bus sags under the power that the
    current takes, and `sag` in ohm is by how much. Where no current solves it, both are the
    current that comes nearest.
    """
    a = resistance * resistance + reactance * reactance + sag * resistance
    half_b = emf * (resistance + 0.5 * sag)
    square = half_b * half_b - a * (emf * emf - phase_square)
    root = math.sqrt(larger(square, 0.0))
    per_a = 1.0 / a
    return (-half_b - root) * per_a, (root - half_b) * per_a


@scalar
def phase_squares(modulation: float, bus_square: float, fall: float) -> tuple[float, float]:
    """Return `phase_square` in V^2 and `sag` in ohm of the voltage window.

    From the largest modulation index, and the bus voltage's square without motor power and its
    fall with it, V^2 and V^2/W (`plant.physics.battery.pack_limits`).
    """
    share = modulation * modulation * PHASE_SQUARE_PER_BUS_SQUARE
    return share * bus_square, 1.5 * share * fall


@scalar
def power_window(
    emf: float, resistance: float, per_resistance: float, discharge_w: float, charge_w: float
) -> tuple[float, float]:
    """Return the currents between which electrical power stays inside the battery's limits.

    Solves -charge <= 1.5 (e i + R i^2) <= discharge, in A. The charging side applies to currents
    that brake; where no current charges beyond the limit it does not bind. `per_resistance` is
    1 / R.
    """
    half = 0.5 * per_resistance
    root = math.sqrt(emf * emf + resistance * discharge_w * (4.0 / 1.5))
    low = (-emf - root) * half
    high = (-emf + root) * half
    square = emf * emf - resistance * charge_w * (4.0 / 1.5)
    inner = math.sqrt(larger(square, 0.0))
    brake_forward = (-emf + inner) * half
    brake_backward = (-emf - inner) * half
    binds = square > 0.0
    low = brake_forward if (binds and emf > 0.0) else low
    high = brake_backward if (binds and emf < 0.0) else high
    return low, high


@scalar
def current_window(
    emf: float,
    resistance: float,
    per_resistance: float,
    reactance: float,
    phase_square: float,
    sag: float,
    phase_limit: float,
    discharge_w: float,
    charge_w: float,
) -> tuple[float, float]:
    """Return the lowest and highest available current under every limit, in A."""
    volt_low, volt_high = voltage_window(emf, resistance, reactance, phase_square, sag)
    power_low, power_high = power_window(emf, resistance, per_resistance, discharge_w, charge_w)
    low = larger(larger(volt_low, power_low), -phase_limit)
    high = smaller(smaller(volt_high, power_high), phase_limit)
    # Beyond the voltage limit the windows may miss each other: physics wins over limits.
    low = clip(low, volt_low, volt_high)
    high = larger(clip(high, volt_low, volt_high), low)
    return low, high


@scalar
def losses(
    current: float, winding_r: float, mosfet_r: float, switching: float, bus_v: float
) -> tuple[float, float]:
    """Return copper loss and MOSFET loss in W: 1.5 R i^2, and 1.5 R_on i^2 + k |i| V."""
    square = 1.5 * current * current
    return square * winding_r, square * mosfet_r + switching * magnitude(current) * bus_v


@scalar
def derating(temperature: float, start: float, end: float) -> float:
    """Return the share of the phase current limit that the temperature leaves, 1 to 0."""
    return clip((end - temperature) / (end - start), 0.0, 1.0)
