"""One ride as a course of a study file: its road, manoeuvre, rider, board and noise.

Read back by `optimizer.study.load`, it is the same ride to the last bit.
"""

import dataclasses
import json
from collections.abc import Mapping
from typing import Any, TypeAlias

from optimizer.study.tolerances import KNOWN, number_of
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.simulate import Ride

CourseTableText: TypeAlias = dict[str, Any]


def course_table(ride: Ride, *, board: Board, rider: Rider) -> CourseTableText:
    """Return the table of a course over which one rider makes this very ride.

    Parameters
    ----------
    ride : Ride
        Over a whole course, whose road has no measured heights.
    board : Board
    rider : Rider
        As the study describes them; where the ride has other numbers, the table says so.

    Raises
    ------
    ValueError
        The ride is a part of a manoeuvre, or over measured heights.
    """
    course = ride.course
    if course.part is not None or course.road.elevation is not None:
        raise ValueError("ride: must be over a whole course without measured heights")
    road = _given(dataclasses.asdict(course.road))
    manoeuvre = _given(dataclasses.asdict(course.manoeuvre))
    return {
        "title": f"{course.title}, {ride.rider_name}",
        "riders": [ride.rider_name],
        "road_seed": f"{course.road_seed:x}",
        "noise_seed": f"{ride.noise_seed:x}",
        "numbers": _other_numbers(ride, board, rider),
        "road": road,
        "manoeuvre": {**manoeuvre, "start": str(course.manoeuvre.start)},
    }


def _given(table: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in table.items() if value is not None}


def _other_numbers(ride: Ride, board: Board, rider: Rider) -> dict[str, float]:
    """Return the numbers of board and rider in which a ride differs from the study's."""
    found = {}
    for name in KNOWN:
        for own, described in ((ride.board, board), (ride.rider, rider)):
            value = number_of(own, name)
            if value is not None and value != number_of(described, name):
                found[name] = value
    return found


def courses_text(courses: Mapping[str, CourseTableText]) -> str:
    """Return courses as the text of a study file's tables, one after the other."""
    return "\n\n".join(_course_text(name, table) for name, table in courses.items()) + "\n"


def _course_text(name: str, table: CourseTableText) -> str:
    lines = [f"[courses.{name}]"]
    inner = {key: value for key, value in table.items() if key in ("road", "manoeuvre")}
    lines += [f"{key} = {_value(value)}" for key, value in table.items() if key not in inner]
    for key, section in inner.items():
        lines.append(f"[courses.{name}.{key}]")
        lines += [f"{each} = {_value(value)}" for each, value in section.items()]
    return "\n".join(lines)


def _value(value: Any) -> str:
    """Return a value as TOML on one line; a number reads back as it is."""
    if isinstance(value, Mapping):
        inside = ", ".join(f"{key} = {_value(each)}" for key, each in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, float):
        return repr(value)
    return json.dumps(str(value), ensure_ascii=False)
