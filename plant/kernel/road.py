"""From a road's description to the table the wheel rolls over.

Fine profile -> rolling of a rigid circle over it (so that a kerb becomes the arc of the wheel's
centre) -> moving average over the contact length (the tyre envelops what is shorter).
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len
from scipy.ndimage import grey_dilation, uniform_filter1d

from plant.description.board import Wheel
from plant.description.course import Points, Road
from plant.elementary import elementwise

FINE_STEP_M = 0.01
TABLE_STEP_M = 0.02
_LEAD_M = 6.0  # built before the start as well, so that averages and filters are settled
_ROUGHNESS_N0 = 0.1  # cycles/m, ISO 8608
_ROUGHNESS_BAND = (0.05, 10.0)  # cycles/m: hills are the grade's business, texture the tyre's


def roughness_shape(n_points: int, step_m: float, seed: int) -> NDArray[np.float64]:
    """Return a random profile of ISO 8608 form for Gd(n0) = 1 m3, in m.

    Parameters
    ----------
    n_points : int
    step_m : float
        Spacing of the points.
    seed : int

    Returns
    -------
    (point,) float64
        A stationary profile whose one-sided displacement PSD is (n/n0)^-2 between 0.05 and 10
        cycles/m; scale by the square root of a surface's Gd(n0).

    Notes
    -----
    Random phases with amplitude sqrt(2 Gd(n) dn) at every multiple of the frequency resolution,
    summed by an inverse FFT over at least twice the length, of which the beginning is used. Some
    lengths take twenty times as long as the next that is a product of small primes.
    """
    n_long = next_fast_len(2 * n_points, real=True)
    frequency = np.fft.rfftfreq(n_long, step_m)
    resolution = frequency[1]
    low, high = _ROUGHNESS_BAND
    inside = (frequency >= low) & (frequency <= high)
    psd = (_ROUGHNESS_N0 / frequency[inside]) ** 2
    phase = np.random.default_rng(seed).uniform(0.0, 2.0 * np.pi, psd.size)
    spectrum = np.zeros(frequency.size, dtype=np.complex128)
    spectrum[inside] = np.sqrt(2.0 * psd * resolution) * np.exp(1j * phase) * (n_long / 2.0)
    profile: NDArray[np.float64] = np.fft.irfft(spectrum, n_long)[:n_points]
    return profile


def wheel_centre_path(
    height_m: NDArray[np.float64], *, step_m: float, radius_m: float, contact_length_m: float
) -> NDArray[np.float64]:
    """Return the height of a wheel's centre over its rest height, rolling over a profile.

    Parameters
    ----------
    height_m : (point,) float64
        Profile every `step_m`.
    radius_m : float
        Radius of the rigid circle that rolls over it.
    contact_length_m : float
        Length over which the tyre averages; 0 for a rigid wheel.

    Notes
    -----
    The wheel turns by the horizontal distance, not by the longer path of its centre. Up a slope b
    of that path the plant therefore asks a torque r W tan(b), where statics of a wheel driven by
    torque asks r W sin(b): at the first contact of a rigid wheel with a step h it is r / (r - h)
    of statics, 1.22 at 25 mm; 1.04 once a tyre of 9 cm contact envelops that step. The force at
    the axle and the friction needed are those of statics.
    """
    reach = math.floor(radius_m / step_m)
    offset = np.arange(-reach, reach + 1) * step_m
    circle = np.sqrt(np.maximum(radius_m**2 - offset**2, 0.0)) - radius_m
    rolled = grey_dilation(height_m, structure=circle, mode="nearest")
    width = round(contact_length_m / step_m)
    smooth: NDArray[np.float64] = uniform_filter1d(rolled, width) if width > 1 else rolled
    return smooth


def _joined(shape: NDArray[np.float64], scale: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a shape by its scale from place to place, without a step where the scale jumps."""
    steps = shape * np.diff(scale, prepend=scale[0])
    joined: NDArray[np.float64] = shape * scale - np.cumsum(steps)
    return joined


