"""Checks for the catalogue's demonstrations, and what is ridden in each."""

import dataclasses
from collections.abc import Mapping
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, PlainValidator, model_validator

from optimizer.analysis.demonstrations import DRAWN, Demonstration, How, Measure
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import spawned
from optimizer.base.messages import nearest
from optimizer.study.catalogue import (
    BOARD,
    CATALOGUE_FOLDER,
    COURSE,
    PROFILE,
    RIDER,
    Kind,
    resolved,
    shelves,
    used_name,
)
from optimizer.study.course import course_of
from optimizer.study.course_schema import CourseTable
from optimizer.study.dataclass_schema import Table, section_model, section_of
from optimizer.study.schema_errors import checked
from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES, array_to_profile, profile_to_array
from plant.description.rider import Rider
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.simulate import Ride
from plant.kernel.trace import Trace

_SHELF = "demonstrations"
_PATH = CATALOGUE_FOLDER / f"{_SHELF}.toml"
_PROFILE = "workshop_15"  # which every demonstration starts from
_USUAL = {"board": "lender_15", "rider": "baker_80"}
_KINDS = {"board": BOARD, "rider": RIDER, "course": COURSE}
_SEED = 1  # of roughness and noise
_SIGNALS = tuple(field.name for field in dataclasses.fields(Trace) if field.name != "outcome")
_SECTIONS = tuple(field.name for field in dataclasses.fields(Profile))


def _one_of(names: tuple[str, ...]) -> Any:
    def check(given: Any) -> str:
        if given not in names:
            raise ValueError(
                f"there is no {given!r}; the nearest is {nearest(str(given), names)!r}"
            )
        return str(given)

    return Annotated[str, PlainValidator(check)]


_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
_Name: Any = _one_of(PROFILE_NAMES)
_Changes: Any = dict[_Name, _Number]


class _MeasureTable(Table):
    how: How
    of: str = Field(strict=True)
    called: str = Field(strict=True)
    unit: str = Field(strict=True)
    window_s: tuple[_Number, _Number] | None = None

    @model_validator(mode="after")
    def _known(self) -> "_MeasureTable":
        names = METRIC_NAMES if self.how is How.METRIC else _SIGNALS
        if self.of not in names:
            raise ValueError(
                f"of: there is no {self.of!r}; the nearest is {nearest(self.of, names)!r}"
            )
        return self


class _DemonstrationTable(Table):
    section: _one_of(_SECTIONS)  # type: ignore[valid-type]
    title: str = Field(strict=True)
    expected: str = Field(strict=True)
    course: CourseTable
    rider: section_model(Rider)  # type: ignore[valid-type]
    board: section_model(Board)  # type: ignore[valid-type]
    settings: _Changes = Field(default_factory=dict)
    variants: dict[str, _Changes] = Field(min_length=2)
    draw: _one_of(tuple(DRAWN))  # type: ignore[valid-type]
    draw_s: tuple[_Number, _Number] | None = None
    measure: _MeasureTable


def example_board() -> Board:
    """Return the board that a demonstration rides where it names none."""
    board: Board = _built(Board, BOARD, _USUAL["board"])
    return board


def example_profile() -> Profile:
    """Return the profile that every demonstration starts from."""
    profile: Profile = _built(Profile, PROFILE, _PROFILE)
    return profile


def rider_of(name: str) -> Rider:
    """Return a rider of the catalogue."""
    rider: Rider = _built(Rider, RIDER, name)
    return rider


def catalogue_demonstrations() -> tuple[Demonstration, ...]:
    """Return the demonstrations of the catalogue, in its order.

    Raises
    ------
    UserInputError
        An entry names what is not there, or a number of it lies outside its range.
    """
    profile = example_profile()
    return tuple(_demonstration(name, profile) for name in shelves()[_SHELF])


def _built(section: type, kind: Kind, name: str) -> Any:
    table = resolved(name, kind, path=_PATH, key=kind.shelf)
    return section_of(section, checked(section_model(section), table, path=_PATH, key=name))


def _demonstration(name: str, profile: Profile) -> Demonstration:
    key = f"{_SHELF}.{name}"
    entry = _USUAL | shelves()[_SHELF][name]
    rider_name = used_name(entry["rider"])
    for part, kind in _KINDS.items():
        entry[part] = resolved(entry[part], kind, path=_PATH, key=f"{key}.{part}")
    table = checked(_DemonstrationTable, entry, path=_PATH, key=key)
    profiles = {
        variant: _varied(profile, table.settings | changes, where=f"{_PATH}: {key}.{variant}")
        for variant, changes in table.variants.items()
    }
    return Demonstration(
        name=name,
        title=table.title,
        expected=table.expected,
        section=table.section,
        ride=_ride(name, table, rider_name=rider_name),
        profiles=profiles,
        draw=table.draw,
        draw_s=table.draw_s,
        measure=Measure(**dict(table.measure)),
    )


def _varied(profile: Profile, changes: Mapping[str, float], *, where: str) -> NDArray[np.float64]:
    """Return a profile with single parameters replaced, each inside its range."""
    row = profile_to_array(profile)
    for name, value in changes.items():
        row[PROFILE_NAMES.index(name)] = value
    try:
        array_to_profile(row)
    except ValueError as error:
        raise UserInputError(f"{where}: {error}; change it") from None
    return row


def _ride(name: str, table: _DemonstrationTable, *, rider_name: str) -> Ride:
    course = course_of(
        table.course,
        name=name,
        road_seed=spawned(_SEED, "road", name),
        folder=_PATH.parent,
        where=f"{_PATH}: {_SHELF}.{name}.course",
    )
    return Ride(
        course=course,
        rider_name=rider_name,
        rider=section_of(Rider, table.rider),
        board=section_of(Board, table.board),
        noise_seed=spawned(_SEED, "noise", name),
    )
