"""What a study's own courses will ride: from where to where, how steep, and what of it counts."""

import dataclasses
from typing import Any

import numpy as np

from objectives.asked_way import asked_way_m
from optimizer.base.toml_io import parse_toml
from optimizer.study.catalogue import COURSE, resolved
from optimizer.study.course import heights_of
from optimizer.study.course_schema import CourseTable, RouteTable
from optimizer.study.paths import STUDY_FILE
from optimizer.study.schema_errors import checked
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.course import Course, Elevation, Points
from plant.kernel.road import TABLE_STEP_M, grade_rad

_MOSTLY = 0.75  # share of the route's steepest grade that a ride should meet: assumed
_LEFT_S = 1.0  # of a ride behind its last window, which is told: assumed


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class OwnCourse:
    """What a course of a study file rides.

    Attributes
    ----------
    name : str
    file : str or None
        Of its route; None without one.
    from_m, to_m : float
        On the route, or on the course's own road.
    route_m : float or None
        Length of the route.
    duration_s : float
    uphill_percent, downhill_percent : float
        The steepest grades that the wanted ride meets, both 0 or above.
    hold_s, count_s : tuple of (from s, to s)
        Windows in which level and current count.
    riders : tuple of str
    warnings : tuple of str
        What a user would not expect of it.
    """

    name: str
    file: str | None
    from_m: float
    to_m: float
    route_m: float | None
    duration_s: float
    uphill_percent: float
    downhill_percent: float
    hold_s: Points
    count_s: Points
    riders: tuple[str, ...]
    warnings: tuple[str, ...]

    def __str__(self) -> str:
        along = f" of {self.file} ({self.route_m:.0f} m long)" if self.file else ""
        return (
            f"{self.name}: {self.from_m:.0f} to {self.to_m:.0f} m{along} in {self.duration_s:g} s;"
            f" steepest {self.uphill_percent:.0f} % up, {self.downhill_percent:.0f} % down; level"
            f" counts {_windows(self.hold_s)}, current {_windows(self.count_s)};"
            f" {', '.join(self.riders)}."
        )


def own_courses(study: Study) -> tuple[OwnCourse, ...]:
    """Return what each course rides that the study file describes itself, in its order.

    Raises
    ------
    UserInputError
        The file of a route can not be read any more.
    """
    written = parse_toml(study.text, path=study.folder / STUDY_FILE).get("courses", {})
    return tuple(
        _own_course(study, name, own) for name, own in written.items() if isinstance(own, dict)
    )


def _own_course(study: Study, name: str, own: dict[str, Any]) -> OwnCourse:
    course = study.courses[name]
    route = _route(study, name, own)
    manoeuvre = course.manoeuvre
    way_m = asked_way_m(manoeuvre)
    up, down = _steepest_percent(course, way_m)
    heights = None if route is None else heights_of(route, folder=study.folder)
    from_m = 0.0 if route is None else route.from_m
    warnings = _uncounted(name, course)
    if heights is not None:
        warnings += _not_ridden(name, heights, from_m=from_m, to_m=from_m + way_m)
    return OwnCourse(
        name=name,
        file=None if route is None else route.file,
        from_m=from_m,
        to_m=from_m + way_m,
        route_m=None if heights is None else float(heights.distance_m[-1]),
        duration_s=manoeuvre.duration_s,
        uphill_percent=up,
        downhill_percent=down,
        hold_s=manoeuvre.hold_s,
        count_s=manoeuvre.count_s,
        riders=tuple(ride.rider_name for ride in study.rides if ride.course is course),
        warnings=tuple(warnings),
    )


def _route(study: Study, name: str, own: dict[str, Any]) -> RouteTable | None:
    """Return the route as the file names it; the study itself keeps only what is ridden of it."""
    path, key = study.folder / STUDY_FILE, f"courses.{name}"
    if study.courses[name].road.elevation is None:
        return None
    table = checked(CourseTable, resolved(own, COURSE, path=path, key=key), path=path, key=key)
    route: RouteTable | None = table.road.elevation
    return route


def _steepest_percent(course: Course, way_m: float) -> tuple[float, float]:
    rows = np.arange(0.0, way_m + TABLE_STEP_M, TABLE_STEP_M)
    percent = 100.0 * np.tan(grade_rad(course.road, rows))
    return float(percent.max(initial=0.0)), float(abs(percent.min(initial=0.0)))


def _not_ridden(name: str, route: Elevation, *, from_m: float, to_m: float) -> list[str]:
    """Return a warning where the route is much steeper than what is ridden of it."""
    middle_m = 0.5 * (route.distance_m[1:] + route.distance_m[:-1])
    percent: Floats = 100.0 * np.abs(np.diff(route.height_m) / np.diff(route.distance_m))
    ridden = (middle_m >= from_m) & (middle_m <= to_m)
    most = percent[ridden].max() if ridden.any() else 0.0
    place = int(np.argmax(percent))
    if most >= _MOSTLY * percent[place]:
        return []
    return [
        f"{name} does not ride the steepest of its route, {percent[place]:.0f} % at"
        f" {middle_m[place]:.0f} m: move road.elevation.from_m, or lengthen manoeuvre.duration_s"
        " and its windows."
    ]


def _uncounted(name: str, course: Course) -> list[str]:
    """Return warnings where nothing of a ride counts, or nothing of its end."""
    manoeuvre = course.manoeuvre
    windows = (*manoeuvre.hold_s, *manoeuvre.count_s)
    if not windows:
        return [f"{name} counts for neither level nor current: give manoeuvre.hold_s and count_s."]
    last_s = max(end for _, end in windows)
    if manoeuvre.duration_s - last_s <= _LEFT_S:
        return []
    return [
        f"{name} lasts {manoeuvre.duration_s:g} s, and nothing counts after {last_s:g} s: end"
        " manoeuvre.hold_s and count_s later."
    ]


def _windows(windows: Points) -> str:
    return ", ".join(f"{start:g}-{end:g} s" for start, end in windows) or "never"