def straight_lines(points: Points, at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the values of points joined by straight lines, held beyond both ends."""
    place, value = np.array(points, dtype=np.float64).T
    joined: NDArray[np.float64] = np.interp(at, place, value)
    return joined


def _held(points: Points, distance_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return each distance's value, held from the point at or before it (0 before the first)."""
    places, values = zip(*points, strict=True)
    return _from_places(places, (0.0, *values), distance_m)


def _from_places(
    places: Sequence[float], values: Sequence[float], distance_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return at each distance, in rising order, the value from the last of the places on.

    Parameters
    ----------
    places : sequence of float
        In rising order.
    values : sequence of float
        Before the first place, and from each place on.
    distance_m : (point,) float64
    """
    ends = [0, *np.searchsorted(distance_m, places), len(distance_m)]
    return np.repeat(np.array(values, dtype=np.float64), np.diff(ends))


def grade_rad(road: Road, distance_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the grade in rad at distances in m that are `FINE_STEP_M` apart."""
    grade = _held(road.grade_percent, distance_m) / 100.0
    if road.elevation is not None:
        route = road.elevation
        slope = np.gradient(route.height_m, route.distance_m)
        grade = grade + np.interp(distance_m, route.distance_m, slope, left=0.0, right=0.0)
    width = max(round(road.grade_blend_m / FINE_STEP_M), 1)
    # Twice: the curvature of the blend is then free of jumps.
    half = max(width // 2, 1)
    blended = uniform_filter1d(uniform_filter1d(grade, half, mode="nearest"), half, mode="nearest")
    # Most of a road is of one grade for some way: a thread takes long over each single arc tangent.
    changes = np.flatnonzero(np.diff(blended, prepend=np.nan))
    lengths = np.diff(changes, append=len(blended))
    return np.repeat(elementwise(math.atan, blended[changes]), lengths)


def road_table(
    road: Road, *, wheel: Wheel, length_m: float, press_ratio: Points, seed: int
) -> NDArray[np.float64]:
    """Return the road's columns every `TABLE_STEP_M` from the start.

    Parameters
    ----------
    road : Road
    wheel : Wheel
        Radius and contact length shape what the wheel feels.
    length_m : float
        At least as far as the ride can go; the last values hold beyond.
    press_ratio : tuple of (distance m, ratio)
        The manoeuvre's foot pressing over the distance.
    seed : int
        Seed of the roughness.

    Returns
    -------
    (point, 7) float64
        Centre height m, its slope, grade rad, curvature 1/m, rolling ratio, friction ratio,
        press ratio: the order of `plant.kernel.lane_layout.ROAD_NAMES`.
    """
    n_fine = math.ceil((length_m + 2.0 * _LEAD_M) / FINE_STEP_M)
    distance: NDArray[np.float64] = np.arange(n_fine, dtype=np.float64) * FINE_STEP_M - _LEAD_M
    first, every = round(_LEAD_M / FINE_STEP_M), round(TABLE_STEP_M / FINE_STEP_M)
    at_table = distance[first::every]
    starts = [patch.from_m for patch in road.patches[1:]]  # the first begins before all
    surfaces = [patch.surface for patch in road.patches]
    level = 1e-6 * _from_places(starts, [one.roughness_1e6_m3 for one in surfaces], distance)

    profile = _joined(roughness_shape(n_fine, FINE_STEP_M, seed), np.sqrt(level))
    # A level start: the roughness fades in over the first metres.
    profile *= np.clip((distance - 0.5) / 2.0, 0.0, 1.0)
    for at_m, height_m in road.kerbs:
        profile += np.where(distance >= at_m, height_m, 0.0)
    centre = wheel_centre_path(
        profile,
        step_m=FINE_STEP_M,
        radius_m=wheel.wheel_radius_m,
        contact_length_m=wheel.contact_length_m,
    )
    grade = grade_rad(road, distance)
    fine = (centre, np.gradient(centre, FINE_STEP_M), grade, np.gradient(grade, FINE_STEP_M))
    return np.column_stack(
        [
            *(column[first::every] for column in fine),
            _from_places(starts, [one.rolling_ratio for one in surfaces], at_table),
            _from_places(starts, [one.friction_ratio for one in surfaces], at_table),
            straight_lines(press_ratio, at_table),
        ]
    )
