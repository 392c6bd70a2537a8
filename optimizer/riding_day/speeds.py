"""Wanted speeds of a rider who sees the road: neither too fast nor without way where it matters."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from optimizer.study.catalogue_surface import ASPHALT, catalogue_surface
from plant.arrays import Floats
from plant.description.course import Points, Road, Surface
from plant.kernel.road import straight_lines

CHANGE_MPS2 = 0.5  # assumed: how fast riders who see their way change speed, up and down
_GRID_M = 0.1
_STEP_S = 0.2

# A manoeuvre gives the wanted speed over time, so where a board will be must be predicted. Measured
# over rides of the day: after a slowing a board closes on the wanted speed with 2 s, so it is some
# metres further by then, and 1 to 8 % of the way (5th to 95th percentile) besides; never behind.
_FOLLOW_S = 3.0
_AHEAD_M = 5.0
_AHEAD_RATIO = 0.08
_BEHIND_M = 2.0
# The plant's rider leans into a slope seen coming but learns what the ground resists by feel, and
# meanwhile runs ahead of the wanted speed: by 0.2 to 0.6 m/s on the mean, 0.8 to 1.2 m/s at most
# (95th percentile) over 80 m with a rolling ratio of 0.045 to 0.065 after asphalt, in proportion to
# what is added. Over soft ground the speed to wish for is therefore lower than the one ridden.
_OVERRUN_MPS = 25.0  # per rolling ratio
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
            fastest = _wished(patch.surface, fastest_mps[patch.surface], slow_mps)
            found.append(Stretch(patch.from_m, end, slowest, fastest))
    for place, height in road.kerbs:
        fastest = _wished(_under(road, place), kerb_mps, slow_mps)
        fastest = fastest if abs(height) > flush_m else np.inf
        found.append(Stretch(place, place, slow_mps if height > 0.0 else 0.0, fastest))
    return found


def _under(road: Road, place_m: float) -> Surface:
    return [patch.surface for patch in road.patches if patch.from_m <= place_m][-1]


def _wished(surface: Surface, fastest_mps: float, slow_mps: float) -> float:
    """Return the wanted speed with which the plant's rider keeps to the fastest over a surface."""
    added_ratio = surface.rolling_ratio - catalogue_surface(ASPHALT).rolling_ratio
    overrun = _OVERRUN_MPS * max(added_ratio, 0.0)
    return min(max(fastest_mps - overrun, slow_mps), fastest_mps)


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
        inside = (at_m >= enter_m) & (at_m <= stretch.to_m + _BEHIND_M)
        fastest[inside] = np.minimum(fastest[inside], stretch.fastest_mps)
        slowest[inside] = np.maximum(slowest[inside], stretch.slowest_mps)
    # Under constant acceleration the square of the speed is a straight line over the way.
    ramp = 2.0 * CHANGE_MPS2 * at_m
    below = np.sqrt(np.maximum(-_eased(-(slowest**2), ramp), 0.0))
    return np.stack([below, np.sqrt(_eased(fastest**2, ramp))])


def _eased(values: Floats, ramp: Floats) -> Floats:
    """Return the highest curve under the values that rises and falls no more than the ramp."""
    forward = np.minimum.accumulate(values - ramp) + ramp
    both: Floats = np.minimum.accumulate((forward + ramp)[::-1])[::-1] - ramp
    return both


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
    wanted = straight_lines(wanted_mps, times)
    slowest, fastest = bounds_mps.tolist()
    slower, faster = np.diff(bounds_mps).tolist()  # to the next place
    last = len(fastest) - 2
    at_m, points = 0.0, []
    for time_s, speed in zip(times.tolist(), wanted.tolist(), strict=True):
        place = min(int(at_m / _GRID_M), last)
        share = min(at_m / _GRID_M - place, 1.0)
        low = slowest[place] + share * slower[place]
        high = fastest[place] + share * faster[place]
        held = min(max(speed, low), high)
        points.append((time_s, held))
        at_m += held * _STEP_S
    return tuple(points)
