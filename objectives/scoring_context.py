"""The facts of a study's rides that scoring needs, gathered once."""

import dataclasses
import functools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from objectives.handling import HandlingRules, handling_rules
from objectives.nose_down_rate import DayRules
from objectives.score_settings import ScoreSettings
from plant.arrays import Floats
from plant.description.board import Board
from plant.description.rider import Rider
from plant.kernel.simulate import Ride
from plant.linear.balance_loop import LoopPlant, loop_plant


@dataclasses.dataclass(frozen=True, kw_only=True, eq=False)
class ScoreRules:
    """Settings, and the facts of each ride; `score_rules` makes it from the rides.

    Attributes
    ----------
    settings : ScoreSettings
    board : Board
    riders : tuple of Rider
        Without repeats, in order of first appearance.
    ride_weight : (ride,) float64
        Above zero.
    ride_rider : (ride,) int64
        Index into `riders`.
    counts_level, counts_current, is_standing : (ride,) bool
        The ride has hold windows; has count windows; asks for no speed at all.
    spread_pairs : (pair, 2) int64
        Rides of the lightest and the heaviest rider over the same course.
    loop_riders : tuple of Rider
        With whom the loop keeps its margins: `riders`, and variants of them.
    asked_mps : (float, float)
        The slowest and the fastest speed that the rides ask for.
    handling : HandlingRules
        What the handling rides measure, which follow these rides.
    day : DayRules or None
        What the hard rides stand for, which follow the handling rides; None where there are none.
    """

    settings: ScoreSettings
    board: Board
    riders: tuple[Rider, ...]
    ride_weight: Floats
    ride_rider: NDArray[np.int64]
    counts_level: NDArray[np.bool_]
    counts_current: NDArray[np.bool_]
    is_standing: NDArray[np.bool_]
    spread_pairs: NDArray[np.int64]
    loop_riders: tuple[Rider, ...]
    asked_mps: tuple[float, float]
    handling: HandlingRules
    day: DayRules | None = None

    @functools.cached_property
    def loop(self) -> LoopPlant:
        """The balance loop of each of `loop_riders` less the profile, at both of `asked_mps`."""
        return loop_plant(self.board, self.loop_riders, speeds_mps=self.asked_mps)

    @functools.cached_property
    def loop_heaviest_first(self) -> LoopPlant:
        """The same, the heaviest riders first."""
        masses_kg = [rider.body.mass_kg for rider in self.loop_riders] * len(self.asked_mps)
        return self.loop.only(np.argsort(-np.array(masses_kg), kind="stable"))

    @property
    def n_rides(self) -> int:
        """Number of rides, those of handling and the hard ones counted too."""
        return self.n_without_hard + (0 if self.day is None else len(self.day.rider))

    @property
    def n_without_hard(self) -> int:
        """Number of rides, those of handling counted too."""
        return len(self.ride_weight) + self.handling.n_rides

    def parts(self, columns: Floats) -> tuple[Floats, Floats, Floats]:
        """Return the columns of own, handling and hard rides, each (candidate, ride, column)."""
        own, handling, hard = np.split(
            columns, [len(self.ride_weight), self.n_without_hard], axis=1
        )
        return own, handling, hard


def score_rules(
    rides: Sequence[Ride],
    *,
    ride_weight: Floats,
    settings: ScoreSettings,
    handling: Sequence[Ride] = (),
    baseline: Floats | None = None,
    day: DayRules | None = None,
    loop_riders: Sequence[Rider] = (),
) -> ScoreRules:
    """Return what scoring needs to know of the rides.

    Parameters
    ----------
    rides : sequence of Ride
        All on one board.
    ride_weight : (ride,) float64
        Above zero; only the proportions matter.
    settings : ScoreSettings
    handling : sequence of Ride, optional
        Those in which handling is measured.
    baseline : (number, rider) float64, optional
        How the baseline handles, from `objectives.handling.handling_numbers`.
    day : DayRules, optional
        Of the hard rides, where there are any.
    loop_riders : sequence of Rider, optional
        With whom the loop must keep its margins, in place of those of the rides.

    Raises
    ------
    ValueError
        Weights do not fit, boards differ, or no ride holds level or counts current.
    """
    weight = _checked_weight(rides, ride_weight)
    manoeuvres = [ride.course.manoeuvre for ride in rides]
    counts_level = np.array([bool(manoeuvre.hold_s) for manoeuvre in manoeuvres])
    counts_current = np.array([bool(manoeuvre.count_s) for manoeuvre in manoeuvres])
    if not counts_level.any():
        raise ValueError("hold_s: at least one ride must have a hold window, got none")
    if not counts_current.any():
        raise ValueError("count_s: at least one ride must have a count window, got none")
    riders = tuple(dict.fromkeys(ride.rider for ride in rides))
    loop_riders = tuple(loop_riders) or riders
    return ScoreRules(
        settings=settings,
        board=rides[0].board,
        riders=riders,
        ride_weight=weight,
        ride_rider=np.array([riders.index(ride.rider) for ride in rides]),
        counts_level=counts_level,
        counts_current=counts_current,
        is_standing=np.array([_stands(ride) for ride in rides]),
        spread_pairs=spread_pairs(rides, riders, counts_level),
        loop_riders=loop_riders,
        asked_mps=asked_speeds(rides),
        handling=handling_rules(rides, handling, baseline=baseline),
        day=day,
    )


def _checked_weight(rides: Sequence[Ride], ride_weight: Floats) -> Floats:
    if len({ride.board for ride in rides}) != 1:
        raise ValueError("rides: all must be on one board, and at least one is needed")
    weight = np.array(ride_weight, dtype=np.float64)
    if weight.shape != (len(rides),) or not np.all(np.isfinite(weight) & (weight > 0.0)):
        raise ValueError(f"ride_weight: must be {len(rides)} numbers above zero, got {weight}")
    return weight


def _stands(ride: Ride) -> bool:
    manoeuvre = ride.course.manoeuvre
    return bool(manoeuvre.hold_s) and all(speed == 0.0 for _, speed in manoeuvre.speed_mps)


def asked_speeds(rides: Sequence[Ride]) -> tuple[float, float]:
    """Return the slowest and the fastest speed that rides ask for, in m/s.

    Speed acts on the loop by the drag of the air, which changes each margin one way: between the
    two no margin is less than at the worse of them.
    """
    asked = [speed for ride in rides for _, speed in ride.course.manoeuvre.speed_mps]
    return min(asked), max(asked)


def spread_pairs(
    rides: Sequence[Ride], riders: Sequence[Rider], counts_level: NDArray[np.bool_]
) -> NDArray[np.int64]:
    """Return the rides of the lightest and of the heaviest rider that share a course."""
    by_mass = sorted(riders, key=lambda rider: rider.body.mass_kg)
    places = {
        (ride.course.name, ride.rider): place
        for place, ride in enumerate(rides)
        if counts_level[place]
    }
    pairs = [
        (place, places[course, by_mass[-1]])
        for (course, rider), place in places.items()
        if rider == by_mass[0] != by_mass[-1] and (course, by_mass[-1]) in places
    ]
    return np.array(pairs, dtype=np.int64).reshape(-1, 2)
