"""The hard rides of a riding day: parts of drawn rides in which weak profiles nearly fall.

Each drawn ride is cut into pieces. A weakened baseline rides them all, another and the baseline
itself the harder of them. Where they come nearest to a nose-down, other profiles do too: of the
nose-downs that 41 profiles had in 300 h, the hardest 75 of 74,000 pieces held 86 %.

Nearly all hard pieces lie on a small part of the ground, such as deep tracks and kerbs. Some
courses show which. Of many more only the pieces on such ground are ridden, so that an hour of the
day costs a tenth of its riding.

A search comes to solve the very rides that it sees. So it sees those of every second road, and its
front is re-evaluated on those of the others.
"""

import dataclasses
import functools
import json
import math
from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optimizer.base.progress import UNWATCHED
from optimizer.riding_day.hard_ground import Ground, hard_grounds
from optimizer.riding_day.laid_ahead import laid_ahead
from optimizer.riding_day.pieces import (
    Piece,
    Place,
    courses_with,
    n_pieces,
    pieces_of_day,
    rider_names_at,
    rides_at,
)
from optimizer.riding_day.rides import LANES_OF_A_COURSE
from optimizer.riding_day.weak_profiles import harder_rides, weakened
from optimizer.study.study import HardRides, Study
from plant.description.profile_array import profile_to_array
from plant.device import batches_at_once
from plant.kernel.simulate import Rides

_COURSES_AT_ONCE = 8
_PARTLY_AT_ONCE = 32  # of which few pieces are ridden
_FIRST_RATIO = 1.0 / 3.0  # of the hours are ridden over all ground, the others over hard ground
_MOST_TIMES = 32  # as many courses in all, at most, since drawing roads takes time too
N_PARTS = 2  # of the roads, in turn: those of the search, and those of the re-evaluation
_TRIED_FOR_EACH, _LEAST_TRIED = 16, 400  # hardest pieces, for each hard ride and at least
# Of the rides that are kept, so many are the hardest. Each other one stands for some of those next
# to them, in which the profiles of a front hardly ever fall, and others do.
_HARDEST_RATIO = 5.0 / 7.0
_STANDS_FOR = 8
_NEAR = 0.1  # nearness to a nose-down that counts, of a profile that is not weakened


