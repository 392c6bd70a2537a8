"""What each section of a profile does: pairs of rides with and without it, all else equal."""

import dataclasses
from typing import Any, Literal

import numpy as np
from pydantic import Field

from optimizer.catalogue import (
    BOARD,
    CATALOGUE_FOLDER,
    COURSE,
    PROFILE,
    RIDER,
    Kind,
    resolved,
    shelves,
)
from optimizer.course_file import course_of
from optimizer.course_model import CourseTable
from optimizer.refusal import checked
from optimizer.section_model import Table, section_model, section_of
from optimizer.seeds import spawned
from plant.board import Board
from plant.metrics import METRIC_NAMES
from plant.outcomes import Outcome
from plant.profile import Profile
from plant.profile_array import PROFILE_NAMES, profile_to_array
from plant.quantity import quantities
from plant.rider import Rider
from plant.simulate import Ride, simulate
from plant.trace import Trace, trace

BOARD_NAME, PROFILE_NAME = "lender_15", "workshop_15"
_FILE = CATALOGUE_FOLDER / "demonstrations.toml"
_TRACE_EVERY_STEPS = 5

_STATISTICS = {
    "rms": lambda values: float(np.sqrt(np.mean(values**2))),
    "mean": lambda values: float(np.mean(values)),
    "largest": lambda values: float(np.max(values)),
    "least": lambda values: float(np.min(values)),
    "last": lambda values: float(values[-1]),
}


class _Measure(Table):
    metric: Literal[METRIC_NAMES] | None = None  # type: ignore[valid-type]
    statistic: Literal["rms", "mean", "largest", "least", "last"] = "mean"
    signal: str = ""
    from_s: float = 0.0
    to_s: float = 0.0


class _Side(Table):
    name: str
    set: dict[str, float] = Field(default_factory=dict)


class _DemonstrationTable(Table):
    section: str
    shows: str
    course: CourseTable
    rider: section_model(Rider)  # type: ignore[valid-type]
    board: dict[str, float] = Field(default_factory=dict)
    with_: _Side = Field(alias="with")
    without: _Side
    signal: str
    measure: _Measure


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One side of a pair, ridden.

    Attributes
    ----------
    name : str
        What is set on this side.
    trace : Trace
    value : float
        What was measured.
    """

    name: str
    trace: Trace
    value: float

    @property
    def ended(self) -> bool:
        """Whether the ride ended before its time."""
        return self.trace.outcome != Outcome.RIDDEN

    def first_time_s(self, signal: str, above: float) -> float:
        """Return when a signal first goes above a value, in s; NaN if it never does."""
        past = np.flatnonzero(getattr(self.trace, signal) > above)
        return float(self.trace.time_s[past[0]]) if len(past) else float("nan")


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Demonstration:
    """A pair of rides.

    Attributes
    ----------
    name : str
    section : str
        Section of the profile.
    shows : str
        What is to be seen, in a line.
    ride : Ride
    signal : str
        Field of `plant.trace.Trace` that a figure draws.
    measured : str
        What `Shown.value` is.
    with_it, without_it : Shown
    """

    name: str
    section: str
    shows: str
    ride: Ride
    signal: str
    measured: str
    with_it: Shown
    without_it: Shown


def demonstration_names() -> tuple[str, ...]:
    """Return the names of all pairs, in the order of the profile's sections."""
    return tuple(shelves()["demonstrations"])


def demonstrate(name: str) -> Demonstration:
    """Ride one pair.

    Parameters
    ----------
    name : str
        One of `demonstration_names`.
    """
    table = _table(name)
    ride = Ride(
        name=name,
        course=course_of(
            table.course,
            name=name,
            road_seed=spawned(0, "demonstration", name),
            folder=CATALOGUE_FOLDER,
            where=f"{_FILE}: {name}",
        ),
        rider=section_of(Rider, table.rider),
        board=_changed_board(table.board),
        noise_seed=spawned(0, "demonstration", name, "noise"),
    )
    measure = table.measure
    return Demonstration(
        name=name,
        section=table.section,
        shows=table.shows,
        ride=ride,
        signal=table.signal,
        measured=measure.metric or f"{measure.statistic} {measure.signal}",
        with_it=_shown(table.with_, ride, measure),
        without_it=_shown(table.without, ride, measure),
    )


def _table(name: str) -> _DemonstrationTable:
    entry = dict(shelves()["demonstrations"][name])
    for key, kind in (("course", COURSE), ("rider", RIDER)):
        entry[key] = resolved(entry[key], kind, path=_FILE, key=f"{name}.{key}")
    found: _DemonstrationTable = checked(_DemonstrationTable, entry, path=_FILE, key=name)
    return found


def _entry(section: type, kind: Kind, name: str) -> Any:
    table = resolved(name, kind, path=_FILE, key=name)
    return section_of(section, checked(section_model(section), table, path=_FILE, key=name))


def example_board() -> Board:
    """Return the board that all pairs ride, before their own changes."""
    board: Board = _entry(Board, BOARD, BOARD_NAME)
    return board


def example_profile() -> Profile:
    """Return the profile that both sides of a pair change."""
    profile: Profile = _entry(Profile, PROFILE, PROFILE_NAME)
    return profile


def rider_of(name: str) -> Rider:
    """Return a rider of the catalogue."""
    rider: Rider = _entry(Rider, RIDER, name)
    return rider


def _changed_board(changes: dict[str, float]) -> Board:
    board = example_board()
    for section in dataclasses.fields(Board):
        names = {declared.name for declared in quantities(section.type)}  # type: ignore[arg-type]
        mine = {name: value for name, value in changes.items() if name in names}
        if mine:
            changed = dataclasses.replace(getattr(board, section.name), **mine)
            board = dataclasses.replace(board, **{section.name: changed})
    return board


def _shown(side: _Side, ride: Ride, measure: _Measure) -> Shown:
    row = profile_to_array(example_profile())
    for name, value in side.set.items():
        row[PROFILE_NAMES.index(name)] = value
    ridden = trace(row, ride, every_steps=_TRACE_EVERY_STEPS)
    if measure.metric is not None:
        value = float(simulate(row[None, :], [ride]).column(measure.metric)[0, 0])
    else:
        signal = getattr(ridden, measure.signal)
        time_s = ridden.time_s
        chosen = (time_s >= measure.from_s) & (time_s < measure.to_s) & np.isfinite(signal)
        value = _STATISTICS[measure.statistic](signal[chosen]) if chosen.any() else float("nan")
    return Shown(name=side.name, trace=ridden, value=value)
