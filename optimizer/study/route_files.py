"""Heights along a route as three kinds of file hold them: GPX, CSV, and NumPy's .npz."""

import itertools
import math
import re
import zipfile
from pathlib import Path
from typing import IO, TypeAlias

import gpxpy
import numpy as np
from gpxpy.geo import haversine_distance
from gpxpy.gpx import GPXException, GPXRoutePoint, GPXTrackPoint

from optimizer.base.errors import UserInputError
from optimizer.base.messages import shown
from optimizer.base.reading import MOST_TABLE_BYTES, NOT_AN_ARCHIVE, opened, read_text
from plant.arrays import Floats
from plant.description.course import Points

GRID_STEP_M = 5.0  # assumed: finer than any grid of heights that is handed out
_COLUMNS = ("distance_m", "height_m")
MOST_ARRAY_BYTES = 256_000_000  # unpacked: a grid of 5,600 by 5,600 heights
_MOST_ARRAYS = 100
_HIGHEST_POLE_DEG, _FARTHEST_EAST_DEG = 90.0, 180.0  # as the schema of GPX 1.1 has them
Waypoint: TypeAlias = GPXTrackPoint | GPXRoutePoint

LONGEST_ROUTE_KM = 1000.0  # more than anybody rides on one charge or in one day


def refuse_too_long(path: Path, length_m: float) -> None:
    """Refuse a route of which the heights every few metres would fill the memory.

    Raises
    ------
    UserInputError
        It is longer than `LONGEST_ROUTE_KM`.
    """
    if length_m > 1000.0 * LONGEST_ROUTE_KM:
        raise UserInputError(
            f"{path}: a route may be up to {LONGEST_ROUTE_KM:g} km long, got"
            f" {length_m / 1000.0:.4g} km; check that distances are in m, or cut the route"
        )


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())


def read_gpx(path: Path) -> tuple[Floats, Floats]:
    """Return distances and heights in m, each (point,), of the tracks, or else routes, of a file.

    Raises
    ------
    UserInputError
        The file is no GPX, holds no points, or points without elevation.
    """
    text = read_text(path, most_bytes=MOST_TABLE_BYTES)
    if re.search(r"<!(DOCTYPE|ENTITY)", text):
        raise UserInputError(
            f"{path}: a GPX file needs no <!DOCTYPE>, with which a small file can unfold to a huge"
            " one; export the track again"
        )
    try:
        document = gpxpy.parse(text)
    except (GPXException, ValueError, RecursionError) as error:
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
    for number, point in enumerate(points):
        _refuse_off_the_globe(path, point, number=number)
    steps = [
        haversine_distance(before.latitude, before.longitude, after.latitude, after.longitude)
        for before, after in itertools.pairwise(points)
    ]
    distance_m = np.concatenate([[0.0], np.cumsum(steps)])
    return distance_m, np.array([point.elevation for point in points], dtype=np.float64)


def _refuse_off_the_globe(path: Path, point: Waypoint, *, number: int) -> None:
    for name, value, most in (
        ("latitude", point.latitude, _HIGHEST_POLE_DEG),
        ("longitude", point.longitude, _FARTHEST_EAST_DEG),
    ):
        if not -most <= value <= most:
            raise UserInputError(
                f"{path}: point {number + 1}: {name} must be from {-most:g} to {most:g} degrees,"
                f" got {shown(value)}; export the track again"
            )


def read_csv(path: Path) -> tuple[Floats, Floats]:
    """Return the columns distance_m and height_m, each (point,).

    Raises
    ------
    UserInputError
        The columns are missing, or a cell is no number.
    """
    lines = read_text(path, most_bytes=MOST_TABLE_BYTES).splitlines()
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
        with opened(path, most_bytes=MOST_ARRAY_BYTES) as file:
            arrays = _arrays(file)
    except UserInputError:
        raise
    except NOT_AN_ARCHIVE as error:
        raise UserInputError(
            f"{path}: not a NumPy .npz file that can be read: {_one_line(error)}; save it again"
        ) from None
    if all(name in arrays for name in _COLUMNS):
        distance_m, height_m = (arrays[name] for name in _COLUMNS)
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
    return _across(path, grid, line=line, row_m=row_m, column_m=column_m)


def _arrays(file: IO[bytes]) -> dict[str, Floats]:
    """Return the arrays of an archive as numbers, none larger than its header may claim.

    An archive can unfold to a thousand times its size, and a header can claim any size: NumPy
    makes room for that before it reads.

    Raises
    ------
    ValueError
        Arrays are too many or too large, hold other things than numbers, or are torn.
    """
    arrays: dict[str, Floats] = {}
    with zipfile.ZipFile(file) as archive:
        members = archive.infolist()
        if len(members) > _MOST_ARRAYS:
            raise ValueError(f"it holds {len(members)} arrays, more than {_MOST_ARRAYS}")
        unpacked = sum(member.file_size for member in members)
        if unpacked > MOST_ARRAY_BYTES:
            raise ValueError(
                f"unpacked it takes {unpacked / 1e6:.0f} MB, more than {MOST_ARRAY_BYTES / 1e6:g}"
            )
        for member in members:
            with archive.open(member) as part:
                arrays[member.filename.removesuffix(".npy")] = _numbers(part, member.file_size)
    return arrays


def _numbers(part: IO[bytes], n_bytes: int) -> Floats:
    """Return the array of an archive's part as numbers; see `_arrays`."""
    version = np.lib.format.read_magic(part)
    read_header = (
        np.lib.format.read_array_header_1_0
        if version == (1, 0)
        else np.lib.format.read_array_header_2_0
    )
    shape, by_column, kind = read_header(part)
    if kind.kind not in "iuf":
        raise ValueError(f"an array holds {kind}, not numbers")
    claimed = math.prod(shape) * kind.itemsize
    if claimed > n_bytes or min(shape, default=0) < 0:
        raise ValueError(f"an array of shape {shape} does not fit into {n_bytes} bytes")
    values = np.frombuffer(part.read(claimed), dtype=kind)
    return values.reshape(shape, order="F" if by_column else "C").astype(np.float64)


def _across(
    path: Path, grid: Floats, *, line: Points | None, row_m: float, column_m: float
) -> tuple[Floats, Floats]:
    """Return distances and heights along a straight line across a grid, between its cells."""
    from scipy.ndimage import map_coordinates  # noqa: PLC0415  # slow to load, and few are grids

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
    refuse_too_long(path, length_m)
    n_points = max(math.ceil(length_m / GRID_STEP_M), 1) + 1
    share = np.linspace(0.0, 1.0, n_points)
    cells = np.stack([row_1 + share * (row_2 - row_1), column_1 + share * (column_2 - column_1)])
    return share * length_m, map_coordinates(grid, cells, order=1)
