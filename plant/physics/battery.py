"""The pack of one lane: open-circuit voltage by charge, series resistance, one RC pair."""

import math

from plant.compile import scalar
from plant.physics.scalar_math import clip, larger

# Open-circuit voltage of an NMC/graphite cell at states of charge 0, 0.1 ... 1: LG M50,
# Chen et al. 2020, J. Electrochem. Soc. 167:080534.
CELL_OCV_V = (2.5, 3.2959, 3.4852, 3.5814, 3.6670, 3.7509, 3.8406, 3.9479, 4.0421, 4.0967, 4.2)


@scalar
def open_circuit_voltage(charge_ratio: float) -> float:
    """Return the voltage of one cell at rest in V, linear between the table's points."""
    place = clip(charge_ratio, 0.0, 1.0) * 10.0
    voltage = CELL_OCV_V[0]
    for node in range(10):
        voltage += (CELL_OCV_V[node + 1] - CELL_OCV_V[node]) * clip(place - node, 0.0, 1.0)
    return voltage


@scalar
def bus_voltage(source_v: float, resistance: float, power: float) -> tuple[float, float]:
    """Return bus voltage in V and pack current in A at a power drawn, in W.

    V = (E + sqrt(E^2 - 4 r P)) / 2. No voltage gives more than the largest power E^2/4r: the bus
    collapses to 0 V, below the low cut-out of any drive, and the ride ends.
    """
    square = source_v * source_v - 4.0 * resistance * power
    voltage = 0.5 * (source_v + math.sqrt(larger(square, 0.0)))
    return (voltage if square >= 0.0 else 0.0), power / voltage


@scalar
def relaxed(
    rc_voltage: float, pack_a: float, resistance: float, per_time: float, h: float
) -> float:
    """Return the RC pair's voltage after `h` s, on its way to the pack current times resistance."""
    return rc_voltage + (pack_a * resistance - rc_voltage) * (h * per_time)
