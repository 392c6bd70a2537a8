"""Rides that a study does not hold: other courses, another speed or grade, changed numbers.

Nothing of them is stored, so a study whose search is finished can be asked too.
"""

import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import pandas as pd

from objectives import ride_columns
from optimizer.analysis.tables import rides_table
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import spawned
from optimizer.base.messages import nearest, shown
from optimizer.base.toml_io import read_toml
from optimizer.execution.reevaluation import ride_on_fresh_noise
from optimizer.study.catalogue import COURSE, resolved_group
from optimizer.study.catalogue_surface import ASPHALT, catalogue_surface
from optimizer.study.course_rides import course_rides
from optimizer.study.course_schema import STEEPEST_PERCENT, CourseTable
from optimizer.study.rewound_motor import rewound
from optimizer.study.schema_errors import checked
from optimizer.study.seeded_ride import seeded_ride
from optimizer.study.study import Study
from optimizer.study.tolerances import KNOWN, number_of, with_numbers
from plant.arrays import Floats
from plant.description.board import Board
from plant.description.course import Course, Manoeuvre, Patch, Road
from plant.kernel.simulate import Ride, simulate

_KMH_PER_MPS = 3.6
_SPEED, _GRADE, _CHARGE, _MOSFET = "speed_kmh", "grade_percent", "charge_ratio", "mosfet_c"
_KV = "kv_rpm_per_v"
_RANGES = {
    _SPEED: (1.0, 108.0),  # up to 30 m/s, as in a course of a study file
    _GRADE: (-STEEPEST_PERCENT, STEEPEST_PERCENT),
    _MOSFET: (-20.0, 150.0),  # as in a course of a study file
    **{name: (declared.low, declared.high) for name, (_, declared) in KNOWN.items()},
}
_LEVEL_S = 2.0  # on the level before the grade begins: assumed, for the rider to settle
_LASTS_S = 15.0  # enough for the rider to settle on the grade too: assumed
_BLEND_M = 2.0  # length over which the grade begins, the foot of a ramp: assumed
_MOST_LISTED = 3  # numbers of a list; of more the range is said


def numbers_asked(texts: Iterable[str]) -> dict[str, float]:
    """Return the numbers of texts such as "charge_ratio=1", each inside what the model takes.

    Raises
    ------
    UserInputError
        A text is no name and number, or the number is outside its range; one line.
    """
    numbers: dict[str, float] = {}
    for text in texts:
        name, equals, written = (part.strip() for part in text.partition("="))
        if name not in _RANGES:
            raise UserInputError(
                f"ride: --if: there is no number {shown(name)} to change; the nearest is"
                f" {nearest(name, _RANGES)!r}. Write it like {_SPEED}=30"
            )
        if not equals:
            raise UserInputError(
                f"ride: --if: {name} has no number; write it like {name}={_RANGES[name][0]:g}"
            )
        low, high = _RANGES[name]
        value = _number_in(written)
        if not (math.isfinite(value) and low <= value <= high):
            raise UserInputError(
                f"ride: --if: {name} must be from {low:g} to {high:g}, got {shown(written)}"
            )
        if name in numbers:
            raise UserInputError(f"ride: --if: {name} is given twice; give it once")
        numbers[name] = value
    return numbers


def _number_in(text: str) -> float:
    """Return the number that a text holds, NaN if it holds none."""
    try:
        return float(text)
    except ValueError:
        return math.nan


def what_if_study(
    study: Study, numbers: Mapping[str, float], courses: Path | None
) -> tuple[Study, list[str]]:
    """Return a study with nothing but the rides asked for, and a line for each change.

    Parameters
    ----------
    study : Study
    numbers : mapping of name to float
        From `numbers_asked`. A speed asks for a plain road in place of the study's rides. A Kv
        rewinds the motor: what follows from it follows, unless it is given.
    courses : Path or None
        File of courses that are ridden in place of the study's.

    Raises
    ------
    UserInputError
        Numbers contradict each other, or the file of courses can not be used; one line.
    """
    if _GRADE in numbers and _SPEED not in numbers:
        raise UserInputError(f"ride: --if: {_GRADE} needs a speed; give {_SPEED} too")
    if _SPEED in numbers and courses is not None:
        raise UserInputError(
            f"ride: {_SPEED} asks for a plain road, --courses for those of a file; give one of the"
            " two"
        )
    rides, lines = _rides_asked(study, numbers, courses)
    changed = tuple(_changed(ride, numbers) for ride in rides)
    lines += _changes(rides, changed)
    return dataclasses.replace(study, rides=changed, handling=(), hard=None), lines


def rides_of_profile(study: Study, profile: Floats, *, n_jobs: int) -> pd.DataFrame:
    """Return what a profile, (parameter,), does on every ride of such a study; see `rides_table`.

    Parameters
    ----------
    study : Study
        From `what_if_study`.
    profile : (parameter,) float64
    n_jobs : int
        Threads; the outcome does not depend on it.
    """
    ridden = simulate(profile[None], study.rides, n_jobs=n_jobs, device=study.device)
    return rides_table(study, ride_columns(ridden, study.rides)[0])


