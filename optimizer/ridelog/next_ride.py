"""The test ride that would narrow most of what a log leaves uncertain, and why.

What counts is the current in reserve: what drive and pack can give at a speed, less what holds a
climb there. A reserve that is used up is a nose-down. Each fitted number moves it by so much
between the ends of its interval, and each manoeuvre shows some of the numbers.
"""

import dataclasses
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from optimizer.ridelog.fits.all_fits import Fits
from optimizer.ridelog.fits.road import kv_of_load
from optimizer.ridelog.study_from_log import SURFACE, rider_of
from optimizer.study.catalogue_surface import catalogue_surface
from optimizer.study.drive_window import drive_window, seen_pack
from optimizer.study.holding_current import holding_current
from optimizer.study.log_data.mapping import LogMapping
from optimizer.study.log_data.resampling import RideLog
from optimizer.study.tolerances import with_numbers
from plant.constants import COPPER_PER_K, COPPER_REFERENCE_C
from plant.description.board import Board
from plant.description.cells import open_circuit_voltage
from plant.description.rider import Rider

CLIMB_RATIO = 0.1  # assumed: a hill that most riders meet
_HELD_S = 300.0  # assumed: a long climb, which warms the winding
_AIR_C = 20.0
_LEAST_SHARE = 0.01  # assumed: of the reserve, below which no number is worth a ride
_EXPECTED, _ROLLING = "expected_current_a_per_mps2", "rolling_ratio"
_REST, _SLOW = "rest_voltage_v", "rc_resistance_ohm"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Manoeuvre:
    """A test ride.

    Attributes
    ----------
    text : str
        What to ride.
    shows : tuple of str
        Names of the fitted numbers that it narrows.
    why : str
        Why it does.
    """

    text: str
    shows: tuple[str, ...]
    why: str


# Each narrows its numbers more than the others do: see tests/optimizer/ridelog/test_next_ride.py.
MANOEUVRES = (
    Manoeuvre(
        text="hard pulls from a walk to your usual speed on level ground, rolling out after each,"
        " for two minutes",
        shows=(
            _EXPECTED,
            "kv_rpm_per_v",
            "phase_resistance_ohm",
            "phase_inductance_h",
            "series_resistance_ohm",
        ),
        why="a current that changes much tells what goes with it from the rest",
    ),
    Manoeuvre(
        text="twenty seconds at a walk and twenty at your usual fastest, in turn for two minutes,"
        " both ways on one level road",
        shows=(_ROLLING, "drag_area_m2"),
        why="only a wide range of speeds tells air, which goes with their square, from rolling",
    ),
    Manoeuvre(
        text="45 s of a fast ride or a climb and 45 s at a walk or standing, in turn for four"
        " minutes, as a log of its own",
        shows=(_SLOW, "rc_time_s"),
        why="the slow part of a pack shows itself as a load lasts, and after it",
    ),
    Manoeuvre(
        text="five minutes of steady climbing, then five minutes of standing still, as a log of"
        " its own",
        shows=("winding_heat_capacity_j_per_k", "winding_resistance_k_per_w"),
        why="warming and cooling of a winding differ only over minutes",
    ),
)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Uncertain:
    """A fitted number and what its interval leaves open.

    Attributes
    ----------
    name : str
    value, half : float
        The estimate and half its interval.
    move_a : float
        Half of what its interval moves the current in reserve by, in A, where it moves it most.
    speed_mps : float
        At this speed.
    reserve_a : float
        The reserve there.
    """

    name: str
    value: float
    half: float
    move_a: float
    speed_mps: float
    reserve_a: float

    @property
    def sentence(self) -> str:
        """What is not known and what that moves, without a stop."""
        known = f"± {self.half:.2g}" if math.isfinite(self.half) else "no more than that"
        if math.isfinite(self.half) and self.value:
            known = f"± {100.0 * self.half / abs(self.value):.0f} %"
        return (
            f"{self.name} ({self.value:.3g}) is known to {known}, which moves the current in"
            f" reserve by ± {self.move_a:.2g} A of {self.reserve_a:.3g} A, at"
            f" {self.speed_mps:.0f} m/s up a climb of {100.0 * CLIMB_RATIO:.0f} %"
        )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """The test ride to make next.

    Attributes
    ----------
    manoeuvre : Manoeuvre
    uncertain : tuple of Uncertain
        Of the numbers that it shows, those that were fitted, the one that moves most first.
    """

    manoeuvre: Manoeuvre
    uncertain: tuple[Uncertain, ...]

    @property
    def move_a(self) -> float:
        """What the numbers move the reserve by together, as if independent, in A."""
        return math.hypot(*(each.move_a for each in self.uncertain))


def proposals(fits: Fits, log: RideLog, mapping: LogMapping) -> list[Proposal]:
    """Return the test rides that would narrow what matters, that which narrows most first.

    Parameters
    ----------
    fits : Fits
    log : RideLog
        Says how fast the rider rides.
    mapping : LogMapping
        Its board stands for what was not fitted.
    """
    found = {each.name: each for each in uncertain_numbers(fits, log, mapping)}
    made = [
        Proposal(
            manoeuvre=manoeuvre,
            uncertain=tuple(
                sorted(
                    (found[name] for name in manoeuvre.shows if name in found),
                    key=lambda each: -each.move_a,
                )
            ),
        )
        for manoeuvre in MANOEUVRES
    ]
    worth = [
        proposal
        for proposal in made
        if any(each.move_a > _LEAST_SHARE * abs(each.reserve_a) for each in proposal.uncertain)
    ]
    return sorted(worth, key=lambda proposal: -proposal.move_a)


