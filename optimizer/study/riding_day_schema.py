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
from optimizer.study.riding_day import RidingDay
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


class _SurfacesOfTheDay(Table):
    surfaces: dict[str, _Share] = Field(description="shares of the way by surface")
    fastest_mps: dict[str, _Fastest] = Field(description="fastest speeds by surface")
    route: Annotated[tuple[HeightsTable, ...], BeforeValidator(_listed)] = ()


RidingDayTable: Any = table_model(
    RidingDay,
    {declared.name: number(declared.text, declared.low, declared.high)
     for declared in quantities(RidingDay)},
    base=_SurfacesOfTheDay,
)  # fmt: skip


def riding_day_of(table: Any, *, path: Path) -> RidingDay:
    """Return the riding day of a checked table.

    Parameters
    ----------
    table : RidingDayTable
    path : Path
        The study file, for messages and routes.

    Raises
    ------
    UserInputError
        A surface of the riding day is not in the catalogue, or a route can not be read or is too
        short for a ride.
    """
    numbers = {declared.name: getattr(table, declared.name) for declared in quantities(RidingDay)}
    day = RidingDay(
        **numbers,
        surfaces=_by_surface(table.surfaces, path=path, key="riding_day.surfaces"),
        fastest_mps=_by_surface(table.fastest_mps, path=path, key="riding_day.fastest_mps"),
    )
    routes = tuple(_route(route, day, path=path) for route in table.route)
    return dataclasses.replace(day, routes=routes)


def _route(table: HeightsTable, day: RidingDay, *, path: Path) -> Elevation:
    heights = heights_of(table, folder=path.parent)
    file, where = path.parent / table.file, f"{path}: riding_day.route"
    refuse_too_steep(heights, where=f"{where}: {file.name}", or_else="choose another route")
    end_m = float(heights.distance_m[-1])
    if end_m < day.way_m:
        raise UserInputError(
            f"{where}: {file.name} must be {day.way_m:.0f} m long or longer, for a ride of"
            f" {day.ride_s:g} s at up to {day.fast_mps:g} m/s, got {end_m:.0f} m; choose a longer"
            " route, or lower riding_day.ride_s"
        )
    return heights


def _by_surface(given: dict[str, float], *, path: Path, key: str) -> dict[Surface, float]:
    return {
        catalogue_surface(name, path=path, key=f"{key}.{name}"): value
        for name, value in given.items()
    }
