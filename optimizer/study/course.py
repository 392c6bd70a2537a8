"""From a checked table to a course, with the heights of its route."""

import itertools
import math
from pathlib import Path

from objectives.asked_way import asked_way_m
from optimizer.base.errors import UserInputError
from optimizer.study.course_schema import STEEPEST_PERCENT, CourseTable, HeightsTable, RouteTable
from optimizer.study.dataclass_schema import section_of
from optimizer.study.route import read_route, ridden_part, smoothed, steepest_percent
from plant.description.course import Course, Elevation, Manoeuvre, Road

# A manoeuvre is asked in steps of 10 ms: a window between two of them would measure nothing.
_SHORTEST_WINDOW_S = 0.1


def course_of(table: CourseTable, *, name: str, road_seed: int, folder: Path, where: str) -> Course:
    """Return the course of a checked table.

    Parameters
    ----------
    table : CourseTable
    name : str
    road_seed : int
        Seed of the road's roughness.
    folder : Path
        Where the file of a route is looked for.
    where : str
        File and key of the table, for messages.

    Raises
    ------
    UserInputError
        Parts of the course contradict each other, or the route can not be read or is too short.
    """
    manoeuvre = section_of(Manoeuvre, table.manoeuvre)
    route = table.road.elevation
    elevation = None
    if route is not None:
        elevation = _elevation(route, manoeuvre, folder=folder, where=f"{where}.road.elevation")
    road = section_of(Road, table.road.model_copy(update={"elevation": elevation}))
    _refuse_contradictions(road, manoeuvre, where=where)
    return Course(name=name, title=table.title, road=road, manoeuvre=manoeuvre, road_seed=road_seed)


def _refuse_contradictions(road: Road, manoeuvre: Manoeuvre, *, where: str) -> None:
    starts = [patch.from_m for patch in road.patches]
    if starts[0] != 0.0 or any(a >= b for a, b in itertools.pairwise(starts)):
        raise UserInputError(
            f"{where}.road.patches: from_m must be 0 first and rise from patch to patch,"
            f" got {starts}; put them in order"
        )
    for key in ("hold_s", "count_s"):
        last = max((end for _, end in getattr(manoeuvre, key)), default=0.0)
        if last > manoeuvre.duration_s:
            raise UserInputError(
                f"{where}.manoeuvre.{key}: must end by duration_s = {manoeuvre.duration_s:g},"
                f" got a window to {last:g}; end the window earlier"
            )
        shortest = min((end - start for start, end in getattr(manoeuvre, key)), default=math.inf)
        if shortest < _SHORTEST_WINDOW_S:
            raise UserInputError(
                f"{where}.manoeuvre.{key}: every window must last {_SHORTEST_WINDOW_S:g} s or"
                f" longer, got {shortest:.2g} s; lengthen the window"
            )


def _elevation(route: RouteTable, manoeuvre: Manoeuvre, *, folder: Path, where: str) -> Elevation:
    path = folder / route.file
    length_m = asked_way_m(manoeuvre)
    part = ridden_part(
        heights_of(route, folder=folder), from_m=route.from_m, length_m=length_m, path=path
    )
    refuse_too_steep(
        part, where=f"{where}: the ridden part of {path.name}", or_else="start elsewhere"
    )
    return part


def heights_of(route: HeightsTable, *, folder: Path) -> Elevation:
    """Return the smoothed heights along a route.

    Raises
    ------
    UserInputError
        The file can not be read as a route.
    """
    return smoothed(
        read_route(
            folder / route.file, line=route.line, row_m=route.row_m, column_m=route.column_m
        ),
        smooth_m=route.smooth_m,
    )


def refuse_too_steep(heights: Elevation, *, where: str, or_else: str) -> None:
    """Refuse heights that no board climbs, as wrong ones.

    Parameters
    ----------
    heights : Elevation
    where : str
        File, key and what is too steep, for the message.
    or_else : str
        What to do besides smoothing more.

    Raises
    ------
    UserInputError
        Steeper than `STEEPEST_PERCENT` anywhere.
    """
    steepest = steepest_percent(heights)
    if steepest > STEEPEST_PERCENT:
        raise UserInputError(
            f"{where} must not be steeper than {STEEPEST_PERCENT:g} %, got {steepest:.0f} %;"
            f" raise smooth_m or {or_else}"
        )
