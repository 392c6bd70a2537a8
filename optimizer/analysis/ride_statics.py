"""What a ride asks of its board before anything moves: the force to hold its grade at its speed.

Rolling resistance, air and grade at each place of the wanted ride, with no acceleration: the rest
of the current is left for balance. Statics alone can not say that a ride succeeds, but they say
where none can.
"""

import dataclasses
import enum
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeAlias

import numpy as np

from optimizer.study.drive_window import drive_window, seen_pack
from optimizer.study.holding_current import holding_current
from plant.arrays import Floats
from plant.description.board import Board
from plant.description.cells import open_circuit_voltage
from plant.kernel.road import TABLE_STEP_M, grade_rad, straight_lines
from plant.kernel.simulate import Ride

_ANY_POWER_W = 1e9
_HALVINGS = 20
_STEP_S = 0.1  # speeds and grades change little in it
_LEAD_M = 6.0  # before the start, so that blends of grades are settled there, as in the kernel

_Pack: TypeAlias = tuple[float, float, float, float]  # of `pack_limits`


class Limit(enum.StrEnum):
    """What bounds the current at a place."""

    PHASE = "phase current limit"
    VOLTAGE = "pack voltage"
    PACK = "pack current limits"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class RideStatics:
    """The place of a ride that leaves least current, and how near the nose comes to the road.

    Attributes
    ----------
    ride : str
        Name, course/rider.
    needed_a, limit_a : float
        Current to hold the wanted ride there, below zero where it brakes, and the most of that
        sign that the drive can make there.
    limit : Limit
        What bounds it.
    speed_mps, grade_percent : float
        There.
    held_percent, held_mps : float
        The steepest grade at that speed, and the highest speed on that grade, which could be held;
        infinite where the ride itself can.
    nose_room_deg, tail_room_deg : float
        Smallest angle between a level deck's nose, and tail, and the road, on any grade of the
        ride.
    """

    ride: str
    needed_a: float
    limit_a: float
    limit: Limit
    speed_mps: float
    grade_percent: float
    held_percent: float
    held_mps: float
    nose_room_deg: float
    tail_room_deg: float

    @property
    def used_ratio(self) -> float:
        """Share of the current that holding takes; infinite where the drive has none."""
        return used_ratio(self.needed_a, self.limit_a)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """What is wanted at one place of a ride."""

    speed_mps: float
    grade_rad: float
    headwind_mps: float
    rolling_ratio: float


def statics_of(rides: Iterable[Ride]) -> tuple[RideStatics, ...]:
    """Return the statics of each ride, in order."""
    return tuple(_statics(ride) for ride in rides)


def used_ratio(needed_a: float, limit_a: float) -> float:
    """Return the share of a current that is needed; infinite where the drive has none."""
    if needed_a == 0.0:
        return 0.0
    return needed_a / limit_a if limit_a * needed_a > 0.0 else math.inf


def _statics(ride: Ride) -> RideStatics:
    board = ride.board
    pack = seen_pack(board, _source_v(ride))
    places = list(_places(ride))
    uphill_deg = math.degrees(max(place.grade_rad for place in places))
    downhill_deg = -math.degrees(min(place.grade_rad for place in places))
    currents = [_currents(ride, place, pack) for place in places]
    shares = [used_ratio(*pair) for pair in currents]
    worst = max(range(len(places)), key=lambda at: (shares[at], abs(currents[at][0])))
    place, (needed_a, limit_a) = places[worst], currents[worst]
    beyond = shares[worst] >= 1.0
    return RideStatics(
        ride=ride.name,
        needed_a=needed_a,
        limit_a=limit_a,
        limit=_limit(board, place.speed_mps, limit_a, pack),
        speed_mps=place.speed_mps,
        grade_percent=100.0 * math.tan(place.grade_rad),
        held_percent=_held_percent(ride, place, pack) if beyond else math.inf,
        held_mps=_held_mps(ride, place, pack) if beyond else math.inf,
        nose_room_deg=board.frame.nose_contact_deg - max(uphill_deg, 0.0),
        tail_room_deg=board.frame.tail_contact_deg - max(downhill_deg, 0.0),
    )


