"""The hard rides of a riding day: parts of drawn rides in which weak profiles nearly fall.

Each drawn ride is cut into pieces. A weakened baseline rides them all, and another the harder of
them. Where they come nearest to a nose-down, other profiles do too: of the nose-downs that 41
profiles had in 300 h, the hardest 75 of 74,000 pieces held 86 %.
"""

import dataclasses
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from objectives.asked_way import asked_way_m
from objectives.nose_down_rate import margin_widths, nearness
from optimizer.base.hashing import spawned
from optimizer.base.progress import UNWATCHED
from optimizer.riding_day.rides import day_rides
from optimizer.study.study import HardRides, Study
from plant.arrays import Floats
from plant.description.course import Course, Part
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.device import Device
from plant.kernel.road import straight_lines
from plant.kernel.simulate import Ride, Rides, simulate

PIECE_S = 15.0
LEAD_IN_S = 3.0  # of the ride before a piece, for board and rider to settle
_COURSES_AT_ONCE = 8
# One piece in so many is ridden by the second weak profile too. The hardest tenth by the first
# holds 71 of the 72 pieces that are hardest by both.
_LOOKED_INTO = 10
_AHEAD_RATIO = 0.045  # how far beyond its wanted way a board is; see `optimizer.riding_day.speeds`

# A soft board without load response, and one whose damping is too weak for its stiffness: factors.
_WEAKENED: tuple[Mapping[str, float], ...] = (
    {
        "inner_gain_a_per_deg": 0.6,
        "base_gain_a_per_deg": 0.6,
        "rate_gain_a_per_deg_per_s": 0.6,
        "uphill_gain_deg_per_mps2": 0.0,
        "downhill_gain_deg_per_mps2": 0.0,
    },
    {"rate_gain_a_per_deg_per_s": 0.4},
)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """Which piece of which drawn ride, and how near the weak profiles came to a nose-down."""

    course: int
    piece: int
    lane: int
    hardness: float


def weakened(baseline: Floats) -> Floats:
    """Return the profiles that look for hard rides, (profile, parameter)."""
    profiles = np.tile(baseline, (len(_WEAKENED), 1))
    for row, factors in zip(profiles, _WEAKENED, strict=True):
        for name, factor in factors.items():
            row[PROFILE_NAMES.index(name)] *= factor
    return profiles


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
    ridden_h, first = 0.0, 0
    while ridden_h < study.hard_rides_h or len(found) < study.n_hard_rides:
        numbers = np.arange(first, first + _COURSES_AT_ONCE)
        first += _COURSES_AT_ONCE
        rides, places = _all_pieces(study, numbers)
        results, harder, hardness = harder_rides(
            profiles,
            rides,
            n_least=study.n_hard_rides - len(found),
            n_jobs=n_jobs,
            device=study.device,
        )
        _add_kilometres(kilometres, rides, results)
        for place, hard in zip(harder.tolist(), hardness.tolist(), strict=True):
            course, piece, lane = places[place]
            found.append(_Piece(course=course, piece=piece, lane=lane, hardness=hard))
        found = _hardest(found, study.n_hard_rides)
        new_h = len(rides) * _piece_s(study.riding_day.ride_s) / 3600.0
        ridden_h += new_h
        advance(new_h)
    facts = {
        "rides": [[piece.course, piece.piece, piece.lane] for piece in found],
        "kilometres": kilometres,
    }
    return stored_hard_rides(study, json.dumps(facts))


def harder_rides(
    profiles: Floats,
    rides: Sequence[Ride],
    *,
    n_least: int = 0,
    n_jobs: int = 1,
    device: Device = "cpu",
) -> tuple[Rides, NDArray[np.intp], Floats]:
    """Return what the first weak profile rode, and the harder of the rides with their hardness.

    Parameters
    ----------
    profiles : (profile, parameter) float64
        From `weakened`. The first rides all rides, the others only the harder tenth.
    rides : sequence of Ride
    n_least : int
        So many are looked into at least.
    n_jobs : int
        Threads; the result does not depend on it.
    device : Device
        What simulates; the result does not depend on it either.

    Returns
    -------
    Rides, (harder ride,) intp, (harder ride,) float64
        Hardness is the mean nearness to a nose-down, 0 to 1.
    """
    results = simulate(profiles[:1], rides, n_jobs=n_jobs, keep_roads=False, device=device)
    near = ridden_nearness(results)[0]
    n_harder = max(len(rides) // _LOOKED_INTO, n_least)
    harder = np.argsort(-near, kind="stable")[:n_harder]
    others = simulate(
        profiles[1:],
        [rides[place] for place in harder],
        n_jobs=n_jobs,
        keep_roads=False,
        device=device,
    )
    return results, harder, np.vstack([near[harder], ridden_nearness(others)]).mean(axis=0)


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


def _all_pieces(
    study: Study, numbers: NDArray[np.int64]
) -> tuple[list[Ride], list[tuple[int, int, int]]]:
    """Return all pieces of drawn courses, and the course, piece and lane of each."""
    rides: list[Ride] = []
    places: list[tuple[int, int, int]] = []
    for number, drawn in zip(numbers.tolist(), _drawn(study, numbers), strict=True):
        course = drawn[0].course
        for piece in range(n_pieces(course.duration_s)):
            # All lanes of a piece share its course, and so its road.
            cut = _cut(course, piece, name=f"day_{number}_{piece}")
            rides += [_over(cut, ride, piece) for ride in drawn]
            places += [(number, piece, lane) for lane in range(len(drawn))]
    return rides, places


def ridden_nearness(results: Rides) -> Floats:
    """Return how near simulated rides came to a nose-down, 0 to 1, (candidate, ride)."""
    return nearness(
        margin_widths(
            results.column("least_reserve_ratio"),
            results.column("least_nose_margin_ratio"),
            results.outcome,
        )
    )


def _add_kilometres(kilometres: dict[str, float], rides: Sequence[Ride], results: Rides) -> None:
    """Add what each rider rode, less the way before each piece, in place.

    A piece that ends early is cut short: one in a thousand. A board runs ahead at its start, so
    that the way of all pieces is 5 % longer than that of the whole rides.
    """
    way_km = np.abs(results.column("distance_m")[0]) / 1000.0
    for ride, ridden_km in zip(rides, way_km.tolist(), strict=True):
        own_s = _piece_s(ride.course.manoeuvre.duration_s)
        kilometres[ride.rider_name] += ridden_km * own_s / ride.course.duration_s


def _hardest(pieces: list[_Piece], n_kept: int) -> list[_Piece]:
    """Return the hardest pieces, the hardest first; ties in the order in which they were drawn."""
    return sorted(
        pieces, key=lambda piece: (-piece.hardness, piece.course, piece.piece, piece.lane)
    )[:n_kept]
