"""Heights along a route as three kinds of file hold them: GPX, CSV, and NumPy's .npz."""

import itertools
import math
import zipfile
from pathlib import Path
from typing import TypeAlias

import gpxpy
import numpy as np
from gpxpy.geo import haversine_distance
from gpxpy.gpx import GPXException, GPXRoutePoint, GPXTrackPoint
from scipy.ndimage import map_coordinates

from optimizer.base.errors import UserInputError
from optimizer.base.reading import no_such_file
from optimizer.base.toml_io import read_text
from plant.arrays import Floats
from plant.description.course import Points

GRID_STEP_M = 5.0  # assumed: finer than any grid of heights that is handed out
_COLUMNS = ("distance_m", "height_m")
# What NumPy raises for a file that is no archive, a torn one, one of objects, or a bare array.
_NOT_NPZ = (ValueError, OSError, EOFError, TypeError, zipfile.BadZipFile)

Waypoint: TypeAlias = GPXTrackPoint | GPXRoutePoint


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())


def read_gpx(path: Path) -> tuple[Floats, Floats]:
    """Return distances and heights in m, each (point,), of the tracks, or else routes, of a file.

    Raises
    ------
    UserInputError
        The file is no GPX, holds no points, or points without elevation.
    """
    text = read_text(path)
    try:
        document = gpxpy.parse(text)
    except GPXException as error:
        raise UserInputError(
            f"{path}: not a GPX file that can be read: {_one_line(error)}; export the track again"
        ) from None
    tracks = (part.points for track in document.tracks for part in track.segments)
    points: list[Waypoint] = list(itertools.chain.from_iterable(tracks))
    if not points:
        points = list(itertools.chain.from_iterable(route.points for route in document.routes))
    if not points:
        raise UserInputError(f"{path}: holds no track and no route; export a track with points")
    missing = sum(point.elevation is None for point in points)
    if missing:
        raise UserInputError(
            f"{path}: {missing} of {len(points)} points have no elevation (<ele>);"
            " add heights to the track with a map tool, or choose another track"
        )
    steps = [
        haversine_distance(before.latitude, before.longitude, after.latitude, after.longitude)
        for before, after in itertools.pairwise(points)
    ]
    distance_m = np.concatenate([[0.0], np.cumsum(steps)])
    return distance_m, np.array([point.elevation for point in points], dtype=np.float64)


def read_csv(path: Path) -> tuple[Floats, Floats]:
    """Return the columns distance_m and height_m, each (point,).

    Raises
    ------
    UserInputError
        The columns are missing, or a cell is no number.
    """
    lines = read_text(path).splitlines()
    header = [name.strip() for name in lines[0].split(",")] if lines else []
    if sorted(header) != sorted(_COLUMNS):
        raise UserInputError(
            f"{path}: the first line must name the columns {', '.join(_COLUMNS)},"
            f" got {', '.join(header) or 'nothing'}; add that line"
        )
    try:
        rows = np.array([[float(cell) for cell in row.split(",")] for row in lines[1:] if row])
        distance_m, height_m = (
            rows[:, header.index("distance_m")],
            rows[:, header.index("height_m")],
        )
    except (ValueError, IndexError) as error:
        raise UserInputError(
            f"{path}: every line must hold two numbers: {_one_line(error)}; correct it"
        ) from None
    return distance_m, height_m


def read_npz(
    path: Path, *, line: Points | None, row_m: float, column_m: float
) -> tuple[Floats, Floats]:
    """Return distances and heights in m, each (point,): two arrays, or a line across a grid.

    Raises
    ------
    UserInputError
        The file is no archive of arrays, holds neither, or the line leaves the grid.
    """
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
    except FileNotFoundError:
        raise no_such_file(path) from None
    except _NOT_NPZ as error:
        raise UserInputError(
            f"{path}: not a NumPy .npz file that can be read: {_one_line(error)}; save it again"
        ) from None
    if all(name in arrays for name in _COLUMNS):
        distance_m, height_m = (arrays[name].astype(np.float64) for name in _COLUMNS)
        if distance_m.ndim != 1 or distance_m.shape != height_m.shape:
            raise UserInputError(
                f"{path}: distance_m and height_m must be lists of one length,"
                f" got shapes {distance_m.shape} and {height_m.shape}; save it again"
            )
        return distance_m, height_m
    grids = {name: array for name, array in arrays.items() if array.ndim == 2}
    if len(grids) != 1:
        raise UserInputError(
            f"{path}: must hold distance_m and height_m, or one grid of heights,"
            f" got {', '.join(sorted(arrays)) or 'nothing'}; save the grid alone"
        )
    (grid,) = grids.values()
    return _across(path, grid.astype(np.float64), line=line, row_m=row_m, column_m=column_m)


def _across(
    path: Path, grid: Floats, *, line: Points | None, row_m: float, column_m: float
) -> tuple[Floats, Floats]:
    """Return distances and heights along a straight line across a grid, between its cells."""
    rows, columns = grid.shape
    if line is None:
        raise UserInputError(
            f"{path}: is a grid of {rows} rows and {columns} columns and needs a line across it;"
            " add line = [[row, column], [row, column]], row_m and column_m"
        )
    if not all(0 <= row <= rows - 1 and 0 <= column <= columns - 1 for row, column in line):
        raise UserInputError(
            f"{path}: line must stay within rows 0 to {rows - 1} and columns 0 to {columns - 1},"
            f" got {[list(end) for end in line]}; move its ends"
        )
    (row_1, column_1), (row_2, column_2) = line
    length_m = math.hypot((row_2 - row_1) * row_m, (column_2 - column_1) * column_m)
    n_points = max(math.ceil(length_m / GRID_STEP_M), 1) + 1
    share = np.linspace(0.0, 1.0, n_points)
    cells = np.stack([row_1 + share * (row_2 - row_1), column_1 + share * (column_2 - column_1)])
    return share * length_m, map_coordinates(grid, cells, order=1)
