"""Motor and inverter of one lane: what current can flow, and what it costs.

Symbols: i q-axis current (amplitude-invariant), e back-EMF and u voltage, both phase peak
(line to neutral), R phase resistance, X electrical speed times inductance.
"""

import math

from plant.compile import scalar
from plant.physics.scalar_math import clip, larger, magnitude, smaller

# Square of peak phase voltage over bus voltage, at full modulation without over-modulation.
PHASE_SQUARE_PER_BUS_SQUARE = 1.0 / 3.0
_RECTIFIED_PER_EMF = 3.0 * math.sqrt(3.0) / math.pi  # mean of a six-pulse rectifier
_COMMUTATING = 3.0 / math.pi
_TINY = 1e-9


@scalar
def voltage_window(
    emf: float,
    resistance: float,
    reactance: float,
    phase_square: float,
    sag: float,
    weakening: float,
    bus_v: float,
    current: float,
) -> tuple[float, float, float, float]:
    """Return lowest and highest current, what flows besides, and what is forced: A, A, A^2, A.

    For a motor that turns forward: `emf` and `reactance` are not negative. Solves
    (e - X d + R i)^2 + (X i + R d)^2 <= u^2 (steady-state PMSM voltage equation, d = -id), with
    u^2 = `phase_square` - `sag` (e i + R i^2) in V^2: the bus sags under the power that the
    current takes, and `sag` in ohm is by how much. With all of `weakening`, the largest d that the
    drive makes, these are the limits of i; the third number is the square of the d that the
    present current needs.

    Where the back-EMF is above that voltage nothing drives. The drive brakes while a current
    solves the equation, and switches off instead of it: nothing flows, until the diodes rectify
    (`rectified`), from when on nothing else does.
    """
    z2 = resistance * resistance + reactance * reactance
    a = z2 + sag * resistance
    half_b = emf * (resistance + 0.5 * sag)
    # Slower, so much d would raise the voltage; there it is not needed.
    weakest = weakening if emf * reactance > z2 * weakening else 0.0
    gained = weakest * (2.0 * emf * reactance - z2 * weakest)
    over = emf * emf - phase_square
    root = math.sqrt(larger(half_b * half_b - a * (over - gained), 0.0))
    # One division for three: by a, by what is gained, and by the rectifier's e (2 R + 3 X / pi).
    gain = larger(gained, _TINY)
    behind = larger(emf * (2.0 * resistance + _COMMUTATING * reactance), _TINY)
    per_all = 1.0 / (a * gain * behind)
    per_a = per_all * gain * behind
    lost = over > gained
    high = 0.0 if lost else (root - half_b) * per_a
    low = (-half_b - root) * per_a
    needed = (over + current * (a * current + 2.0 * half_b)) * (per_all * a * behind)
    d = weakest * clip(needed, 0.0, 1.0)
    braked, besides = rectified(emf, resistance, bus_v, per_all * a * gain)
    forced = braked if lost else 0.0
    return low, high, (besides if forced < 0.0 else d * d), forced


@scalar
def rectified(
    emf: float, resistance: float, bus_v: float, per_behind: float
) -> tuple[float, float]:
    """Return the q-axis current in A that the diodes of a switched-off drive force, and its rest.

    A three-phase rectifier with commutating reactance, V = 3 sqrt(3) / pi e - (3 / pi X + 2 R) I
    (Mohan, Undeland, Robbins, Power Electronics, from memory): V I and the heat 2 R I^2 come from
    the shaft. What flows besides the q-axis current makes up the heat, in A^2. `per_behind` is one
    over e (2 R + 3 / pi X).
    """
    spare_v = larger(_RECTIFIED_PER_EMF * emf - bus_v, 0.0)
    pack_a = spare_v * emf * per_behind
    share = spare_v * per_behind * (bus_v + 2.0 * resistance * pack_a)
    current = -(1.0 / 1.5) * share
    return current, larger((4.0 / 3.0) * pack_a * pack_a - current * current, 0.0)


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

    For a motor that turns forward, `emf` not negative. Solves -charge <= 1.5 (e i + R i^2) <=
    discharge, in A. The charging side applies to currents that brake; where no current charges
    beyond the limit it does not bind. `per_resistance` is 1 / R.
    """
    half = 0.5 * per_resistance
    root = math.sqrt(emf * emf + resistance * discharge_w * (4.0 / 1.5))
    square = emf * emf - resistance * charge_w * (4.0 / 1.5)
    inner = math.sqrt(larger(square, 0.0))
    low = -emf + inner if square > 0.0 else -emf - root
    return low * half, (-emf + root) * half


@scalar
def current_window(
    emf: float,
    resistance: float,
    per_resistance: float,
    reactance: float,
    phase_square: float,
    sag: float,
    weakening: float,
    bus_v: float,
    phase_limit: float,
    discharge_w: float,
    charge_w: float,
    current: float,
) -> tuple[float, float, float]:
    """Return the lowest and highest available current under every limit, in A, and what else flows.

    The third number is the square of the current besides the q-axis one, in A^2: it heats, and
    makes no torque. The phase limit holds for the q-axis current alone. What diodes force flows
    whatever the limits.
    """
    forward = emf >= 0.0
    size = magnitude(emf)
    volt_low, volt_high, besides, forced = voltage_window(
        size,
        resistance,
        magnitude(reactance),
        phase_square,
        sag,
        weakening,
        bus_v,
        current if forward else -current,
    )
    power_low, power_high = power_window(size, resistance, per_resistance, discharge_w, charge_w)
    low = larger(larger(volt_low, power_low), -phase_limit)
    high = smaller(smaller(volt_high, power_high), phase_limit)
    low = forced if forced < 0.0 else low
    high = forced if forced < 0.0 else high
    return (low if forward else -high), (high if forward else -low), besides


@scalar
def losses(
    current: float,
    besides: float,
    winding_r: float,
    mosfet_r: float,
    switching: float,
    bus_v: float,
) -> tuple[float, float]:
    """Return copper loss and MOSFET loss in W: 1.5 R i^2, and 1.5 R_on i^2 + k |i| V.

    `besides` is the square of what flows besides the q-axis current, in A^2.
    """
    square = 1.5 * (current * current + besides)
    return square * winding_r, square * mosfet_r + switching * magnitude(current) * bus_v


@scalar
def derating(temperature: float, start: float, end: float) -> float:
    """Return the share of the phase current limit that the temperature leaves, 1 to 0."""
    return clip((end - temperature) / (end - start), 0.0, 1.0)
