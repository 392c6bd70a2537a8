"""The defined rides in which handling is measured, from the catalogue.

They are quiet: the gyro has no noise and the rider does not sway, so a number is the profile's own
and no draw of noise moves it. Over 12 draws the largest dip of a heavy rider scatters by 0.1 to
0.6 deg; the quiet ride has the mean of the draws within 0.1 deg.
"""

import dataclasses
from collections.abc import Mapping, Sequence
from pathlib import Path

from objectives.handling import (
    HANDLING_PREFIX,
    HANDLING_TESTS,
    RIDDEN_BY_ALL,
    lightest_and_heaviest,
)
from optimizer.base.hashing import spawned
from optimizer.study.catalogue import COURSE, resolved, shelves
from optimizer.study.course import course_of
from optimizer.study.course_schema import CourseTable
from optimizer.study.schema_errors import checked
from optimizer.study.seeded_ride import seeded_ride
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.simulate import Ride


def handling_rides(
    own: Sequence[Ride], riders: Mapping[str, Rider], *, board: Board, seed: int, path: Path
) -> tuple[Ride, ...]:
    """Return the rides of the lightest and of the heaviest rider over every handling course.

    Those of `objectives.handling.RIDDEN_BY_ALL` are ridden by all riders. All are `quiet`.

    Parameters
    ----------
    own : sequence of Ride
        The study's own rides, of whose riders the lightest and the heaviest are taken.
    riders : mapping of name to Rider
        All of the study's.
    board : Board
    seed : int
        The study's.
    path : Path
        The study file, for messages.
    """
    ends = dict.fromkeys(lightest_and_heaviest(own))
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
            quiet(seeded_ride(course, name, riders[name], board=board, seed=seed))
            for name in (riders if test in RIDDEN_BY_ALL else ends)
        ]
    return tuple(rides)


def quiet(ride: Ride) -> Ride:
    """Return a ride without noise of the gyro and without the rider's sway.

    The accelerometer still shakes with the wheel, by the ride's own seed.
    """
    sensors = dataclasses.replace(
        ride.board.sensors, gyro_noise_deg_per_s=0.0, gyro_noise_per_mps2=0.0
    )
    skill = dataclasses.replace(ride.rider.skill, sway_ratio=0.0)
    return dataclasses.replace(
        ride,
        board=dataclasses.replace(ride.board, sensors=sensors),
        rider=dataclasses.replace(ride.rider, skill=skill),
    )
