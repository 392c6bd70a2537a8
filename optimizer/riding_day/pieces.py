"""Pieces of the drawn rides of a riding day, short enough that the hardest are ridden often."""

import dataclasses
from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives.asked_way import asked_way_m
from optimizer.base.hashing import spawned
from optimizer.riding_day.drawn_course import drawn_road
from optimizer.riding_day.hard_ground import Ground, ground_of, may_hold
from optimizer.riding_day.rides import (
    LANES_OF_A_COURSE,
    day_columns,
    rider_turns,
    rides_of_day,
)
from optimizer.study.study import Study
from plant.description.course import Course, Part
from plant.kernel.ride_columns import RideColumns
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

    Of the time that it is ridden, `own_s` are not the lead-in. See
    `optimizer.riding_day.weak_profiles.Harder`.
    """

    course: int
    piece: int
    lane: int
    rider_name: str
    ground: Ground
    ridden_s: float
    own_s: float
    hardness: float = 0.0
    margin: float = 0.0
    baseline_nearness: float = 0.0

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
    cut = dataclasses.replace(ride.course, name=name, part=_part(ride.course, number))
    return dataclasses.replace(ride, course=cut, noise_seed=ride.noise_seed ^ number)


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
    wholes = rides_of_day(study, [(course, lane) for course, _, lane in places], seed=_seed(study))
    return tuple(
        piece_of(whole, piece, name=f"day_{course}_{piece}_{lane}")
        for whole, (course, piece, lane) in zip(wholes, places, strict=True)
    )


def rider_names_at(study: Study, places: Sequence[Place]) -> tuple[str, ...]:
    """Return the names of riders at some places of the day, without drawing their roads."""
    names = list(study.riders)
    turns = rider_turns(study, np.array([course for course, _, _ in places], dtype=np.int64))
    return tuple(names[turn[lane]] for turn, (_, _, lane) in zip(turns, places, strict=True))


def pieces_of_day(
    study: Study, grounds: frozenset[Ground] | None, numbers: NDArray[np.int64]
) -> tuple[RideColumns, list[Piece]]:
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
    drawn = day_columns(study, numbers, seed=_seed(study))
    names = list(study.riders)
    riders = [names[turn] for turn in rider_turns(study, numbers).ravel().tolist()]
    cuts: list[Course] = []
    wholes: list[tuple[int, int]] = []  # the place among the courses, and which piece of it
    pieces: list[Piece] = []
    for place, (number, course) in enumerate(zip(numbers.tolist(), drawn.courses, strict=True)):
        for piece in range(n_pieces(course.duration_s)):
            part = _part(course, piece)
            ground = _ground(course, part, flush_m=study.riding_day.flush_m)
            if grounds is not None and ground not in grounds:
                continue
            cut = dataclasses.replace(course, name=f"day_{number}_{piece}", part=part)
            cuts.append(cut)
            wholes.append((place, piece))
            first = place * LANES_OF_A_COURSE
            pieces += [
                Piece(
                    course=number,
                    piece=piece,
                    lane=lane,
                    rider_name=rider_name,
                    ground=ground,
                    ridden_s=cut.duration_s,
                    own_s=piece_s(course.duration_s),
                )
                for lane, rider_name in enumerate(riders[first : first + LANES_OF_A_COURSE])
            ]
    if not cuts:
        return pieces_of_day(study, None, numbers[:1])
    return _cut(drawn, cuts, np.array(wholes)), pieces


def _cut(drawn: RideColumns, cuts: Sequence[Course], wholes: NDArray[np.int64]) -> RideColumns:
    """Return the rides over pieces of courses, with noise of each piece's own.

    All lanes of a piece share its course, and so its road. `wholes` are the place of each piece's
    course and its number there, (piece, 2).
    """
    place, piece = np.repeat(wholes, LANES_OF_A_COURSE, axis=0).T
    lanes = place * LANES_OF_A_COURSE + np.tile(np.arange(LANES_OF_A_COURSE), len(cuts))
    return RideColumns(
        courses=tuple(cuts),
        course_of=np.repeat(np.arange(len(cuts)), LANES_OF_A_COURSE),
        chemistries=tuple(drawn.chemistries[lane] for lane in lanes.tolist()),
        numbers={name: values[lanes] for name, values in drawn.numbers.items()},
        noise_seeds=drawn.noise_seeds[lanes] ^ piece.astype(np.uint64),
    )


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


def _seed(study: Study) -> int:
    return spawned(study.seed, "hard rides", "day")
