"""Wanted speeds of a rider who sees the road: neither too fast nor without way where it matters."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from plant.arrays import Floats
from plant.compile import kernel
from plant.description.course import Points, Road, Surface
from plant.kernel.road import straight_lines

CHANGE_MPS2 = 0.5  # assumed: how fast riders who see their way change speed, up and down
_GRID_M = 0.1
_STEP_S = 0.2
_CHANGE_OF_SQUARE = 2.0 * CHANGE_MPS2 * _GRID_M  # m2/s2 from one place to the next

# A manoeuvre gives the wanted speed over time, so where a board will be must be predicted. Measured
# over rides of the day: after a slowing a board closes on the wanted speed with 2 s, so it is some
# metres further by then, and 1 to 8 % of the way (5th to 95th percentile) besides; never behind.
_FOLLOW_S = 3.0
_AHEAD_M = 5.0
_AHEAD_RATIO = 0.08
_BEHIND_M = 2.0
ROUGH_1E6_M3 = 200.0  # between the means of classes B and C of ISO 8608


class Stretch(NamedTuple):
    """A part of the road from one distance to another, in m, and the speeds to keep there."""

    from_m: float
    to_m: float
    slowest_mps: float
    fastest_mps: float


def careful_stretches(
    road: Road,
    fastest_mps: Mapping[Surface, float],
    *,
    slow_mps: float,
    kerb_mps: float,
    flush_m: float,
) -> list[Stretch]:
    """Return where a road asks for care.

    Parameters
    ----------
    road : Road
    fastest_mps : mapping of Surface to float
        A surface that is not among them may be ridden at any speed.
    slow_mps : float
        Slowest over rough ground and up a kerb, which stop a wheel without way.
    kerb_mps : float
        Fastest over a kerb.
    flush_m : float
        Kerbs up to this height, up or down, need no slowing.
    """
    ends = [patch.from_m for patch in road.patches[1:]] + [np.inf]
    found = []
    for patch, end in zip(road.patches, ends, strict=True):
        if patch.surface in fastest_mps:
            slowest = slow_mps if patch.surface.roughness_1e6_m3 >= ROUGH_1E6_M3 else 0.0
            found.append(Stretch(patch.from_m, end, slowest, fastest_mps[patch.surface]))
    for place, height in road.kerbs:
        fastest = kerb_mps if abs(height) > flush_m else np.inf
        found.append(Stretch(place, place, slow_mps if height > 0.0 else 0.0, fastest))
    return found


def speed_bounds(stretches: Iterable[Stretch], *, fast_mps: float, length_m: float) -> Floats:
    """Return the slowest and fastest speed along the way, in m/s.

    Parameters
    ----------
    stretches : iterable of Stretch
        Each is entered and left with a margin, since a board does not keep exactly to the plan.
    fast_mps : float
        Fastest everywhere.
    length_m : float
        Of the way.

    Returns
    -------
    (2, place) float64
        Every 0.1 m from the start; riding along one, the speed changes by `CHANGE_MPS2` at most.
    """
    at_m = np.arange(0.0, length_m + _GRID_M, _GRID_M)
    slowest, fastest = np.zeros(at_m.shape), np.full(at_m.shape, fast_mps)
    for stretch in stretches:
        follow_m = _FOLLOW_S * min(stretch.fastest_mps, fast_mps)
        enter_m = (1.0 - _AHEAD_RATIO) * stretch.from_m - _AHEAD_M - follow_m
        first = np.searchsorted(at_m, enter_m)
        inside = slice(first, np.searchsorted(at_m, stretch.to_m + _BEHIND_M, side="right"))
        np.minimum(fastest[inside], stretch.fastest_mps, out=fastest[inside])
        np.maximum(slowest[inside], stretch.slowest_mps, out=slowest[inside])
    # Under constant acceleration the square of the speed is a straight line over the way.
    below, above = -(slowest**2), fastest**2
    _ease(below, above)
    bounds: Floats = np.sqrt(np.stack([np.maximum(-below, 0.0), above]))
    return bounds


@kernel
def _ease(first: Floats, second: Floats) -> None:
    """Lower squares of speeds until they rise and fall no more than a rider does, in place.

    Two rows of as many places: one after the other would take twice the time.
    """
    for place in range(1, first.shape[0]):
        first[place] = min(first[place], first[place - 1] + _CHANGE_OF_SQUARE)
        second[place] = min(second[place], second[place - 1] + _CHANGE_OF_SQUARE)
    for place in range(first.shape[0] - 2, -1, -1):
        first[place] = min(first[place], first[place + 1] + _CHANGE_OF_SQUARE)
        second[place] = min(second[place], second[place + 1] + _CHANGE_OF_SQUARE)


def held_between(wanted_mps: Points, bounds_mps: Floats, *, duration_s: float) -> Points:
    """Return wanted speeds over time that keep to bounds along their own way.

    Parameters
    ----------
    wanted_mps : tuple of (time s, speed m/s)
    bounds_mps : (2, place) float64
        As `speed_bounds` returns them; their last values hold beyond. The upper one prevails.
    duration_s : float
    """
    times = np.arange(0.0, duration_s + _STEP_S, _STEP_S)
    held = straight_lines(wanted_mps, times)
    _hold_between(held, np.ascontiguousarray(bounds_mps))
    return tuple(zip(times.tolist(), held.tolist(), strict=True))


@kernel
def _hold_between(speed_mps: Floats, bounds_mps: Floats) -> None:
    """Replace wanted speeds every `_STEP_S` by those between bounds along their way, in place."""
    last = bounds_mps.shape[1] - 2
    at_m = 0.0
    for step in range(speed_mps.shape[0]):
        place = min(int(at_m / _GRID_M), last)
        share = min(at_m / _GRID_M - place, 1.0)
        low = bounds_mps[0, place] + share * (bounds_mps[0, place + 1] - bounds_mps[0, place])
        high = bounds_mps[1, place] + share * (bounds_mps[1, place + 1] - bounds_mps[1, place])
        speed_mps[step] = min(max(speed_mps[step], low), high)
        at_m += speed_mps[step] * _STEP_S
