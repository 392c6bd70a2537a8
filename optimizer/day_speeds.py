"""Wanted speeds of a rider who sees the road: held down before and over what asks for care."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.course import Points, Road, Surface
from plant.road import straight_lines

Floats: TypeAlias = NDArray[np.float64]

CHANGE_MPS2 = 0.5  # assumed: how fast riders who see their way change speed, up and down
_GRID_M = 0.1
_STEP_S = 0.2

# A manoeuvre tells the wanted speed over time, so where a board will be must be foreseen. Measured
# over rides of the day: after a slowing a board closes on the wanted speed with 2 s, so it is some
# metres further by then, and 1 to 8 % of the way (5th to 95th percentile) besides; never behind.
_FOLLOW_S = 3.0
_AHEAD_M = 5.0
_AHEAD_RATIO = 0.08
_BEHIND_M = 2.0
# The plant's rider leans into a slope seen coming but learns what the ground resists by feel, and
# meanwhile runs ahead of the wanted speed: by 0.5 to 0.9 m/s on the mean, 1.1 to 1.8 m/s at most
# (95th percentile) over 80 m with a rolling ratio of 0.045 to 0.065 after asphalt, in proportion to
# what is added. Over soft ground the speed to wish for is therefore lower than the one ridden.
_OVERRUN_MPS = 25.0  # per rolling ratio
_HARD_RATIO = 0.012  # asphalt's
_SLOWEST_MPS = 0.6  # assumed: a wheel that rolls slower gets stuck


class SlowStretch(NamedTuple):
    """A part of the road from one distance to another, in m, and the fastest speed to wish for."""

    from_m: float
    to_m: float
    wanted_mps: float


def slow_stretches(
    road: Road, fastest_mps: Mapping[Surface, float], *, kerb_mps: float, flush_m: float
) -> list[SlowStretch]:
    """Return where a road asks for care.

    Parameters
    ----------
    road : Road
    fastest_mps : mapping of Surface to float
        A surface that is not among them may be ridden at any speed.
    kerb_mps : float
        Fastest over a kerb.
    flush_m : float
        Kerbs up to this height, up or down, need no slowing.
    """
    ends = [patch.from_m for patch in road.patches[1:]] + [np.inf]
    found = [
        SlowStretch(patch.from_m, end, _wished(patch.surface, fastest_mps[patch.surface]))
        for patch, end in zip(road.patches, ends, strict=True)
        if patch.surface in fastest_mps
    ]
    found += [
        SlowStretch(place, place, _wished(_under(road, place), kerb_mps))
        for place, height in road.kerbs
        if abs(height) > flush_m
    ]
    return found


def _under(road: Road, place_m: float) -> Surface:
    return [patch.surface for patch in road.patches if patch.from_m <= place_m][-1]


def _wished(surface: Surface, fastest_mps: float) -> float:
    """Return the wanted speed with which the plant's rider keeps to the fastest over a surface."""
    overrun = _OVERRUN_MPS * max(surface.rolling_ratio - _HARD_RATIO, 0.0)
    return min(max(fastest_mps - overrun, _SLOWEST_MPS), fastest_mps)


def speed_ceiling(stretches: Iterable[SlowStretch], *, fast_mps: float, length_m: float) -> Floats:
    """Return the fastest speed along the way, in m/s.

    Parameters
    ----------
    stretches : iterable of SlowStretch
        Each is entered and left with a margin, since a board does not keep exactly to the plan.
    fast_mps : float
        Fastest everywhere.
    length_m : float
        Of the way.

    Returns
    -------
    (place,) float64
        Every 0.1 m from the start; riding along it, the speed changes by `CHANGE_MPS2` at most.
    """
    at_m = np.arange(0.0, length_m + _GRID_M, _GRID_M)
    square = np.full(at_m.shape, fast_mps**2)
    for from_m, to_m, wanted_mps in stretches:
        enter_m = (1.0 - _AHEAD_RATIO) * from_m - _AHEAD_M - _FOLLOW_S * wanted_mps
        inside = (at_m >= enter_m) & (at_m <= to_m + _BEHIND_M)
        square[inside] = np.minimum(square[inside], wanted_mps**2)
    # Under constant deceleration the square of the speed is a straight line over the way.
    ramp = 2.0 * CHANGE_MPS2 * at_m
    square = np.minimum.accumulate(square - ramp) + ramp
    square = np.minimum.accumulate((square + ramp)[::-1])[::-1] - ramp
    ceiling: Floats = np.sqrt(square)
    return ceiling


def held_down(wanted_mps: Points, ceiling_mps: Floats, *, duration_s: float) -> Points:
    """Return wanted speeds over time that keep to a ceiling along their own way.

    Parameters
    ----------
    wanted_mps : tuple of (time s, speed m/s)
    ceiling_mps : (place,) float64
        As `speed_ceiling` returns it; its last value holds beyond.
    duration_s : float
    """
    times = np.arange(0.0, duration_s + _STEP_S, _STEP_S)
    wanted = straight_lines(wanted_mps, times)
    ceiling, last = ceiling_mps.tolist(), len(ceiling_mps) - 2
    at_m, points = 0.0, []
    for time_s, speed in zip(times.tolist(), wanted.tolist(), strict=True):
        place = min(int(at_m / _GRID_M), last)
        share = min(at_m / _GRID_M - place, 1.0)
        held = min(speed, ceiling[place] + share * (ceiling[place + 1] - ceiling[place]))
        points.append((time_s, held))
        at_m += held * _STEP_S
    return tuple(points)
