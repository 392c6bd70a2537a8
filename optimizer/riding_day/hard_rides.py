"""The hard rides of a riding day: parts of drawn rides in which weak profiles nearly fall.

Each drawn ride is cut into pieces. A weakened baseline rides them all, and another the harder of
them. Where they come nearest to a nose-down, other profiles do too: of the nose-downs that 41
profiles had in 300 h, the hardest 75 of 74,000 pieces held 86 %.
"""

import dataclasses
import functools
import json
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from objectives.asked_way import asked_way_m
from optimizer.base.hashing import spawned
from optimizer.base.progress import UNWATCHED
from optimizer.riding_day.laid_ahead import laid_ahead
from optimizer.riding_day.rides import LANES_OF_A_COURSE, day_rides
from optimizer.riding_day.weak_profiles import harder_rides, weakened
from optimizer.study.study import HardRides, Study
from plant.description.course import Course, Part
from plant.description.profile_array import profile_to_array
from plant.device import batches_at_once
from plant.kernel.road import straight_lines
from plant.kernel.simulate import Ride, Rides

PIECE_S = 15.0
LEAD_IN_S = 3.0  # of the ride before a piece, for board and rider to settle
_COURSES_AT_ONCE = 8
_AHEAD_RATIO = 0.045  # how far beyond its wanted way a board is; see `optimizer.riding_day.speeds`


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """Which piece of which drawn ride, and how near the weak profiles came to a nose-down.

    Of the time that it is ridden, `own_s` are not the lead-in.
    """

    course: int
    piece: int
    lane: int
    rider_name: str
    ridden_s: float
    own_s: float
    hardness: float = 0.0


def find_hard_rides(
    study: Study,
    *,
    n_jobs: int = 1,
    advance: Callable[[float], None] = UNWATCHED.advance,
) -> HardRides:
    """Return the hardest rides of a drawn day.

    They depend on the study's board, riders, baseline, riding day, tolerances and seed alone.

    Parameters
    ----------
    study : Study
        Says how many hours are drawn at least, and how many rides are kept.
    n_jobs : int
        Threads; the rides found do not depend on it.
    advance : callable
        Receives the hours of the day ridden since it was last called.
    """
    profiles = weakened(profile_to_array(study.baseline))
    found: list[_Piece] = []
    kilometres = dict.fromkeys(study.riders, 0.0)
    n_rides = _COURSES_AT_ONCE * LANES_OF_A_COURSE * n_pieces(study.riding_day.ride_s)
    new_h = n_rides * _piece_s(study.riding_day.ride_s) / 3600.0
    batches = _batches(study, n_rides, new_h)
    for together in laid_ahead(
        functools.partial(_all_pieces, study),
        batches,
        n_courses=len(batches) * _COURSES_AT_ONCE,
        n_together=batches_at_once(study.device, n_rides),
        n_jobs=n_jobs,
    ):
        ridden = harder_rides(
            profiles,
            [laid for _, laid in together],
            n_least=study.n_hard_rides - len(found),
            n_jobs=n_jobs,
            device=study.device,
        )
        for (pieces, _), (results, harder, hardness) in zip(together, ridden, strict=True):
            _add_kilometres(kilometres, pieces, results)
            for place, hard in zip(harder.tolist(), hardness.tolist(), strict=True):
                found.append(dataclasses.replace(pieces[place], hardness=hard))
            found = _hardest(found, study.n_hard_rides)
            advance(new_h)
    facts = {
        "rides": [[piece.course, piece.piece, piece.lane] for piece in found],
        "kilometres": kilometres,
    }
    return stored_hard_rides(study, json.dumps(facts))


def _batches(study: Study, n_rides: int, hours: float) -> list[NDArray[np.int64]]:
    """Return the courses of the day, some at a time, until enough are drawn.

    Parameters
    ----------
    study : Study
    n_rides : int
        Of each batch.
    hours : float
        Of the day in each batch.
    """
    batches: list[NDArray[np.int64]] = []
    drawn_h = 0.0
    while drawn_h < study.hard_rides_h or len(batches) * n_rides < study.n_hard_rides:
        first = len(batches) * _COURSES_AT_ONCE
        batches.append(first + np.arange(_COURSES_AT_ONCE, dtype=np.int64))
        drawn_h += hours
    return batches


