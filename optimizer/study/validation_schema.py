"""Checks for what a study says about the validation of a selected profile, with the defaults."""

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, PlainValidator, model_validator

from optimizer.base.hashing import spawned
from optimizer.base.messages import nearest
from optimizer.base.toml_io import Table as Toml
from optimizer.study.catalogue import COURSE, Kind, changed, resolved, shelves
from optimizer.study.catalogue_surface import catalogue_surface
from optimizer.study.course import course_of
from optimizer.study.course_schema import CourseTable
from optimizer.study.dataclass_schema import Table, number, table_model
from optimizer.study.schema_errors import checked
from optimizer.study.tolerances import KNOWN, Shape, Tolerance
from optimizer.study.validation_settings import Fault, RidingDay, Validation
from plant.description.course import Course, Surface
from plant.description.quantity import quantities

_HELD_OUT = Kind(shelf="held_out", parts=COURSE.parts)
_DAY = "validation.riding_day"


def _known_name(given: Any) -> str:
    if given not in KNOWN:
        likely = nearest(str(given), KNOWN)
        raise ValueError(f"board and rider have no {given!r}; the nearest is {likely}; correct it")
    return str(given)


_Name = Annotated[str, PlainValidator(_known_name)]
_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]


class ToleranceTable(Table):
    """The spread of one number."""

    percent: number("half width in percent of the number", 0.0, 95.0) = 0.0  # type: ignore[valid-type]
    plus_minus: number("half width in the number's unit", 0.0, 1e6) = 0.0  # type: ignore[valid-type]
    shape: Shape = Shape.UNIFORM

    @model_validator(mode="after")
    def _has_width(self) -> "ToleranceTable":
        if self.percent == 0.0 and self.plus_minus == 0.0:
            raise ValueError("percent or plus_minus must be above 0, got neither; give one")
        return self


class _FaultTable(Table):
    title: str = Field(strict=True, description="title of the fault")
    course: CourseTable
    set: dict[_Name, _Number] = Field(default_factory=dict)
    add: dict[_Name, _Number] = Field(default_factory=dict)
    scale: dict[_Name, _Number] = Field(default_factory=dict)
    warned_s: _Number | None = None


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


class ValidationTable(Table):
    """The table [validation] of a study."""

    draws: int = Field(64, strict=True, ge=1, le=4096, description="draws of the tolerances")
    hours: number("hours of the riding day to simulate", 0.1, 1e6) = 1000.0  # type: ignore[valid-type]
    # 0.29: crashes of adult cyclists; the sources are in studies/README.md.
    nose_downs_per_1000_km: number("nose-downs in 1,000 km that pass", 0.001, 1e3) = 0.29  # type: ignore[valid-type]
    tolerances: dict[_Name, ToleranceTable] = Field(default_factory=dict)
    riding_day: RidingDayTable


def validation_table(written: Any) -> Any:
    """Return the table as written, over the catalogue's defaults."""
    defaults = {name: shelves()[name] for name in ("tolerances", "riding_day")}
    return changed(defaults, written) if isinstance(written, dict) else written


def validation_of(table: ValidationTable, *, seed: int, path: Path) -> Validation:
    """Return what a validation rides.

    Parameters
    ----------
    table : ValidationTable
    seed : int
        The study's.
    path : Path
        The study file, for messages and routes.

    Raises
    ------
    UserInputError
        A surface of the riding day is not in the catalogue.
    """
    held_out = [
        _course(_resolved_course(name, _HELD_OUT, path=path), name=name, seed=seed, path=path)
        for name in shelves()["held_out"]
    ]
    return Validation(
        n_draws=table.draws,
        hours=table.hours,
        nose_downs_per_1000_km=table.nose_downs_per_1000_km,
        tolerances=tuple(
            Tolerance(
                name=name,
                percent=spread.percent,
                plus_minus=spread.plus_minus,
                shape=spread.shape,
            )
            for name, spread in table.tolerances.items()
        ),
        held_out=tuple(held_out),
        faults=tuple(_fault(name, seed=seed, path=path) for name in shelves()["faults"]),
        day=_day(table.riding_day, path=path),
    )


def _resolved_course(value: Any, kind: Kind, *, path: Path) -> CourseTable:
    return checked(CourseTable, resolved(value, kind, path=path, key="course"), path=path)


def _course(table: CourseTable, *, name: str, seed: int, path: Path) -> Course:
    return course_of(
        table,
        name=name,
        road_seed=spawned(seed, "validation", "road", name),
        folder=path.parent,
        where=f"{path}: {name}",
    )


def _fault(name: str, *, seed: int, path: Path) -> Fault:
    entry: Toml = dict(shelves()["faults"][name])
    entry["course"] = resolved(entry["course"], COURSE, path=path, key=f"faults.{name}.course")
    table = checked(_FaultTable, entry, path=path, key=f"faults.{name}")
    names = {*table.set, *table.add, *table.scale}
    return Fault(
        name=name,
        title=table.title,
        course=_course(table.course, name=name, seed=seed, path=path),
        changes={
            changed_name: (
                table.set.get(changed_name),
                table.add.get(changed_name, 0.0),
                table.scale.get(changed_name, 1.0),
            )
            for changed_name in sorted(names)
        },
        warned_s=table.warned_s,
    )


def _day(table: Any, *, path: Path) -> RidingDay:
    numbers = {declared.name: getattr(table, declared.name) for declared in quantities(RidingDay)}
    return RidingDay(
        **numbers,
        surfaces=_by_surface(table.surfaces, path=path, key=f"{_DAY}.surfaces"),
        fastest_mps=_by_surface(table.fastest_mps, path=path, key=f"{_DAY}.fastest_mps"),
    )


def _by_surface(given: dict[str, float], *, path: Path, key: str) -> dict[Surface, float]:
    return {
        catalogue_surface(name, path=path, key=f"{key}.{name}"): value
        for name, value in given.items()
    }
