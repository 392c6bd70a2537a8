"""The defined rides in which handling is measured, from the catalogue."""

from collections.abc import Mapping
from pathlib import Path

from objectives.handling import HANDLING_PREFIX, HANDLING_TESTS, RIDDEN_BY_ALL
from optimizer.base.hashing import spawned
from optimizer.study.catalogue import COURSE, resolved, shelves
from optimizer.study.course import course_of
from optimizer.study.course_schema import CourseTable
from optimizer.study.schema_errors import checked
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.simulate import Ride, ride_name


def handling_rides(
    riders: Mapping[str, Rider], *, board: Board, seed: int, path: Path
) -> tuple[Ride, ...]:
    """Return the rides of the lightest and of the heaviest rider over every handling course.

    Those of `objectives.handling.RIDDEN_BY_ALL` are ridden by all riders.

    Parameters
    ----------
    riders : mapping of name to Rider
    board : Board
    seed : int
        The study's.
    path : Path
        The study file, for messages.
    """
    by_mass = sorted(riders, key=lambda name: riders[name].body.mass_kg)
    ends = dict.fromkeys((by_mass[0], by_mass[-1]))
    rides = []
    for test in HANDLING_TESTS:
        key = f"handling.{test}"
        table = resolved(shelves()["handling"][test], COURSE, path=path, key=key)
        course = course_of(
            checked(CourseTable, table, path=path, key=key),
            name=HANDLING_PREFIX + test,
            road_seed=spawned(seed, "handling", "road", test),
            folder=path.parent,
            where=f"{path}: {key}",
        )
        rides += [
            Ride(
                course=course,
                rider_name=name,
                rider=riders[name],
                board=board,
                noise_seed=spawned(seed, "noise", ride_name(course, name)),
            )
            for name in (riders if test in RIDDEN_BY_ALL else ends)
        ]
    return tuple(rides)