def _currents(ride: Ride, place: _Place, pack: _Pack) -> tuple[float, float]:
    """Return the current to hold a ride at a place, and the most of that sign there, in A."""
    needed_a = holding_current(ride.board, ride.rider, **dataclasses.asdict(place))
    low_a, high_a = drive_window(ride.board, place.speed_mps, pack)
    return needed_a, max(high_a, 0.0) if needed_a > 0.0 else min(low_a, 0.0)


def _held_percent(ride: Ride, place: _Place, pack: _Pack) -> float:
    """Return the steepest grade that way to hold at the place's speed, in percent."""

    def held(share: float) -> bool:
        flatter = dataclasses.replace(place, grade_rad=share * place.grade_rad)
        return used_ratio(*_currents(ride, flatter, pack)) < 1.0

    return 100.0 * math.tan(_largest_share(held) * place.grade_rad)


def _held_mps(ride: Ride, place: _Place, pack: _Pack) -> float:
    """Return the highest speed at which the place's grade could be held, in m/s."""

    def held(share: float) -> bool:
        slower = dataclasses.replace(place, speed_mps=share * place.speed_mps)
        return used_ratio(*_currents(ride, slower, pack)) < 1.0

    return _largest_share(held) * place.speed_mps


def _largest_share(held: Callable[[float], bool]) -> float:
    """Return the largest share below one that can be held; zero where none can."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if held(middle) else (low, middle)
    return low


def _limit(board: Board, speed_mps: float, limit_a: float, pack: _Pack) -> Limit:
    """Return what makes the limit of the current what it is."""
    if abs(limit_a) >= board.drive.phase_current_limit_a:
        return Limit.PHASE
    low_a, high_a = drive_window(board, speed_mps, (*pack[:2], _ANY_POWER_W, _ANY_POWER_W))
    by_voltage = low_a if limit_a < 0.0 else max(high_a, 0.0)
    return Limit.VOLTAGE if abs(limit_a) >= abs(by_voltage) else Limit.PACK


def _source_v(ride: Ride) -> float:
    """Return the pack's voltage at rest as the ride begins."""
    own = ride.course.manoeuvre.charge_ratio
    battery = ride.board.battery
    charge_ratio = battery.charge_ratio if own is None else own
    return battery.cells_in_series * float(open_circuit_voltage(charge_ratio, battery.chemistry))


def _places(ride: Ride) -> Iterator[_Place]:
    """Yield what is wanted at each place that the wanted speed leads over."""
    manoeuvre, road = ride.course.manoeuvre, ride.course.road
    time_s = np.arange(0.0, manoeuvre.duration_s + 0.5 * _STEP_S, _STEP_S)
    speed_mps = straight_lines(manoeuvre.speed_mps, time_s)
    mean_mps = 0.5 * (speed_mps[1:] + speed_mps[:-1])
    way_m = np.concatenate([[0.0], np.cumsum(np.maximum(mean_mps, 0.0) * _STEP_S)])
    rows = np.arange(-_LEAD_M, float(way_m[-1]) + _LEAD_M, TABLE_STEP_M)
    grade = np.interp(way_m, rows, grade_rad(road, rows))
    headwind = straight_lines(manoeuvre.headwind_mps, time_s)
    starts = [patch.from_m for patch in road.patches]
    patch = np.clip(np.searchsorted(starts, way_m, side="right") - 1, 0, None)
    rolling = np.array([one.surface.rolling_ratio for one in road.patches])[patch]
    columns: Sequence[Floats] = (speed_mps, grade, headwind, rolling)
    for row in np.unique(np.stack(columns, axis=1).round(6), axis=0).tolist():
        yield _Place(speed_mps=row[0], grade_rad=row[1], headwind_mps=row[2], rolling_ratio=row[3])