def stored_hard_rides(study: Study, text: str) -> HardRides:
    """Return hard rides from the text in which they were kept.

    Parameters
    ----------
    study : Study
        For which they were found.
    text : str
        The `text` of `HardRides`.
    """
    facts: Any = json.loads(text)
    numbers = np.unique([course for course, _, _ in facts["rides"]]).astype(np.int64)
    drawn = dict(zip(numbers.tolist(), _drawn(study, numbers), strict=True))
    rides = tuple(
        piece_of(drawn[course][lane], piece, name=f"day_{course}_{piece}_{lane}")
        for course, piece, lane in facts["rides"]
    )
    return HardRides(
        rides=rides,
        roads=np.array([course for course, _, _ in facts["rides"]], dtype=np.int64),
        kilometres=facts["kilometres"],
        text=text,
    )


def n_pieces(duration_s: float) -> int:
    """Return into how many pieces a ride is cut."""
    return max(round(duration_s / PIECE_S), 1)


def _piece_s(duration_s: float) -> float:
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
    return _over(_cut(ride.course, number, name=name), ride, number)


def _over(piece: Course, ride: Ride, number: int) -> Ride:
    """Return a ride over a piece of its course, with noise of that piece's own."""
    return dataclasses.replace(ride, course=piece, noise_seed=ride.noise_seed ^ number)


def _cut(course: Course, number: int, *, name: str) -> Course:
    manoeuvre = course.manoeuvre
    each_s = _piece_s(manoeuvre.duration_s)
    from_s = round(max(number * each_s - LEAD_IN_S, 0.0), 2)
    part = Part(
        from_s=from_s,
        to_s=min(round((number + 1) * each_s, 2), manoeuvre.duration_s),
        from_m=(1.0 + _AHEAD_RATIO) * asked_way_m(manoeuvre, until_s=from_s),
        speed_mps=float(straight_lines(manoeuvre.speed_mps, np.array([from_s]))[0]),
    )
    return dataclasses.replace(course, name=name, part=part)


def _drawn(study: Study, numbers: NDArray[np.int64]) -> Iterator[list[Ride]]:
    return day_rides(study, numbers, seed=spawned(study.seed, "hard rides", "day"))


def _all_pieces(study: Study, numbers: NDArray[np.int64]) -> tuple[list[Ride], list[_Piece]]:
    """Return all pieces of drawn courses as rides, and which they are."""
    rides: list[Ride] = []
    pieces: list[_Piece] = []
    for number, drawn in zip(numbers.tolist(), _drawn(study, numbers), strict=True):
        course = drawn[0].course
        for piece in range(n_pieces(course.duration_s)):
            # All lanes of a piece share its course, and so its road.
            cut = _cut(course, piece, name=f"day_{number}_{piece}")
            rides += [_over(cut, ride, piece) for ride in drawn]
            pieces += [
                _Piece(
                    course=number,
                    piece=piece,
                    lane=lane,
                    rider_name=ride.rider_name,
                    ridden_s=cut.duration_s,
                    own_s=_piece_s(course.duration_s),
                )
                for lane, ride in enumerate(drawn)
            ]
    return rides, pieces


def _add_kilometres(kilometres: dict[str, float], pieces: Sequence[_Piece], results: Rides) -> None:
    """Add what each rider rode, less the way before each piece, in place.

    A piece that ends early is cut short: one in a thousand. A board runs ahead at its start, so
    that the way of all pieces is 5 % longer than that of the whole rides.
    """
    way_km = np.abs(results.column("distance_m")[0]) / 1000.0
    for piece, ridden_km in zip(pieces, way_km.tolist(), strict=True):
        kilometres[piece.rider_name] += ridden_km * piece.own_s / piece.ridden_s


def _hardest(pieces: list[_Piece], n_kept: int) -> list[_Piece]:
    """Return the hardest pieces, the hardest first; ties in the order in which they were drawn."""
    return sorted(
        pieces, key=lambda piece: (-piece.hardness, piece.course, piece.piece, piece.lane)
    )[:n_kept]
