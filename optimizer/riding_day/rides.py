"""The rides of a mixed riding day: drawn roads, riders in turn, each board of its own draw."""

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from optimizer.riding_day.drawn_course import drawn_course
from optimizer.study.study import Study
from optimizer.study.tolerances import Shape, each_moved, moved_numbers
from plant.arrays import Floats
from plant.description.board import check_rising
from plant.description.quantity import numbers_of
from plant.description.rider import Rider
from plant.kernel.ride_columns import RideColumns
from plant.kernel.simulate import Ride

LANES_OF_A_COURSE = 16  # rides over one drawn road of the day: two blocks of the kernel


def day_columns(study: Study, numbers: NDArray[np.int64], *, seed: int) -> RideColumns:
    """Return the rides over drawn courses, course by course, as columns: see `day_rides`.

    Raises
    ------
    ValueError
        A board is drawn whose numbers contradict each other.
    """
    draws, seeds = _drawn(study, numbers, seed=seed)
    riders = [rider for _, rider in _riders(study)]
    turns = _rides_by(study, numbers).ravel()
    columns = _columns(numbers_of(study.board), len(draws))
    columns |= moved_numbers(study.board, study.tolerances, draws)
    check_rising(columns)
    for place, rider in enumerate(riders):
        own = turns == place
        of_rider = _columns(numbers_of(rider), int(own.sum()))
        of_rider |= moved_numbers(rider, study.tolerances, draws[own])
        for name, values in of_rider.items():
            columns.setdefault(name, np.empty(len(draws)))[own] = values
    return RideColumns(
        courses=tuple(
            drawn_course(study.riding_day, number=number, seed=seed) for number in numbers.tolist()
        ),
        course_of=np.repeat(np.arange(len(numbers)), LANES_OF_A_COURSE),
        chemistries=(study.board.battery.chemistry,) * len(draws),
        numbers=columns,
        noise_seeds=seeds,
    )


def _columns(numbers: dict[str, float], n_rides: int) -> dict[str, Floats]:
    return {name: np.full(n_rides, value) for name, value in numbers.items()}


def day_rides(study: Study, numbers: NDArray[np.int64], *, seed: int) -> Iterator[list[Ride]]:
    """Yield the rides over each drawn course: riders in turn, each on a board of its own draw.

    A rider's variants ride in turn too.

    Parameters
    ----------
    study : Study
    numbers : (course,) int64
        Which of the day's courses.
    seed : int
        Of the day; another seed is another day of the same kind.
    """
    lanes = np.arange(LANES_OF_A_COURSE)
    return (_rides(study, number, lanes, seed=seed) for number in numbers.tolist())


def rides_of_day(study: Study, places: Iterable[tuple[int, int]], *, seed: int) -> list[Ride]:
    """Return the rides of `day_rides` at some places, each a course and a lane, in their order."""
    asked = list(places)
    lanes_of: dict[int, set[int]] = {}
    for course, lane in asked:
        lanes_of.setdefault(course, set()).add(lane)
    found = {}
    for course, own in lanes_of.items():
        lanes = sorted(own)
        rides = _rides(study, course, np.array(lanes), seed=seed)
        found.update({(course, lane): ride for lane, ride in zip(lanes, rides, strict=True)})
    return [found[place] for place in asked]


def _rides(study: Study, number: int, lanes: NDArray[np.intp], *, seed: int) -> list[Ride]:
    """Return the rides of some lanes over a drawn course."""
    course = drawn_course(study.riding_day, number=number, seed=seed)
    draws, seeds = _drawn(study, np.array([number]), seed=seed)
    riders, [turns] = _riders(study), _rides_by(study, np.array([number])).tolist()
    rides = []
    for lane, board in zip(
        lanes.tolist(), each_moved(study.board, study.tolerances, draws[lanes]), strict=True
    ):
        name, rider = riders[turns[lane]]
        [own] = each_moved(rider, study.tolerances, draws[lane : lane + 1])
        rides.append(
            Ride(
                course=course,
                rider_name=name,
                rider=own,
                board=board,
                noise_seed=int(seeds[lane]),
            )
        )
    return rides


def _drawn(
    study: Study, numbers: NDArray[np.int64], *, seed: int
) -> tuple[Floats, NDArray[np.uint64]]:
    """Return independent draws of all lanes over some courses, and the seeds of their noise.

    (lane, tolerance) and (lane,).
    """
    normal, uniform, seeds = [], [], []
    shape = (LANES_OF_A_COURSE, len(study.tolerances))
    for number in numbers.tolist():
        random = np.random.default_rng([seed, number, 1])
        normal.append(random.standard_normal(shape))
        uniform.append(random.uniform(-1.0, 1.0, shape))
        seeds.append(random.integers(2**64, size=LANES_OF_A_COURSE, dtype=np.uint64))
    is_normal = np.array([each.shape is Shape.NORMAL for each in study.tolerances], dtype=np.bool_)
    cut_off = np.clip(np.concatenate(normal), -3.0, 3.0) / 2.0
    return np.where(is_normal, cut_off, np.concatenate(uniform)), np.concatenate(seeds)


def _riders(study: Study) -> list[tuple[str, Rider]]:
    """Return all riders, each in all variants, with their names."""
    return [(name, rider) for name, each in study.riders_in_variants.items() for rider in each]


def _rides_by(study: Study, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return which of `_riders` rides each lane of each drawn course, (course, lane)."""
    n_riders = len(study.riders)
    n_ways = len(next(iter(study.riders_in_variants.values())))
    # A rider's lanes of a course are so many apart, and each is by the next variant.
    ways = (numbers[:, None] + np.arange(LANES_OF_A_COURSE) // n_riders) % n_ways
    return rider_turns(study, numbers) * n_ways + ways


def rider_turns(study: Study, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return which of the study's riders rides each lane of each drawn course, (course, lane)."""
    turns: NDArray[np.int64] = (numbers[:, None] + np.arange(LANES_OF_A_COURSE)) % len(study.riders)
    return turns
