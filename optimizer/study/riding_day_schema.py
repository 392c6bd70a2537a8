"""Checks for what a study says about its riding day."""

from pathlib import Path
from typing import Any

from pydantic import Field

from optimizer.study.catalogue_surface import catalogue_surface
from optimizer.study.dataclass_schema import Table, number, table_model
from optimizer.study.riding_day import RidingDay
from plant.description.course import Surface
from plant.description.quantity import quantities

_Share: Any = number("share of the way", 0.0, 1e6)
_Fastest: Any = number("fastest speed over this surface", 0.3, 20.0)


class _SurfacesOfTheDay(Table):
    surfaces: dict[str, _Share] = Field(description="shares of the way by surface")
    fastest_mps: dict[str, _Fastest] = Field(description="fastest speeds by surface")


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
        The study file, for messages.

    Raises
    ------
    UserInputError
        A surface of the riding day is not in the catalogue.
    """
    numbers = {declared.name: getattr(table, declared.name) for declared in quantities(RidingDay)}
    return RidingDay(
        **numbers,
        surfaces=_by_surface(table.surfaces, path=path, key="riding_day.surfaces"),
        fastest_mps=_by_surface(table.fastest_mps, path=path, key="riding_day.fastest_mps"),
    )


def _by_surface(given: dict[str, float], *, path: Path, key: str) -> dict[Surface, float]:
    return {
        catalogue_surface(name, path=path, key=f"{key}.{name}"): value
        for name, value in given.items()
    }
