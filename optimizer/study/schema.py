"""Checks for a whole study file, once every name of the catalogue in it is replaced."""

import dataclasses
import math
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import AfterValidator, Field, PlainValidator, create_model

from objectives.feel import BANDS, MARKS, Mark
from objectives.score import OBJECTIVES
from objectives.score_settings import DEFAULT_HANDLING, ScoreSettings
from optimizer.base.database_url import check_address, passwords
from optimizer.base.messages import nearest, shown
from optimizer.study.course_schema import CourseTable
from optimizer.study.dataclass_schema import Table, number, section_model, table_model
from optimizer.study.limits import MOST_CANDIDATES
from optimizer.study.riding_day_schema import RidingDayTable
from optimizer.study.tolerances_schema import NumberName, ToleranceTable
from optimizer.study.validation_schema import ValidationTable
from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES
from plant.description.quantity import Quantity, declared_numbers
from plant.description.rider import Rider
from plant.device import Device

Bounds: TypeAlias = tuple[float, float]

OF_OBJECTIVES = (
    "tail_share",
    "tail_weight",
    "worst_rider_weight",
)  # the rest of the settings are constraints


def _bounds(declared: Quantity) -> Any:
    """Return the type of the bounds of a parameter: two numbers inside what it can be."""

    def check(given: Any) -> Bounds:
        if not (
            isinstance(given, list | tuple)
            and len(given) == 2
            and all(isinstance(end, int | float) and not isinstance(end, bool) for end in given)
        ):
            raise ValueError(f"must be [low, high], got {shown(given)}; write two numbers")
        low, high = float(given[0]), float(given[1])
        if not low < high:
            raise ValueError(f"low must be below high, got low={low}, high={high}; swap them")
        if not declared.low <= low < high <= declared.high:
            raise ValueError(
                f"{declared.text} can be from {declared.low:g} to {declared.high:g},"
                f" got low={low}, high={high}; narrow the bounds"
            )
        return low, high

    return Annotated[Bounds, PlainValidator(check)]


BoundsTable: Any = create_model(
    "Bounds",
    __base__=Table,
    **{
        name: (_bounds(declared) | None, None)
        for name, (_, declared) in declared_numbers(Profile).items()
    },
)  # type: ignore[call-overload]


def _parameters(given: Any) -> tuple[str, ...]:
    if not (isinstance(given, list) and all(isinstance(name, str) for name in given)):
        raise ValueError(f'must be a list of names, got {shown(given)}; write ["NAME"]')
    for name in given:
        if name not in PROFILE_NAMES:
            likely = nearest(name, PROFILE_NAMES)
            raise ValueError(f"a profile has no {name!r}; the nearest is {likely}; correct it")
    return tuple(given)


def _database(given: Any) -> str:
    address = given if isinstance(given, str) else ""
    check_address(address)
    if passwords(address):
        raise ValueError(
            "must hold no password, since study files are passed on;"
            " put it into the variable PGPASSWORD or the file ~/.pgpass"
        )
    return address


class SearchTable(Table):
    """How much is searched, and where; a parameter without bounds keeps the baseline's value."""

    candidates: int = Field(
        3000, strict=True, ge=1, le=MOST_CANDIDATES, description="number of candidates"
    )
    population: int = Field(
        48, strict=True, ge=4, le=10_000, description="number of candidates in a generation"
    )
    hard_rides: int = Field(
        56, strict=True, ge=4, le=2000, description="number of hard rides of the riding day"
    )
    hard_rides_h: number("hours ridden to find hard rides", 0.1, 1e5) = 300.0  # type: ignore[valid-type]
    bounds: BoundsTable
    start: str | None = Field(None, strict=True, description="file of profiles to start from")
    fixed: Annotated[tuple[str, ...], PlainValidator(_parameters)] = ()


def _some_weight(weights: Table) -> Table:
    if not any(getattr(weights, name) for name in OBJECTIVES):
        raise ValueError("at least one weight must be above 0, got none; raise one")
    return weights


WeightsTable: Any = create_model(
    "Weights",
    __base__=Table,
    **{name: (number(f"weight of {name}", 0.0, 1e6), 1.0) for name in OBJECTIVES},
    feel=(number("weight of feel", 0.0, 1e6), 1.0),
)  # type: ignore[call-overload]

_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]


def _wanted_feel(given: Any) -> float | None:
    """Return a wanted feel in deg per m/s2, from a number or the word for one."""
    if given in MARKS:
        return MARKS[given]
    is_number = isinstance(given, int | float) and not isinstance(given, bool)
    if not is_number or not _LEAST_FEEL <= given <= _MOST_FEEL:
        raise ValueError(
            f"must be {', '.join(MARKS)}, or deg per m/s2 from {_LEAST_FEEL:g} to {_MOST_FEEL:g},"
            f" got {shown(given)}; correct it"
        )
    return float(given)


