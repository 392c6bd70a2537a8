"""From a road's description to the table the wheel rolls over.

Fine profile -> rolling of a rigid circle over it (so that a kerb becomes the arc of the wheel's
centre) -> moving average over the contact length (the tyre envelops what is shorter).
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from plant.arrays import Floats
from plant.compile import kernel
from plant.description.board import Wheel
from plant.description.course import Points, Road
from plant.elementary import arctangent
from plant.kernel.roughness import roughness_shape
from plant.kernel.wheel_path import moving_mean, wheel_centre_path

FINE_STEP_M = 0.01
TABLE_STEP_M = 0.02
_LEAD_M = 6.0  # built before the start as well, so that averages and filters are settled
_FADE_M = (0.5, 2.5)  # roughness grows from none to all of it: a level start


def _joined(shape: Floats, scales: Sequence[float], ends: Sequence[int]) -> Floats:
    """Return a shape by the scale of each stretch, without a step where the scale jumps.

    Parameters
    ----------
    shape : (point,) float64
    scales : sequence of float
        Of each stretch.
    ends : sequence of int
        Points before the first stretch, and up to the end of each.
    """
    joined = np.empty(len(shape))
    lift = 0.0
    before = scales[0]
    for scale, first, last in zip(scales, ends[:-1], ends[1:], strict=True):
        if first < last:
            lift += (before - scale) * float(shape[first])
            joined[first:last] = scale * shape[first:last] + lift
            before = scale
    return joined


def straight_lines(points: Points, at: Floats) -> Floats:
    """Return the values of points joined by straight lines, held beyond both ends."""
    if len(points) == 1:
        return np.full(len(at), points[0][1], dtype=np.float64)
    places, values = zip(*points, strict=True)
    joined: Floats = np.interp(at, places, values)
    return joined


def _ends(places: Sequence[float], distance_m: Floats) -> list[int]:
    """Return where stretches begin and end among rising distances: at these places."""
    return [0, *np.searchsorted(distance_m, places).tolist(), len(distance_m)]


def _from_places(places: Sequence[float], values: Sequence[float], distance_m: Floats) -> Floats:
    """Return at each distance, in rising order, the value from the last of the places on.

    Parameters
    ----------
    places : sequence of float
        In rising order.
    values : sequence of float
        Before the first place, and from each place on.
    distance_m : (point,) float64
    """
    return np.repeat(np.array(values, dtype=np.float64), np.diff(_ends(places, distance_m)))


def grade_rad(road: Road, distance_m: Floats) -> Floats:
    """Return the grade in rad at distances in m that are `TABLE_STEP_M` apart."""
    # Twice: the curvature of the blend is then free of jumps.
    half = _half_blend(road)
    return arctangent(moving_mean(moving_mean(_slope(road, distance_m), half), half))


def slope_bounds(road: Road, distance_m: Floats) -> tuple[Floats, Floats]:
    """Return between which slopes the tangent of `grade_rad` lies, to rounding, each (point,).

    Nothing is compiled or loaded for them: they are the least and the steepest slope of all that
    is blended at a place.
    """
    half = _half_blend(road)
    around = sliding_window_view(np.pad(_slope(road, distance_m), half, mode="edge"), 2 * half + 1)
    return around.min(axis=1), around.max(axis=1)


def _half_blend(road: Road) -> int:
    """Return half the length over which grades are blended, in points of a table."""
    return round(0.5 * road.grade_blend_m / TABLE_STEP_M)


def _slope(road: Road, distance_m: Floats) -> Floats:
    """Return the slope at distances in m before it is blended, (point,)."""
    places, percents = zip(*road.grade_percent, strict=True)
    grade = _from_places(places, (0.0, *percents), distance_m) / 100.0
    if road.elevation is not None:
        route = road.elevation
        slope = np.gradient(route.height_m, route.distance_m)
        grade = grade + np.interp(distance_m, route.distance_m, slope, left=0.0, right=0.0)
    return grade


def road_table(
    road: Road, *, wheel: Wheel, length_m: float, press_ratio: Points, seed: int
) -> Floats:
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
    distance: Floats = np.arange(n_fine, dtype=np.float64) * FINE_STEP_M - _LEAD_M
    first, every = round(_LEAD_M / FINE_STEP_M), round(TABLE_STEP_M / FINE_STEP_M)
    at_table = distance[first::every]
    starts = [patch.from_m for patch in road.patches[1:]]  # the first begins before all
    surfaces = [patch.surface for patch in road.patches]

    centre = wheel_centre_path(
        _profile(road, distance, seed),
        step_m=FINE_STEP_M,
        radius_m=wheel.wheel_radius_m,
        contact_length_m=wheel.contact_length_m,
    )
    # From the same lead on, so that its blends are settled at the start.
    grade = grade_rad(road, distance[::every])
    table = np.empty((len(at_table), 7))
    _write_paths(table, centre[first - 1 :], every, grade[first // every - 1 :])
    table[:, 4] = _from_places(starts, [one.rolling_ratio for one in surfaces], at_table)
    table[:, 5] = _from_places(starts, [one.friction_ratio for one in surfaces], at_table)
    table[:, 6] = straight_lines(press_ratio, at_table)
    return table


@kernel
def _write_paths(table: Floats, centre: Floats, every: int, grade: Floats) -> None:
    """Write the centre's height and slope, the grade and its slope into a road's first columns.

    Slopes are by the values before and after; at the last value by it and the one before.

    Parameters
    ----------
    table : (point, 7) float64
    centre : (value,) float64
        Every `FINE_STEP_M` from one before the first point on; each point is `every` further.
    grade : (1 + point,) float64
        From the point before the first on.
    """
    last = centre.shape[0] - 1
    fine_m, coarse_m = FINE_STEP_M, TABLE_STEP_M
    for point in range(table.shape[0]):
        place = 1 + point * every
        after = min(place + 1, last)
        table[point, 0] = centre[place]
        table[point, 1] = (centre[after] - centre[place - 1]) / ((after - place + 1) * fine_m)
        following = min(point + 2, table.shape[0])
        table[point, 2] = grade[point + 1]
        table[point, 3] = (grade[following] - grade[point]) / ((following - point) * coarse_m)


def _profile(road: Road, distance_m: Floats, seed: int) -> Floats:
    """Return the heights of roughness and kerbs at rising distances `FINE_STEP_M` apart."""
    ends = _ends([patch.from_m for patch in road.patches[1:]], distance_m)
    scales = [math.sqrt(1e-6 * patch.surface.roughness_1e6_m3) for patch in road.patches]
    profile = _joined(roughness_shape(len(distance_m), FINE_STEP_M, seed), scales, ends)
    none_m, all_m = _FADE_M
    fades = slice(np.searchsorted(distance_m, all_m))
    profile[fades] *= np.maximum((distance_m[fades] - none_m) / (all_m - none_m), 0.0)
    for at_m, height_m in road.kerbs:
        profile[np.searchsorted(distance_m, at_m) :] += height_m
    return profile
