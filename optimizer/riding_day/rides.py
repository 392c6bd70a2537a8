"""The rides of a mixed riding day: drawn roads, riders in turn, each board of its own draw."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from optimizer.riding_day.drawn_course import drawn_course
from optimizer.study.study import Study
from optimizer.study.tolerances import Shape, Tolerance, mover
from plant.kernel.simulate import Ride

LANES_OF_A_COURSE = 16  # rides over one drawn road of the day: two blocks of the kernel


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
    riders = [
        (name, [mover(rider, study.tolerances) for rider in each])
        for name, each in study.riders_in_variants.items()
    ]
    board_of = mover(study.board, study.tolerances)
    for number in numbers.tolist():
        course = drawn_course(study.riding_day, number=number, seed=seed)
        random = np.random.default_rng([seed, number, 1])
        table = _independent(study.tolerances, random)
        rides = []
        turns = rider_turns(study, np.array([number]))[0].tolist()
        for lane, (turn, draw) in enumerate(zip(turns, table, strict=True)):
            name, ways = riders[turn]
            # A rider's lanes of a course are so many apart, and each is by the next variant.
            rider_of = ways[(number + lane // len(riders)) % len(ways)]
            rides.append(
                Ride(
                    course=course,
                    rider_name=name,
                    rider=rider_of(draw),
                    board=board_of(draw),
                    noise_seed=int(random.integers(2**64, dtype=np.uint64)),
                )
            )
        yield rides


def rider_turns(study: Study, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return which of the study's riders rides each lane of each drawn course, (course, lane)."""
    turns: NDArray[np.int64] = (numbers[:, None] + np.arange(LANES_OF_A_COURSE)) % len(study.riders)
    return turns


def _independent(
    tolerances: Sequence[Tolerance], random: np.random.Generator
) -> NDArray[np.float64]:
    """Return independent draws for the lanes of a course, (lane, tolerance)."""
    shape = (LANES_OF_A_COURSE, len(tolerances))
    normal = np.clip(random.standard_normal(shape), -3.0, 3.0) / 2.0
    uniform = random.uniform(-1.0, 1.0, shape)
    is_normal = np.array(
        [tolerance.shape is Shape.NORMAL for tolerance in tolerances], dtype=np.bool_
    )
    return np.where(is_normal, normal, uniform)