def uncertain_numbers(fits: Fits, log: RideLog, mapping: LogMapping) -> list[Uncertain]:
    """Return the fitted numbers that move the current in reserve, with how far; see `proposals`."""
    known = {name: (value, low, high) for name, value, low, high in _estimates(fits)}
    if not isinstance(fits["motor"], str):
        # What an acceleration takes follows from the motor then, not from the road.
        known.pop(_EXPECTED, None)
    values = {name: value for name, (value, _, _) in known.items()}
    rider = rider_of(mapping)
    return [
        _uncertain(name, known[name], values, speeds=_speeds(log), mapping=mapping, rider=rider)
        for manoeuvre in MANOEUVRES
        for name in manoeuvre.shows
        if name in known
    ]


def _estimates(fits: Fits) -> Iterator[tuple[str, float, float, float]]:
    for fit in fits.values():
        if not isinstance(fit, str):
            for name in fit.names:
                yield name, *fit.estimate(name)


def _speeds(log: RideLog) -> list[float]:
    """Return whole speeds in m/s up to the fastest of the log."""
    speed = log.signals.get("speed_mps", np.empty(0))
    seen = np.abs(speed[np.isfinite(speed)])  # none where the column is empty
    fastest = float(np.quantile(seen, 0.99)) if len(seen) else 1.0  # a glitch is no speed
    return [float(each) for each in range(1, max(round(fastest), 1) + 1)]


def _uncertain(
    name: str,
    interval: tuple[float, float, float],
    values: Mapping[str, float],
    *,
    speeds: list[float],
    mapping: LogMapping,
    rider: Rider,
) -> Uncertain:
    value, low, high = interval
    moves = []
    for speed in speeds:
        at_low, at_high = (
            reserve_a({**values, name: end}, mapping.board, rider, speed_mps=speed)
            for end in (low, high)
        )
        moves.append(0.5 * abs(at_high - at_low))
    most = int(np.argmax(moves))
    return Uncertain(
        name=name,
        value=value,
        half=0.5 * (high - low),
        move_a=moves[most],
        speed_mps=speeds[most],
        reserve_a=reserve_a(values, mapping.board, rider, speed_mps=speeds[most]),
    )


def reserve_a(
    numbers: Mapping[str, float], board: Board, rider: Rider, *, speed_mps: float
) -> float:
    """Return the current that is left over on a climb which has lasted some minutes, in A.

    Parameters
    ----------
    numbers : mapping of str to float
        Fitted numbers by name; board and rider stand for what is not among them. Each is taken
        inside what it can be.
    board : Board
    rider : Rider
    speed_mps : float
    """
    board, rider = with_numbers(board, numbers), with_numbers(rider, numbers)
    if _EXPECTED in numbers:
        kv = kv_of_load(numbers[_EXPECTED], board, rider.body.mass_kg)
        board = with_numbers(board, {"kv_rpm_per_v": kv})
    needed_a = holding_current(
        board,
        rider,
        speed_mps=speed_mps,
        rolling_ratio=max(numbers.get(_ROLLING, catalogue_surface(SURFACE).rolling_ratio), 0.0),
        grade_rad=math.atan(CLIMB_RATIO),
    )
    battery = board.battery
    # After minutes the slow part of the pack sags as the fast one does.
    sagging = {"series_resistance_ohm": battery.series_resistance_ohm + battery.rc_resistance_ohm}
    warm = {"phase_resistance_ohm": board.motor.phase_resistance_ohm * _copper(board, needed_a)}
    held = with_numbers(board, {**sagging, **warm})
    rest_v = numbers.get(
        _REST,
        battery.cells_in_series * open_circuit_voltage(battery.charge_ratio, battery.chemistry),
    )
    return drive_window(held, speed_mps, seen_pack(held, rest_v))[1] - needed_a


def _copper(board: Board, current_a: float) -> float:
    """Return the winding's resistance over that at the reference, after a climb of minutes."""
    motor = board.motor
    loss_w = 1.5 * motor.phase_resistance_ohm * current_a**2
    time_s = motor.winding_heat_capacity_j_per_k * motor.winding_resistance_k_per_w
    rise_k = loss_w * motor.winding_resistance_k_per_w * (1.0 - math.exp(-_HELD_S / time_s))
    return 1.0 + COPPER_PER_K * (_AIR_C + rise_k - COPPER_REFERENCE_C)


def proposal_facts(found: Sequence[Proposal]) -> list[dict[str, Any]]:
    """Return proposals as plain values."""
    return [
        {
            "ride": proposal.manoeuvre.text,
            "why": proposal.manoeuvre.why,
            "move_a": proposal.move_a,
            "numbers": [dataclasses.asdict(each) for each in proposal.uncertain],
        }
        for proposal in found
    ]
