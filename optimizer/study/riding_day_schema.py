"""Checks for what a study says about its riding day."""

import dataclasses
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from optimizer.base.errors import UserInputError
from optimizer.base.messages import shown
from optimizer.study.catalogue_surface import catalogue_surface
from optimizer.study.course import heights_of, refuse_too_steep
from optimizer.study.course_schema import HeightsTable
from optimizer.study.dataclass_schema import Table, number, table_model
from optimizer.study.paths import mapping_beside
from optimizer.study.riding_day import LoggedDay, RidingDay
from plant.description.course import Elevation, Surface
from plant.description.quantity import quantities

_Share: Any = number("share of the way", 0.0, 1e6)
_Fastest: Any = number("fastest speed over this surface", 0.3, 20.0)


def _listed(given: Any) -> Any:
    """Return one route or several as a list of them."""
    several = given if isinstance(given, list) else [given]
    if not several or not all(isinstance(one, dict) for one in several):
        raise ValueError(
            f"must be a route or a list of routes, got {shown(given)};"
            ' write it like { file = "lane.gpx" }'
        )
    return several


class LogTable(Table):
    """A ride log in a file, and the file that says which of its columns is what."""

    file: str = Field(description="file of the ride log", strict=True, min_length=1)
    mapping: str | None = Field(
        None, description="file that maps the log's columns", strict=True, min_length=1
    )


class _DayTable(Table):
    surfaces: dict[str, _Share] = Field(description="shares of the way by surface")
    fastest_mps: dict[str, _Fastest] = Field(description="fastest speeds by surface")
    route: Annotated[tuple[HeightsTable, ...], BeforeValidator(_listed)] = ()
    log: LogTable | None = None


RidingDayTable: Any = table_model(
    RidingDay,
    {declared.name: number(declared.text, declared.low, declared.high)
     for declared in quantities(RidingDay)},
    base=_DayTable,
)  # fmt: skip


def riding_day_of(table: Any, *, path: Path) -> RidingDay:
    """Return the riding day of a checked table.

    Parameters
    ----------
    table : RidingDayTable
    path : Path
        The study file, for messages, routes and the log.

    Raises
    ------
    UserInputError
        A surface of the riding day is not in the catalogue, a lower end lies above its upper one,
        or a route or log can not be read or is too short for a ride.
    """
    numbers = {declared.name: getattr(table, declared.name) for declared in quantities(RidingDay)}
    day = RidingDay(
        **numbers,
        surfaces=_by_surface(table.surfaces, path=path, key="riding_day.surfaces"),
        fastest_mps=_by_surface(table.fastest_mps, path=path, key="riding_day.fastest_mps"),
    )
    routes = [
        (f"{path}: riding_day.route: {route.file}", heights_of(route, folder=path.parent))
        for route in table.route
    ]
    if table.log is not None:
        logged = _logged(table.log, path=path)
        where = f"{path}: riding_day.log: {table.log.file}"
        day = dataclasses.replace(
            day, logged_mps=logged.speeds, fast_mps=_fastest_of(logged, where=where)
        )
        if not routes and logged.heights is not None:
            routes = [(where, logged.heights)]
    _refuse_disorder(day, path=path)
    for where, heights in routes:
        _refuse_unfit(heights, day, where=where)
    return dataclasses.replace(day, routes=tuple(heights for _, heights in routes))


def _refuse_disorder(day: RidingDay, *, path: Path) -> None:
    """Refuse ends between which nothing can be drawn."""
    ends = [("easy_ask_ratio", "hard_ask_ratio")]
    if not day.logged_mps:
        ends.append(("slow_mps", "fast_mps"))
    for low, high in ends:
        least, most = getattr(day, low), getattr(day, high)
        if least > most:
            raise UserInputError(
                f"{path}: riding_day.{low}: must be up to {high} = {most:g}, got {least:g}; lower"
                f" it, or raise riding_day.{high}"
            )


def _logged(table: LogTable, *, path: Path) -> LoggedDay:
    # It takes longer to load than all else that reads a study.
    from optimizer.study.logged_day import read_logged_day  # noqa: PLC0415

    log = path.parent / table.file
    mapping = mapping_beside(log) if table.mapping is None else path.parent / table.mapping
    try:
        return read_logged_day(log, mapping)
    except UserInputError as error:
        raise UserInputError(f"{path}: riding_day.log: {error}") from None


def _fastest_of(logged: LoggedDay, *, where: str) -> float:
    fastest = max(speed for points in logged.speeds for _, speed in points)
    allowed = next(declared for declared in quantities(RidingDay) if declared.name == "fast_mps")
    if fastest > allowed.high:
        raise UserInputError(
            f"{where}: fastest speed must be up to {allowed.high:g} m/s, got {fastest:.0f} m/s;"
            " check the unit of columns.speed_mps in its mapping"
        )
    return fastest


def _refuse_unfit(heights: Elevation, day: RidingDay, *, where: str) -> None:
    """Refuse heights that are too steep, or too short for a ride of the day."""
    refuse_too_steep(heights, where=where, or_else="choose another")
    end_m = float(heights.distance_m[-1])
    if end_m < day.way_m:
        raise UserInputError(
            f"{where} must lead {day.way_m:.0f} m or farther, for a ride of {day.ride_s:g} s at up"
            f" to {day.fast_mps:g} m/s, got {end_m:.0f} m; choose a longer one, or lower"
            " riding_day.ride_s"
        )


def _by_surface(given: dict[str, float], *, path: Path, key: str) -> dict[Surface, float]:
    return {
        catalogue_surface(name, path=path, key=f"{key}.{name}"): value
        for name, value in given.items()
    }
