"""The pack of one lane: a source behind a series resistance and one RC pair."""

import math

from plant.compile import scalar
from plant.physics.scalar_math import clip, larger, smaller

_LEAST_SOURCE_V = 1.0  # assumed: an empty pack still divides


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
def pack_limits(
    source_v: float,
    resistance: float,
    discharge_a: float,
    charge_a: float,
    standby_w: float,
    high_v: float,
    per_taper: float,
) -> tuple[float, float, float, float]:
    """Return what the pack gives a motor while it gives it: square, its fall, and both powers.

    The first two are the bus voltage's square at no motor power, in V^2, and by how much it falls
    for each W: the chord of V^2 = E^2 / 2 + E sqrt(E^2 / 4 - r P) - r P between no power and the
    most that the limit of discharging allows. It lies below the curve, by (r P / 2 E)^2 at most:
    a twentieth of a volt on a common pack. Then the most power in W that the motor may take, and
    give.

    Charging tapers off as the bus comes near `high_v`, by `per_taper` in 1/V
    (`plant.kernel.lane_init.per_taper`).
    """
    taken_a = charge_a * clip((high_v - source_v) * per_taper, 0.0, 1.0)
    source = larger(source_v, _LEAST_SOURCE_V)
    # No pack gives more power than at half its voltage.
    drawn_a = smaller(discharge_a, 0.5 * source / resistance)
    limit_v = source - resistance * drawn_a
    fall = resistance * (source + limit_v) / limit_v
    return (
        source * source - fall * standby_w,
        fall,
        larger(drawn_a * limit_v - standby_w, 0.0),
        taken_a * (source + resistance * taken_a) + standby_w,
    )


@scalar
def relaxed(
    rc_voltage: float, pack_a: float, resistance: float, per_time: float, h: float
) -> float:
    """Return the RC pair's voltage after `h` s, on its way to the pack current times resistance."""
    return rc_voltage + (pack_a * resistance - rc_voltage) * (h * per_time)