@dataclasses.dataclass(slots=True, kw_only=True)
class _Found:
    """What some courses brought.

    Attributes
    ----------
    pieces : list of Piece
        The hardest of each part of the roads.
    kilometres : dict of str to float
        Of each rider.
    n_on : Counter of Ground
        All pieces, by their ground.
    """

    pieces: list[Piece]
    kilometres: dict[str, float]
    n_on: Counter[Ground]


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
        Says how many hours are ridden, and how many rides are kept.
    n_jobs : int
        Threads; the rides found do not depend on it.
    advance : callable
        Receives the hours ridden since it was last called.

    Notes
    -----
    A third of the hours is ridden over all ground. Its hardest pieces say which ground is hard, on
    which the other hours are ridden, of many more courses. Of how hard pieces are a twentieth, at
    most, lies on other ground: it is left out.

    On a day that throws even the baseline often, the rides that are kept would all be sure falls,
    and other falls would be counted by none. Such a day has as many courses as they stand for.
    """
    look = functools.partial(_look, study, n_jobs=n_jobs, advance=advance)
    n_first = _n_first_courses(study)
    first = look(np.arange(n_first, dtype=np.int64), grounds=None)
    pieces, n_courses = first.pieces, n_first
    most = _most_courses(study, pieces, n_first)
    hours_left = study.hard_rides_h - _hours(study, n_first)
    fewer = [piece for piece in pieces if piece.course < most]
    if most < n_first and _are_enough(study, fewer):
        pieces, n_courses = fewer, most
    elif most > n_first and hours_left > 0.0:
        hardness = dict.fromkeys(first.n_on, 0.0)
        for piece in sorted(pieces, key=_by_hardness)[: study.n_hard_rides]:
            hardness[piece.ground] += piece.hardness
        grounds, share = hard_grounds(first.n_on, hardness)
        more = round(hours_left / (_hours(study, 1) * share))
        n_courses = min(n_first + more, most)
        numbers = courses_with(study, grounds, range(n_first, n_courses))
        found = pieces + look(numbers, grounds=grounds).pieces
        pieces = _hardest(study, [piece for piece in found if piece.ground in grounds])
        if not _are_enough(study, pieces):
            pieces = found  # of hours that are hardly more
    ordered = _in_order(pieces)
    times = n_courses / n_first / N_PARTS
    facts = {
        "parts": [_sampled(part, study) for part in _in_parts(ordered)],
        "kilometres": {name: times * ridden for name, ridden in first.kilometres.items()},
    }
    return stored_hard_rides(study, json.dumps(facts))


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
    searched, others = (
        HardRides(
            draw=functools.partial(rides_at, study, part["rides"]),
            rider_names=rider_names_at(study, part["rides"]),
            roads=np.array([course for course, _, _ in part["rides"]], dtype=np.int64),
            weights=np.array(part["weights"], dtype=np.float64),
            kilometres=facts["kilometres"],
            text=text,
        )
        for part in facts["parts"]
    )
    return dataclasses.replace(searched, others=others)


def _hours(study: Study, n_courses: int) -> float:
    """Return how long all rides over so many courses last."""
    return n_courses * LANES_OF_A_COURSE * study.riding_day.ride_s / 3600.0


def _n_first_courses(study: Study) -> int:
    """Return how many courses are ridden over all ground."""
    least_h = _FIRST_RATIO * study.hard_rides_h
    pieces_of_course = LANES_OF_A_COURSE * n_pieces(study.riding_day.ride_s)
    n_batches = max(
        math.ceil(least_h / _hours(study, _COURSES_AT_ONCE)),
        math.ceil(N_PARTS * study.n_hard_rides / (_COURSES_AT_ONCE * pieces_of_course)),
    )
    return n_batches * _COURSES_AT_ONCE


def _most_courses(study: Study, pieces: Sequence[Piece], n_courses: int) -> int:
    """Return of how many courses the kept rides stand for all in which the baseline nearly falls.

    Parameters
    ----------
    study : Study
    pieces : sequence of Piece
        The hardest of some courses.
    n_courses : int
        Of those.
    """
    near = [piece for piece in pieces if piece.baseline_nearness > _NEAR]
    n_near = max(map(len, _in_parts(near)))
    n_hardest = _n_hardest(study)
    n_held = n_hardest + _STANDS_FOR * (study.n_hard_rides - n_hardest)
    return min(n_courses * n_held // max(n_near, 1), _MOST_TIMES * n_courses)


def _are_enough(study: Study, pieces: Sequence[Piece]) -> bool:
    """Say whether pieces of each part of the roads are as many as the rides to keep."""
    return min(map(len, _in_parts(pieces))) >= study.n_hard_rides


def _n_hardest(study: Study) -> int:
    """Return how many of the kept rides are the hardest."""
    return round(_HARDEST_RATIO * study.n_hard_rides)


def _look(
    study: Study,
    numbers: NDArray[np.int64],
    *,
    grounds: frozenset[Ground] | None,
    n_jobs: int,
    advance: Callable[[float], None],
) -> _Found:
    """Return what weakened profiles find over some courses of the day, on some grounds or all."""
    baseline = profile_to_array(study.baseline)
    found = _Found(pieces=[], kilometres=dict.fromkeys(study.riders, 0.0), n_on=Counter())
    n_batches = math.ceil(len(numbers) / (_COURSES_AT_ONCE if grounds is None else _PARTLY_AT_ONCE))
    n_rides = _COURSES_AT_ONCE * LANES_OF_A_COURSE * n_pieces(study.riding_day.ride_s)
    for together in laid_ahead(
        functools.partial(pieces_of_day, study, grounds),
        np.array_split(numbers, n_batches) if n_batches else [],
        n_courses=len(numbers),
        n_together=batches_at_once(study.device, n_rides),
        n_jobs=n_jobs,
        device=study.device,
    ):
        ridden = harder_rides(
            weakened(baseline),
            [laid for _, laid in together],
            beside=baseline[np.newaxis],
            n_least=_tried(study) - len(found.pieces),
            n_jobs=n_jobs,
            device=study.device,
        )
        for (pieces, _), harder in zip(together, ridden, strict=True):
            _add_kilometres(found.kilometres, pieces, harder.results)
            found.n_on.update(piece.ground for piece in pieces)
            found.pieces += [
                dataclasses.replace(
                    pieces[place], hardness=hardness, margin=margin, baseline_nearness=near
                )
                for place, hardness, margin, near in zip(
                    harder.places.tolist(),
                    harder.hardness.tolist(),
                    harder.margin.tolist(),
                    harder.beside[0].tolist(),
                    strict=True,
                )
            ]
            advance(sum(piece.own_s for piece in pieces) / 3600.0)
        found.pieces = _hardest(study, found.pieces)
    return found


def _by_hardness(piece: Piece) -> tuple[float, Place]:
    return -piece.hardness, piece.place


def _hardest(study: Study, pieces: Sequence[Piece]) -> list[Piece]:
    """Return the hardest pieces of each part of the roads, ties in the order of their drawing."""
    order = sorted(pieces, key=_by_hardness)
    return [piece for part in _in_parts(order) for piece in part[: _tried(study) // N_PARTS]]


def _tried(study: Study) -> int:
    """Return how many of the hardest pieces are kept: enough for each part of the roads."""
    return max(_TRIED_FOR_EACH * study.n_hard_rides, _LEAST_TRIED)


def _in_order(pieces: Sequence[Piece]) -> list[Piece]:
    """Return pieces by their least margins, the mean of weakened profiles and of the baseline.

    Weak profiles fall in so many pieces that their nearness does not order them, and some of these
    are hard for weak profiles alone, as the baseline shows.
    """
    return sorted(pieces, key=lambda piece: piece.margin)


def _in_parts(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """Return the pieces of the roads of each part, in the same order."""
    return [
        [piece for piece in pieces if piece.course % N_PARTS == part] for part in range(N_PARTS)
    ]


def _sampled(pieces: Sequence[Piece], study: Study) -> dict[str, Any]:
    """Return the places of the hardest pieces and of a sample of the next, and their weights.

    Parameters
    ----------
    pieces : sequence of Piece
        The hardest first, at least as many as the study asks for.
    study : Study
    """
    n_hardest = _n_hardest(study)
    n_others = study.n_hard_rides - n_hardest
    each = max(min(_STANDS_FOR, (len(pieces) - n_hardest) // max(n_others, 1)), 1)
    others = pieces[n_hardest + each // 2 :: each][:n_others]
    return {
        "rides": [piece.place for piece in (*pieces[:n_hardest], *others)],
        "weights": [1.0] * n_hardest + [float(each)] * n_others,
    }


def _add_kilometres(kilometres: dict[str, float], pieces: Sequence[Piece], results: Rides) -> None:
    """Add what each rider rode, less the way before each piece, in place.

    A piece that ends early is cut short: one in a thousand. A board runs ahead at its start, so
    that the way of all pieces is 5 % longer than that of the whole rides.
    """
    way_km = np.abs(results.column("distance_m")[0]) / 1000.0
    for piece, ridden_km in zip(pieces, way_km.tolist(), strict=True):
        kilometres[piece.rider_name] += ridden_km * piece.own_s / piece.ridden_s
