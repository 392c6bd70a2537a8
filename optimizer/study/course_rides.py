"""From checked tables of courses to the rides of a study's riders over them."""

import dataclasses
from collections.abc import Mapping
from pathlib import Path

from optimizer.base.errors import UserInputError
from optimizer.base.hashing import spawned
from optimizer.base.messages import nearest
from optimizer.study.balance_variants import Variants, in_variants, variant_on
from optimizer.study.course import course_of
from optimizer.study.course_schema import CourseTable
from optimizer.study.seeded_ride import seeded_ride
from optimizer.study.tolerances import with_numbers
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.simulate import Ride


def course_rides(
    tables: Mapping[str, CourseTable],
    riders: Mapping[str, Rider],
    *,
    variants: Variants,
    board: Board,
    seed: int,
    path: Path,
) -> tuple[Ride, ...]:
    """Return the rides over courses of a file, course by course, each by its riders.

    Parameters
    ----------
    tables : mapping of name to CourseTable
    riders : mapping of name to Rider
        Of the study; all of them ride a course that names none.
    variants : mapping of name to ratios
        Of the study; one of each rider rides a course. Where a course gives its noise, or
        numbers of board or rider, the riders are as described.
    board : Board
    seed : int
        Of the study; roads and noise follow from it where a course does not name its own.
    path : Path
        The file, for messages; files of routes lie beside it.

    Raises
    ------
    UserInputError
        A course can not be ridden, or names a rider that is missing.
    """
    courses = {
        name: course_of(
            table,
            name=name,
            road_seed=spawned(seed, "road", name) if table.road_seed is None else table.road_seed,
            folder=path.parent,
            where=f"{path}: courses.{name}",
        )
        for name, table in tables.items()
    }
    in_ways = {name: in_variants(rider, variants) for name, rider in riders.items()}

    def rider_on(course: str, name: str) -> Rider:
        if tables[course].numbers or tables[course].noise_seed is not None:
            return riders[name]
        return variant_on(course, name, in_ways[name])

    return tuple(
        _as_written(
            seeded_ride(courses[course], name, rider_on(course, name), board=board, seed=seed),
            tables[course],
        )
        for course, name in _pairs(tables, riders, path=path)
    )


def _pairs(
    tables: Mapping[str, CourseTable], riders: Mapping[str, Rider], *, path: Path
) -> list[tuple[str, str]]:
    """Return which rider rides which course, course by course."""
    pairs = []
    for course, table in tables.items():
        chosen = list(riders) if table.riders is None else table.riders
        for rider in chosen:
            if rider not in riders:
                raise UserInputError(
                    f"{path}: courses.{course}.riders: the study has no rider {rider!r};"
                    f" the nearest is {nearest(rider, riders)!r}"
                )
            pairs.append((course, rider))
    return pairs


def _as_written(ride: Ride, table: CourseTable) -> Ride:
    """Return a ride with the noise, and the numbers of board and rider, that its course names."""
    if table.noise_seed is not None:
        ride = dataclasses.replace(ride, noise_seed=table.noise_seed)
    if not table.numbers:
        return ride
    return dataclasses.replace(
        ride,
        board=with_numbers(ride.board, table.numbers),
        rider=with_numbers(ride.rider, table.numbers),
    )
