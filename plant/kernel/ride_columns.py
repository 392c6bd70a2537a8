"""Many rides number by number: what lanes are set up from."""

import dataclasses
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats, Indices
from plant.description.board import Board
from plant.description.course import Course
from plant.description.quantity import numbers_of
from plant.description.rider import Rider


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RideColumns:
    """Rides, each of which is one lane less its profile.

    A board and a rider as objects cost a ride more than all else that is set up for it.

    Attributes
    ----------
    courses : tuple of Course
        No two of them equal.
    course_of : (ride,) intp
        Which of them each ride takes.
    chemistries : tuple of str
        Each ride's: see `plant.description.cells`.
    numbers : mapping of str to (ride,) float64
        All numbers of board and rider, each inside its range.
    noise_seeds : (ride,) uint64
    """

    courses: tuple[Course, ...]
    course_of: Indices
    chemistries: tuple[str, ...]
    numbers: Mapping[str, Floats]
    noise_seeds: NDArray[np.uint64]

    def __len__(self) -> int:
        return len(self.course_of)


def columns_of(rides: Iterable[tuple[Course, Board, Rider, int]]) -> RideColumns:
    """Return rides, one or more, as columns: each one's course, board, rider and noise seed."""
    courses, boards, riders, seeds = zip(*rides, strict=True)
    distinct, course_of = _distinct(courses)
    rows = [
        [*numbers_of(board).values(), *numbers_of(rider).values()]
        for board, rider in zip(boards, riders, strict=True)
    ]
    names = (*numbers_of(boards[0]), *numbers_of(riders[0]))
    return RideColumns(
        courses=distinct,
        course_of=course_of,
        chemistries=tuple(board.battery.chemistry for board in boards),
        numbers=dict(zip(names, np.array(rows).T, strict=True)),
        noise_seeds=np.array(seeds, dtype=np.uint64),
    )


def _distinct(courses: Iterable[Course]) -> tuple[tuple[Course, ...], Indices]:
    """Return the courses that differ, and which of them each one is."""
    places: dict[Course, int] = {}
    by_identity: dict[int, int] = {}  # to compare long courses takes longer than all else here
    found = []
    for course in courses:
        place = by_identity.get(id(course))
        if place is None:
            place = places.setdefault(course, len(places))
            by_identity[id(course)] = place
        found.append(place)
    return tuple(places), np.array(found, dtype=np.intp)