_LEAST_FEEL, _MOST_FEEL = 0.0, 20.0


class _Weighted(Table):
    weights: Annotated[WeightsTable, AfterValidator(_some_weight)] = WeightsTable()
    feel: Annotated[float | None, PlainValidator(_wanted_feel)] = None


class _Felt(Table):
    feel: Mark | None = None


def _band(given: Any) -> tuple[float, float]:
    """Return a checked band, [low, high]; an end may be infinite, which is not asked for."""
    numbers = [given] if not isinstance(given, list | tuple) else given
    fits = [isinstance(end, int | float) and not isinstance(end, bool) for end in numbers]
    if len(numbers) != _BAND_ENDS or not all(fits) or any(math.isnan(end) for end in numbers):
        raise ValueError(f"must be [low, high], got {shown(given)}; write two numbers, or inf")
    return float(numbers[0]), float(numbers[1])


_BAND_ENDS = 2
_OF_HANDLING: dict[str, Any] = {
    "handling": dict[str, Annotated[tuple[float, float], PlainValidator(_band)]],
    "rider_difference": dict[str, _Number],
}

ObjectivesTable: Any = table_model(
    ScoreSettings, dict.fromkeys(OF_OBJECTIVES, _Number), base=_Weighted
)
ConstraintsTable: Any = table_model(
    ScoreSettings,
    {
        field.name: _OF_HANDLING.get(field.name, _Number)
        for field in dataclasses.fields(ScoreSettings)
        if field.name not in OF_OBJECTIVES
    },
    base=_Felt,
)


def _rider_number(given: Any) -> str:
    known = declared_numbers(Rider)
    if given not in known:
        likely = nearest(str(given), known)
        raise ValueError(f"a rider has no {given!r}; the nearest is {likely}; correct it")
    return str(given)


RiderNumber = Annotated[str, PlainValidator(_rider_number)]
Ratio: Any = number("ratio to the rider's number", 0.2, 5.0)


class StudyTable(Table):
    """A whole study file.

    `structure` is that of the control law: one loop from pitch error to current, or a pitch loop
    around an acceleration loop, whose parameters are then searched too.
    """

    title: str = Field(strict=True, description="title of the study")
    seed: int = Field(0, strict=True, ge=0, le=2**63 - 1, description="seed of all chance")
    scaled_from: str | None = Field(
        None,
        strict=True,
        description="board of the catalogue whose baseline and bounds are scaled to this board",
    )
    board: section_model(Board)  # type: ignore[valid-type]
    riders: dict[str, section_model(Rider)]  # type: ignore[valid-type]
    balance_variants: dict[str, dict[RiderNumber, Ratio]]
    courses: dict[str, CourseTable]
    baseline: section_model(Profile)  # type: ignore[valid-type]
    structure: Literal["single", "nested"] = "single"
    database: Annotated[str | None, PlainValidator(_database)] = None
    device: Device = "cpu"
    search: SearchTable
    objectives: ObjectivesTable = ObjectivesTable()
    constraints: ConstraintsTable = ConstraintsTable()
    riding_day: RidingDayTable
    tolerances: dict[NumberName, ToleranceTable]
    validation: ValidationTable = ValidationTable()


def settings_of(study: StudyTable) -> ScoreSettings:
    """Return the scoring settings of a checked study file.

    Raises
    ------
    ValueError
        A setting lies outside its range; the message begins with its place in the file.
    """
    values = {
        field.name: getattr(
            study.objectives if field.name in OF_OBJECTIVES else study.constraints, field.name
        )
        for field in dataclasses.fields(ScoreSettings)
    }
    mark = study.constraints.feel
    if mark is not None:
        both = {"feel_low_deg_per_mps2", "feel_high_deg_per_mps2"}
        twice = sorted(both & study.constraints.model_fields_set)
        if twice:
            raise ValueError(
                f"constraints.feel: {mark} is a band of its own, and {twice[0]} gives another; keep"
                " one of them"
            )
        values["feel_low_deg_per_mps2"], values["feel_high_deg_per_mps2"] = BANDS[mark]
    values["handling"] = DEFAULT_HANDLING | values["handling"]  # a band that is not given stays
    try:
        return ScoreSettings(**values)
    except ValueError as error:
        part = "objectives" if str(error).startswith(OF_OBJECTIVES) else "constraints"
        raise ValueError(f"{part}.{error}") from None
