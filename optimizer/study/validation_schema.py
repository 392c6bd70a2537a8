"""Checks for what a study says about the validation of a selected profile."""

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from optimizer.base.hashing import spawned
from optimizer.base.toml_io import Table as Toml
from optimizer.study.catalogue import COURSE, Kind, resolved, shelves
from optimizer.study.course import course_of
from optimizer.study.course_schema import CourseTable
from optimizer.study.dataclass_schema import Table, number
from optimizer.study.limits import FEWEST_HOURS, MOST_HOURS
from optimizer.study.schema_errors import checked
from optimizer.study.tolerances_schema import NumberName
from optimizer.study.validation_settings import Fault, Validation
from plant.description.course import Course

_HELD_OUT = Kind(shelf="held_out", parts=COURSE.parts)


_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]


class _FaultTable(Table):
    title: str = Field(strict=True, description="title of the fault")
    course: CourseTable
    set: dict[NumberName, _Number] = Field(default_factory=dict)
    add: dict[NumberName, _Number] = Field(default_factory=dict)
    scale: dict[NumberName, _Number] = Field(default_factory=dict)
    warned_s: _Number | None = None


class ValidationTable(Table):
    """The table [validation] of a study."""

    draws: Annotated[
        int, Field(strict=True, ge=1, le=4096, description="draws of the tolerances")
    ] = 64
    # Enough to pass at the limit below without a nose-down, which takes some 1,900 h.
    hours: number("hours of the riding day to simulate", FEWEST_HOURS, MOST_HOURS) = 2000.0  # type: ignore[valid-type]
    # 0.29: crashes of adult cyclists; the sources are in studies/README.md.
    nose_downs_per_1000_km: number("nose-downs in 1,000 km that pass", 0.001, 1e3) = 0.29  # type: ignore[valid-type]


def validation_of(table: ValidationTable, *, seed: int, path: Path) -> Validation:
    """Return what a validation rides.

    Parameters
    ----------
    table : ValidationTable
    seed : int
        The study's.
    path : Path
        The study file, for messages and routes.
    """
    held_out = [
        _course(_resolved_course(name, _HELD_OUT, path=path), name=name, seed=seed, path=path)
        for name in shelves()["held_out"]
    ]
    return Validation(
        n_draws=table.draws,
        hours=table.hours,
        nose_downs_per_1000_km=table.nose_downs_per_1000_km,
        held_out=tuple(held_out),
        faults=tuple(_fault(name, seed=seed, path=path) for name in shelves()["faults"]),
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
