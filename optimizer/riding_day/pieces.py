"""Pieces of the drawn rides of a riding day, short enough that the hardest are ridden often."""

import dataclasses
from collections.abc import Iterator, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives.asked_way import asked_way_m
from optimizer.base.hashing import spawned
from optimizer.riding_day.drawn_course import drawn_road
from optimizer.riding_day.hard_ground import Ground, ground_of, may_hold
from optimizer.riding_day.rides import day_rides
from optimizer.study.study import Study
from plant.description.course import Course, Part
from plant.kernel.road import straight_lines
from plant.kernel.simulate import Ride

Place: TypeAlias = tuple[int, int, int]
"""Course, piece and lane."""

PIECE_S = 15.0
LEAD_IN_S = 3.0  # of the ride before a piece, for board and rider to settle
# How far a board is beyond its wanted way, on the mean and at most: `optimizer.riding_day.speeds`.
_AHEAD_RATIO = 0.045
_FURTHEST_RATIO, _FURTHEST_M = 0.08, 5.0


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Which piece of which drawn ride, and how near profiles came to a nose-down in it.

    Of the time that it is ridden, `own_s` are not the lead-in.
    """

    course: int
    piece: int
    lane: int
    rider_name: str
    ground: Ground
    ridden_s: float
    own_s: float
    hardness: float = 0.0

    @property
    def place(self) -> Place:
        """Where it lies in the day."""
        return self.course, self.piece, self.lane


def n_pieces(duration_s: float) -> int:
    """Return into how many pieces a ride is cut."""
    return max(round(duration_s / PIECE_S), 1)


def piece_s(duration_s: float) -> float:
    """Return how long each piece is, less its lead-in."""
    return duration_s / n_pieces(duration_s)


def piece_of(ride: Ride, number: int, *, name: str) -> Ride:
    """Return a piece of a ride as a ride of its own, on the same road.

    Parameters
    ----------
    ride : Ride
    number : int
        From 0, below `n_pieces`.
    name : str
        Of its course.
    """
    part = _part(ride.course, number)
    return _over(dataclasses.replace(ride.course, name=name, part=part), ride, number)


def _over(piece: Course, ride: Ride, number: int) -> Ride:
    """Return a ride over a piece of its course, with noise of that piece's own."""
    return dataclasses.replace(ride, course=piece, noise_seed=ride.noise_seed ^ number)


def _part(course: Course, number: int) -> Part:
    manoeuvre = course.manoeuvre
    each_s = piece_s(manoeuvre.duration_s)
    from_s = round(max(number * each_s - LEAD_IN_S, 0.0), 2)
    return Part(
        from_s=from_s,
        to_s=min(round((number + 1) * each_s, 2), manoeuvre.duration_s),
        from_m=(1.0 + _AHEAD_RATIO) * asked_way_m(manoeuvre, until_s=from_s),
        speed_mps=float(straight_lines(manoeuvre.speed_mps, np.array([from_s]))[0]),
    )


def rides_at(study: Study, places: Sequence[Place]) -> tuple[Ride, ...]:
    """Return the pieces at some places of the day, each as a ride with a name of its own."""
    numbers = np.unique([course for course, _, _ in places]).astype(np.int64)
    drawn = dict(zip(numbers.tolist(), _drawn(study, numbers), strict=True))
    return tuple(
        piece_of(drawn[course][lane], piece, name=f"day_{course}_{piece}_{lane}")
        for course, piece, lane in places
    )


def rides_together(study: Study, places: Sequence[Place]) -> list[Ride]:
    """Return the same as `rides_at`, but named by course and piece alone.

    Rides over the same piece share its course, and so the blocks of the kernel: they are simulated
    in less time, to the same results.
    """
    by_course: dict[str, Course] = {}
    rides = []
    for ride in rides_at(study, places):
        name, _ = ride.course.name.rsplit("_", maxsplit=1)
        course = by_course.setdefault(name, dataclasses.replace(ride.course, name=name))
        rides.append(dataclasses.replace(ride, course=course))
    return rides


def pieces_of_day(
    study: Study, grounds: frozenset[Ground] | None, numbers: NDArray[np.int64]
) -> tuple[list[Ride], list[Piece]]:
    """Return the pieces of drawn courses as rides, and which they are.

    Parameters
    ----------
    study : Study
    grounds : frozenset of Ground or None
        Only pieces on these; all where it is None.
    numbers : (course,) int64
        If none of their pieces is on these grounds, all of the first course are returned: there
        must be something to ride.
    """
    rides: list[Ride] = []
    pieces: list[Piece] = []
    for number, lanes in zip(numbers.tolist(), _drawn(study, numbers), strict=True):
        course = lanes[0].course
        for piece in range(n_pieces(course.duration_s)):
            # All lanes of a piece share its course, and so its road.
            part = _part(course, piece)
            ground = _ground(course, part, flush_m=study.riding_day.flush_m)
            if grounds is not None and ground not in grounds:
                continue
            cut = dataclasses.replace(course, name=f"day_{number}_{piece}", part=part)
            rides += [_over(cut, ride, piece) for ride in lanes]
            pieces += [
                Piece(
                    course=number,
                    piece=piece,
                    lane=lane,
                    rider_name=ride.rider_name,
                    ground=ground,
                    ridden_s=cut.duration_s,
                    own_s=piece_s(course.duration_s),
                )
                for lane, ride in enumerate(lanes)
            ]
    return (rides, pieces) if rides else pieces_of_day(study, None, numbers[:1])


def courses_with(study: Study, grounds: frozenset[Ground], numbers: range) -> NDArray[np.int64]:
    """Return those of the day's courses in which a piece may lie on some grounds, (course,)."""
    day, seed = study.riding_day, _seed(study)
    return np.array(
        [
            number
            for number in numbers
            if may_hold(drawn_road(day, number=number, seed=seed), grounds, flush_m=day.flush_m)
        ],
        dtype=np.int64,
    )


def _ground(course: Course, part: Part, *, flush_m: float) -> Ground:
    """Return the ground of a part, as far as a board may run ahead of its wanted way."""
    asked_m = asked_way_m(course.manoeuvre, until_s=part.to_s)
    to_m = (1.0 + _FURTHEST_RATIO) * asked_m + _FURTHEST_M
    return ground_of(course.road, part.from_m, to_m, flush_m=flush_m)


def _drawn(study: Study, numbers: NDArray[np.int64]) -> Iterator[list[Ride]]:
    return day_rides(study, numbers, seed=_seed(study))


def _seed(study: Study) -> int:
    return spawned(study.seed, "hard rides", "day")