def _rides_asked(
    study: Study, numbers: Mapping[str, float], courses: Path | None
) -> tuple[tuple[Ride, ...], list[str]]:
    """Return the rides before numbers are changed, and what stands in place of the study's."""
    if courses is not None:
        rides = _rides_of_file(study, courses)
        return rides, [f"In place of the study's rides: those of {courses}."]
    if _SPEED not in numbers:
        return tuple(ride_on_fresh_noise(study, ride) for ride in study.rides), []
    course = _plain_course(study, numbers[_SPEED], numbers.get(_GRADE, 0.0))
    own = (
        seeded_ride(course, name, rider, board=study.board, seed=study.seed)
        for name, rider in study.riders.items()
    )
    rides = tuple(ride_on_fresh_noise(study, ride) for ride in own)
    return rides, [f"In place of the study's rides: {course.title}."]


def _plain_course(study: Study, speed_kmh: float, grade_percent: float) -> Course:
    speed_mps = speed_kmh / _KMH_PER_MPS
    from_m = _LEVEL_S * speed_mps
    way = "down" if grade_percent < 0.0 else "up"
    grade = f"{abs(grade_percent):g} % {way} from {from_m:.1f} m on" if grade_percent else "level"
    counted = ((_LEVEL_S, _LASTS_S),)
    return Course(
        name="what_if",
        title=f"{_LASTS_S:g} s on asphalt at {speed_kmh:g} km/h, {grade}",
        road=Road(
            patches=(Patch(from_m=0.0, surface=catalogue_surface(ASPHALT)),),
            grade_percent=((0.0, 0.0), (from_m, grade_percent)),
            grade_blend_m=_BLEND_M,
        ),
        manoeuvre=Manoeuvre(
            duration_s=_LASTS_S, speed_mps=((0.0, speed_mps),), hold_s=counted, count_s=counted
        ),
        road_seed=spawned(study.seed, "road", "what_if"),
    )


def _rides_of_file(study: Study, path: Path) -> tuple[Ride, ...]:
    """Return the rides over the courses of a file, which stand in it as in a study file."""
    written = read_toml(path)
    if set(written) != {"courses"}:
        raise UserInputError(
            f"{path}: must hold courses and nothing else, as tables [courses.NAME] of a study file;"
            f" got the keys {', '.join(written) or 'none'}"
        )
    resolved = resolved_group(written["courses"], COURSE, path=path, key="courses")
    tables = {
        name: checked(CourseTable, table, path=path, key=f"courses.{name}")
        for name, table in resolved.items()
    }
    rides = course_rides(
        tables,
        study.riders,
        variants=study.balance_variants,
        board=study.board,
        seed=study.seed,
        path=path,
    )
    return tuple(
        ride
        if tables[ride.course.name].noise_seed is not None
        else ride_on_fresh_noise(study, ride)
        for ride in rides
    )


def _changed(ride: Ride, numbers: Mapping[str, float]) -> Ride:
    manoeuvre = ride.course.manoeuvre
    manoeuvre = dataclasses.replace(
        manoeuvre,
        charge_ratio=numbers.get(_CHARGE, manoeuvre.charge_ratio),
        mosfet_c=numbers.get(_MOSFET, manoeuvre.mosfet_c),
    )
    own = _with_rewound(ride.board, {k: v for k, v in numbers.items() if k in KNOWN})
    try:
        board, rider = with_numbers(ride.board, own), with_numbers(ride.rider, own)
    except ValueError as error:
        raise UserInputError(f"ride: --if: {error}; change one of them") from None
    course = dataclasses.replace(ride.course, manoeuvre=manoeuvre)
    return dataclasses.replace(ride, course=course, board=board, rider=rider)


def _with_rewound(board: Board, numbers: Mapping[str, float]) -> Mapping[str, float]:
    """Return numbers with those that follow from another Kv and are not given."""
    if _KV not in numbers:
        return numbers
    follows = rewound(dataclasses.asdict(board.motor), numbers[_KV])
    for name, value in follows.items():
        low, high = _RANGES[name]
        if name not in numbers and not low <= value <= high:
            raise UserInputError(
                f"ride: --if: {_KV}={numbers[_KV]:g} rewinds the motor to a {name} of {value:g},"
                f" which must be from {low:g} to {high:g}; ask for a Kv nearer to"
                f" {board.motor.kv_rpm_per_v:g}, or give {name} too"
            )
    return {**follows, **numbers}


def _changes(before: Sequence[Ride], after: Sequence[Ride]) -> list[str]:
    """Return what differs between rides, a line each: from what to what."""
    lines = []
    for name in (_MOSFET, *KNOWN):
        pairs = [(_number(a, name), _number(b, name)) for a, b in zip(before, after, strict=True)]
        if any(a != b for a, b in pairs):
            values, others = zip(*pairs, strict=True)
            lines.append(f"Changed: {name} from {_listed(values)} to {_listed(others)}.")
    return lines


def _number(ride: Ride, name: str) -> float:
    """Return a number of a ride as it starts."""
    manoeuvre = ride.course.manoeuvre
    if name == _MOSFET:
        return manoeuvre.first_mosfet_c
    if name == _CHARGE and manoeuvre.charge_ratio is not None:
        return manoeuvre.charge_ratio
    value = number_of(ride.board, name)
    return float(getattr(getattr(ride.rider, KNOWN[name][0]), name)) if value is None else value


def _listed(values: Iterable[float]) -> str:
    """Return different numbers, rising: all of them, or the range of many."""
    rising = sorted({f"{value:.4g}" for value in values}, key=float)
    if len(rising) > _MOST_LISTED:
        return f"{rising[0]} to {rising[-1]} ({len(rising)} values)"
    return " or ".join(rising)
