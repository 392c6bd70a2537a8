"""Winding and drive of one lane: how warm they get, and what the warmth takes."""

from plant.compile import scalar
from plant.constants import AMBIENT_C, COPPER_PER_K, COPPER_REFERENCE_C
from plant.physics.drive import derating

_WINDING_HEADROOM_K = 10.0  # assumed: derating starts this far below the winding's limit


@scalar
def winding_resistance(reference_ohm: float, winding_c: float) -> float:
    """Return the phase resistance in ohm of a winding at a temperature."""
    return reference_ohm * (1.0 + COPPER_PER_K * (winding_c - COPPER_REFERENCE_C))


@scalar
def warmed(
    temperature_c: float, loss_w: float, per_resistance: float, per_capacity: float, h: float
) -> float:
    """Return the temperature after `h` s of one thermal mass that leaks to the ambient, in degC.

    `per_resistance` is one over its thermal resistance in W/K, `per_capacity` one over its heat
    capacity in K/J.
    """
    return temperature_c + (loss_w - (temperature_c - AMBIENT_C) * per_resistance) * (
        h * per_capacity
    )


@scalar
def derated_limit(
    limit_a: float,
    mosfet_c: float,
    throttle_start_c: float,
    throttle_end_c: float,
    winding_c: float,
    winding_limit_c: float,
) -> float:
    """Return the phase current limit in A that MOSFET and winding leave."""
    return (
        limit_a
        * derating(mosfet_c, throttle_start_c, throttle_end_c)
        * derating(winding_c, winding_limit_c - _WINDING_HEADROOM_K, winding_limit_c)
    )
