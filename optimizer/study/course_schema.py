"""Checks for a course in a file: its road, its manoeuvre, and its riders."""

import itertools
import math
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, PlainValidator

from optimizer.base.messages import nearest, shown
from optimizer.study.dataclass_schema import Table, number, section_model, table_model
from optimizer.study.tolerances import KNOWN
from plant.description.course import Manoeuvre, Patch, Points, Road, Start, Surface

# Beyond the steepest streets (29 and 35 %) and inside the plant's small polynomials of an angle.
STEEPEST_PERCENT = 50.0
_SEED_DIGITS = 16  # 64 bits


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _pairs(given: Any) -> Points | None:
    """Return pairs of finite numbers, or None where something else stands."""
    if not isinstance(given, list | tuple):
        return None
    for pair in given:
        if not (isinstance(pair, list | tuple) and len(pair) == 2 and all(map(_is_number, pair))):
            return None
    return tuple((float(first), float(second)) for first, second in given)


def _points(text: str, along: str, low: float, high: float, *, fewest: int = 1) -> Any:
    """Return the type of points: pairs with rising first numbers and bounded second ones."""

    def check(given: Any) -> Points:
        points = _pairs(given)
        if (
            points is None
            or len(points) < fewest
            or any(a[0] >= b[0] for a, b in itertools.pairwise(points))
            or not all(low <= point[1] <= high for point in points)
        ):
            raise ValueError(
                f"{text} must be pairs of rising {along} and a number from {low:g} to {high:g},"
                f" got {shown(given)}; write it like [[0.0, {high / 2.0:g}]]"
            )
        return points

    return Annotated[Points, PlainValidator(check), Field(description=text)]


def _windows(text: str) -> Any:
    """Return the type of windows in time: pairs, each from an earlier to a later time."""

    def check(given: Any) -> Points:
        windows = _pairs(given)
        if windows is None or not all(0.0 <= start < end for start, end in windows):
            raise ValueError(
                f"{text} must be pairs of an earlier and a later time in s,"
                f" got {shown(given)}; write it like [[2.0, 8.0]]"
            )
        return windows

    return Annotated[Points, PlainValidator(check), Field(description=text)]


def _at_least_one(given: Any) -> Any:
    if not isinstance(given, list | tuple) or not given:
        raise ValueError(
            f"must be a list of at least one surface, got {shown(given)};"
            ' write it like [{ from_m = 0.0, surface = "asphalt" }]'
        )
    return given


def _line(given: Any) -> Points:
    line = _pairs(given)
    if line is None or len(line) != 2 or line[0] == line[1]:
        raise ValueError(
            f"must be two different cells of the grid as row and column, got {shown(given)};"
            " write it like [[10, 20], [60, 20]]"
        )
    return line


def _riders(given: Any) -> tuple[str, ...]:
    if not isinstance(given, list) or not given or not all(isinstance(name, str) for name in given):
        raise ValueError(
            f"must be a list of at least one of the study's riders, got {shown(given)};"
            ' write it like ["baker_80"]'
        )
    return tuple(dict.fromkeys(given))


class HeightsTable(Table):
    """A measured route in a file."""

    file: str = Field(description="file of the route", strict=True, min_length=1)
    smooth_m: float = Field(
        50.0, strict=True, ge=5.0, le=1000.0, description="length over which heights are averaged"
    )
    line: Annotated[Points, PlainValidator(_line)] | None = None
    row_m: float = Field(1.0, strict=True, ge=0.1, le=1e5, description="distance between rows")
    column_m: float = Field(
        1.0, strict=True, ge=0.1, le=1e5, description="distance between columns"
    )


class RouteTable(HeightsTable):
    """A measured route, and where on it the ride starts."""

    from_m: float = Field(0.0, strict=True, ge=0.0, le=1e6, description="start along the route")


_PATCH: Any = table_model(
    Patch,
    {
        "from_m": number("where the surface begins", 0.0, 1e5),
        "surface": section_model(Surface),
    },
)

_ROAD: Any = table_model(
    Road,
    {
        "patches": Annotated[tuple[_PATCH, ...], BeforeValidator(_at_least_one)],
        "grade_percent": _points("grade", "distance in m", -STEEPEST_PERCENT, STEEPEST_PERCENT),
        "grade_blend_m": number("length over which a grade changes", 0.05, 100.0),
        "kerbs": _points("kerbs", "distance in m", -0.3, 0.3, fewest=0),
        "elevation": RouteTable | None,
    },
)

_MANOEUVRE: Any = table_model(
    Manoeuvre,
    {
        "duration_s": number("length of the ride", 1.0, 600.0),
        "start": Start,
        "speed_mps": _points("wanted speed", "time in s", 0.0, 30.0),
        "turn_deg_per_s": _points("wanted yaw rate", "time in s", -180.0, 180.0),
        "headwind_mps": _points("headwind", "time in s", -30.0, 30.0),
        "press_ratio": _points("foot pressing", "distance in m", -1.0, 1.0),
        "ask_ratio": number("how hard the rider asks", 0.1, 3.0),
        "hold_s": _windows("windows in which level is held"),
        "count_s": _windows("windows in which current is counted"),
        "rise_at_s": number("when the rider brings the board level", 0.0, 600.0),
        "charge_ratio": number("state of charge at the start", 0.0, 1.0),
        "mosfet_c": number("MOSFET temperature at the start", -20.0, 150.0),
    },
)


def _seed(given: Any) -> int | None:
    """Return a seed that is written as hexadecimal digits: TOML's whole numbers are too short."""
    digits = given if isinstance(given, str) else ""
    if not 1 <= len(digits) <= _SEED_DIGITS or set(digits) - set("0123456789abcdef"):
        raise ValueError(
            f"must be 1 to {_SEED_DIGITS} hexadecimal digits in quotes, got {shown(given)};"
            ' take it out, or write it like "1f"'
        )
    return int(digits, 16)


def _numbers(given: Any) -> dict[str, float]:
    if not isinstance(given, dict):
        raise ValueError(
            f"must be a table of numbers of board and rider, got {shown(given)};"
            " write it like { mass_kg = 72.0 }"
        )
    for name, value in given.items():
        if name not in KNOWN:
            raise ValueError(
                f"neither board nor rider has a number {name!r}; the nearest is"
                f" {nearest(name, KNOWN)!r}"
            )
        declared = KNOWN[name][1]
        if not _is_number(value) or not declared.low <= value <= declared.high:
            raise ValueError(
                f"{name} must be from {declared.low:g} to {declared.high:g}, got {shown(value)};"
                " correct it"
            )
    return {name: float(value) for name, value in given.items()}


class CourseTable(Table):
    """A course as it stands in a file."""

    title: str = Field(description="what is ridden, in a few words", strict=True)
    road: _ROAD
    manoeuvre: _MANOEUVRE
    weight: float = Field(
        1.0, strict=True, gt=0.0, allow_inf_nan=False, description="weight in the portfolio"
    )
    riders: Annotated[tuple[str, ...], PlainValidator(_riders)] | None = None
    # Of a ride that is to be the same as one that was ridden elsewhere.
    road_seed: Annotated[int | None, PlainValidator(_seed)] = None
    noise_seed: Annotated[int | None, PlainValidator(_seed)] = None
    numbers: Annotated[dict[str, float], PlainValidator(_numbers)] = Field(default_factory=dict)
