"""Heights along a route: a GPX track, a line of distances and heights, or a line across a grid.

Recorded heights come in steps of a metre or more, so they are averaged over a length before a
grade is taken from them.
"""

import math
from pathlib import Path

import numpy as np

from optimizer.base.errors import UserInputError
from optimizer.study.riding_day import ROUTE_STEP_M
from optimizer.study.route_files import read_csv, read_gpx, read_npz, refuse_too_long
from plant.arrays import Floats
from plant.description.course import Elevation, Points

# Deeper than any open mine, higher than any mountain: all roads lie between.
_LOWEST_M, _HIGHEST_M = -2000.0, 10_000.0
_BEYOND_M = 25.0  # kept behind the ride's end, for riders faster than wanted


def read_route(
    path: Path, *, line: Points | None = None, row_m: float = 1.0, column_m: float = 1.0
) -> Elevation:
    """Read the heights along a route as they are in the file.

    Parameters
    ----------
    path : Path
        A GPX file with elevations; a CSV file with the columns distance_m and height_m; or a NumPy
        .npz file with arrays of these names, or with one two-dimensional grid of heights in m.
    line : pair of (row, column), optional
        Ends of the straight line across a grid.
    row_m, column_m : float
        Distance between neighbouring rows, and columns, of a grid, in m.

    Returns
    -------
    Elevation
        Distances rise from zero.

    Raises
    ------
    UserInputError
        The file can not be read as a route; one line says why.
    """
    kind = path.suffix.lower()
    if kind == ".gpx":
        distance_m, height_m = read_gpx(path)
    elif kind == ".csv":
        distance_m, height_m = read_csv(path)
    elif kind == ".npz":
        distance_m, height_m = read_npz(path, line=line, row_m=row_m, column_m=column_m)
    else:
        raise UserInputError(
            f"{path}: a route must be a .gpx, .csv or .npz file, got {kind or 'no ending'!r};"
            " export the track as GPX"
        )
    return _along(path, distance_m, height_m)


def _along(path: Path, distance_m: Floats, height_m: Floats) -> Elevation:
    """Return the points that advance, from distance zero."""
    if not (np.isfinite(distance_m).all() and np.isfinite(height_m).all()):
        raise UserInputError(
            f"{path}: distances and heights must be finite numbers; take out the points without"
        )
    if len(distance_m) == 0:
        raise UserInputError(f"{path}: holds no point; choose another track")
    lowest_m, highest_m = float(height_m.min()), float(height_m.max())
    if not _LOWEST_M <= lowest_m <= highest_m <= _HIGHEST_M:
        raise UserInputError(
            f"{path}: heights must be from {_LOWEST_M:g} to {_HIGHEST_M:g} m, got {lowest_m:.4g} to"
            f" {highest_m:.4g} m; check that they are in m"
        )
    refuse_too_long(path, float(distance_m.max() - distance_m.min()))
    farthest = np.maximum.accumulate(distance_m)
    advances = np.concatenate([[True], distance_m[1:] > farthest[:-1]])
    distance_m, height_m = distance_m[advances], height_m[advances]
    if len(distance_m) < 2:
        raise UserInputError(
            f"{path}: a route needs at least two different points, got {len(distance_m)};"
            " choose a longer track"
        )
    return Elevation(distance_m=distance_m - distance_m[0], height_m=height_m)


def smoothed(route: Elevation, *, smooth_m: float) -> Elevation:
    """Return the route about every `ROUTE_STEP_M` with its heights averaged over a length.

    Parameters
    ----------
    route : Elevation
    smooth_m : float
        Length of the moving average. At both ends the route goes on as its own image turned
        about the last point, so that a steady grade stays as it is.
    """
    end_m = float(route.distance_m[-1])
    n_steps = max(math.ceil(end_m / ROUTE_STEP_M), 1)
    distance_m = np.linspace(0.0, end_m, n_steps + 1)
    height_m = np.interp(distance_m, route.distance_m, route.height_m)
    half = min(round(0.5 * smooth_m / distance_m[1]), n_steps)
    longer = np.pad(height_m, half, mode="reflect", reflect_type="odd")
    averaged = _moving_average(longer, half)[half : half + n_steps + 1]
    return Elevation(distance_m=distance_m, height_m=averaged)


def _moving_average(values: Floats, half: int) -> Floats:
    """Return the mean of each value and of as many as `half` on both sides, (value,).

    Beyond the ends they go on as their own image. The sum moves along by what enters and leaves,
    which gives the bits of `scipy.ndimage.uniform_filter1d`; to load that takes a third of the
    time in which a command shows a front.
    """
    width = 2 * half + 1
    longer = np.pad(values, half, mode="symmetric")
    steps = np.concatenate([[0.0], longer[width:] - longer[:-width]])
    steps[0] = np.cumsum(longer[:width])[-1]
    return np.cumsum(steps) / width


def steepest_percent(route: Elevation) -> float:
    """Return the steepest grade between two points of a route, up or down, in percent."""
    return 100.0 * float(np.max(np.abs(np.diff(route.height_m) / np.diff(route.distance_m))))


def ridden_part(route: Elevation, *, from_m: float, length_m: float, path: Path) -> Elevation:
    """Return the part of a route that a ride covers, its distances from zero.

    Parameters
    ----------
    route : Elevation
        Smoothed.
    from_m : float
        Where on the route the ride starts.
    length_m : float
        How far the ride goes.
    path : Path
        The route's file, for messages.

    Raises
    ------
    UserInputError
        The route ends before the ride does.
    """
    end_m = float(route.distance_m[-1])
    needed_m = max(length_m, ROUTE_STEP_M)
    if from_m + needed_m > end_m:
        raise UserInputError(
            f"{path}: the route is {end_m:.0f} m long, the ride needs {needed_m:.0f} m from"
            f" {from_m:.0f} m on; start earlier, ride shorter, or choose a longer route"
        )
    part_m = min(needed_m + _BEYOND_M, end_m - from_m)
    distance_m = np.linspace(0.0, part_m, math.ceil(part_m / ROUTE_STEP_M) + 1)
    height_m = np.interp(distance_m + from_m, route.distance_m, route.height_m)
    return Elevation(distance_m=distance_m, height_m=height_m)
