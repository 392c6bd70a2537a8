"""The whole plant as plain NumPy over a batch of lanes: one Python loop over milliseconds.

The physics and the control law are written here a second time from their equations, with true
sines and cosines, in arrays of shape (lane,). It takes from the plant only what is data: its
assumed constants, road and script tables, and the starting values of a lane.
"""

import dataclasses
from collections.abc import Sequence
from types import SimpleNamespace as Lanes

import numpy as np
from numpy.typing import NDArray

from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.course_tables import script_table
from plant.kernel.lane_init import lane_template
from plant.kernel.lane_layout import RING_SLOTS, RING_STEPS, ROAD_NAMES, WIDTH, R
from plant.kernel.road import road_table
from plant.kernel.simulate import Ride
from tests.reference.constants import DT_S, SCRIPT_STEPS, SLOW_STEPS, TABLE_STEP_M
from tests.reference.numpy_bodies import move
from tests.reference.numpy_control import control
from tests.reference.numpy_measures import end_rides, measure_feel, measure_ride
from tests.reference.numpy_motion import renew
from tests.reference.numpy_rider import ride as ride_on
from tests.reference.numpy_sensing import read_road, sense


class Reflex:
    """The delay line of the foot command: slots of a few steps, the last command of each kept."""

    def __init__(self, lanes: Lanes) -> None:
        self.slots = np.stack([getattr(lanes, f"ring_{slot}") for slot in range(RING_SLOTS)])
        self.back = lanes.reflex_delay_slots.astype(int)
        self.lane = np.arange(self.back.size)

    def read(self, step: int) -> NDArray[np.float64]:
        """Return each lane's command of its own delay ago."""
        return self.slots[(step // RING_STEPS - self.back) % RING_SLOTS, self.lane]

    def write(self, step: int, command: NDArray[np.float64]) -> None:
        """Keep this step's command."""
        self.slots[step // RING_STEPS % RING_SLOTS] = command


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """Roads and scripts of several courses, and the one of each lane.

    Attributes
    ----------
    roads : (course, station, column) float64
        Road tables; shorter ones go on as they end.
    scripts : (course, point, column) float64
        Script tables, likewise.
    of_lane : (lane,) int64
        The course of each lane.
    n_steps : (lane,) int64
        Milliseconds of each lane's manoeuvre.
    """

    roads: NDArray[np.float64]
    scripts: NDArray[np.float64]
    of_lane: NDArray[np.int64]
    n_steps: NDArray[np.int64]


def starting_lanes(
    profiles: NDArray[np.float64],
    rides: Sequence[Ride],
    *,
    grade_rad: Sequence[float],
    n_sub: int = 1,
) -> Lanes:
    """Return one lane for each pair of profile and ride, at the start, by name.

    Parameters
    ----------
    profiles : (lane, parameter) float64
        In the order of `plant.kernel.lane_layout.PROFILE_NAMES`.
    rides : sequence of Ride
        One for each lane.
    grade_rad : sequence of float
        Grade of each lane's road at the start.
    n_sub : int
        Plant sub-steps in each millisecond.
    """
    rows = np.stack(
        [
            lane_template(
                ride.board,
                ride.rider,
                ride.course,
                noise_seed=ride.noise_seed,
                grade_rad=float(grade),
                n_sub=n_sub,
            )
            for ride, grade in zip(rides, grade_rad, strict=True)
        ],
        axis=1,
    )
    lanes = Lanes(**{name: rows[row // WIDTH].copy() for name, row in R.__members__.items()})
    for name, values in zip(PROFILE_NAMES, profiles.T, strict=True):
        setattr(lanes, name, values.copy())
    lanes.noise_seed = np.array([ride.noise_seed for ride in rides], dtype=np.uint64)
    return lanes


def road_and_script(ride: Ride) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the road's and the script's table of a ride, as the plant lays them out."""
    script = script_table(ride.course)
    reach_m = 1.25 * float(np.sum(np.abs(script[:, 0]))) * SCRIPT_STEPS * DT_S + 25.0
    road = road_table(
        ride.course.road,
        wheel=ride.board.wheel,
        length_m=reach_m,
        press_ratio=ride.course.manoeuvre.press_ratio,
        seed=ride.course.road_seed,
    )
    return road, script


def ways(rides: Sequence[Ride]) -> Ways:
    """Return what lies ahead of each lane; rides of equal course and wheel share it."""
    kinds = {(ride.course, ride.board.wheel): ride for ride in rides}
    number = {kind: place for place, kind in enumerate(kinds)}
    roads, scripts = zip(*map(road_and_script, kinds.values()), strict=True)
    return Ways(
        roads=_stacked(roads),
        scripts=_stacked(scripts),
        of_lane=np.array([number[ride.course, ride.board.wheel] for ride in rides]),
        n_steps=np.array([round(ride.course.manoeuvre.duration_s / DT_S) for ride in rides]),
    )


def grades(ahead: Ways) -> NDArray[np.float64]:
    """Return the grade in rad of each lane's road at its start, (lane,)."""
    return ahead.roads[ahead.of_lane, 0, ROAD_NAMES.index("road_grade_rad")]


def _stacked(tables: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return tables as one array, with the last row of shorter ones repeated."""
    longest = max(map(len, tables))
    return np.stack(
        [np.pad(table, ((0, longest - len(table)), (0, 0)), mode="edge") for table in tables]
    )


def ride_lanes(
    profiles: NDArray[np.float64],
    rides: Sequence[Ride],
    *,
    n_steps: int | None = None,
    n_sub: int = 1,
    signals: Sequence[str] = (),
) -> tuple[Lanes, dict[str, NDArray[np.float64]]]:
    """Ride lanes along their courses and return their end and what was recorded.

    Parameters
    ----------
    profiles : (lane, parameter) float64
        In the order of `plant.kernel.lane_layout.PROFILE_NAMES`.
    rides : sequence of Ride
        One for each lane.
    n_steps : int, optional
        Milliseconds to ride at most; each whole manoeuvre if left out.
    n_sub : int
        Plant sub-steps in each millisecond.
    signals : sequence of str
        Names to record at the end of each step, as (step, lane); NaN after the ride ended.
    """
    ahead = ways(rides)
    lanes = starting_lanes(profiles, rides, grade_rad=grades(ahead), n_sub=n_sub)
    reflex = Reflex(lanes)
    record: dict[str, list[NDArray[np.float64]]] = {name: [] for name in signals}
    longest = int(ahead.n_steps.max())
    for step in range(longest if n_steps is None else min(n_steps, longest)):
        lanes.alive = np.where(step < ahead.n_steps, lanes.alive, 0.0)
        if step % SLOW_STEPS == 0:
            if not lanes.alive.any():
                break
            renew(lanes)
        advance(lanes, reflex, step, ways=ahead, n_sub=n_sub)
        for name in signals:
            record[name].append(np.where(lanes.alive > 0.5, getattr(lanes, name), np.nan))
    return lanes, {name: np.array(values) for name, values in record.items()}


def advance(lanes: Lanes, reflex: Reflex, step: int, *, ways: Ways, n_sub: int) -> None:
    """Advance every lane by one millisecond."""
    point, late = divmod(step, SCRIPT_STEPS)
    share = late / SCRIPT_STEPS
    now, then = (ways.scripts[ways.of_lane, at] for at in (point, point + 1))
    speed, turn, headwind, rise = ((1.0 - share) * now + share * then).T[:4]
    hold, count = now.T[4:]
    read_road(lanes, ways.roads, TABLE_STEP_M, of_lane=ways.of_lane)
    lanes.foot_delayed_nm = reflex.read(step)
    sense(lanes, step)
    control(lanes, step)
    ride_on(lanes, step, speed, rise)
    reflex.write(step, lanes.foot_command_nm)
    for sub in range(n_sub):
        if sub > 0:
            read_road(lanes, ways.roads, TABLE_STEP_M, of_lane=ways.of_lane)
        move(lanes, DT_S / n_sub, turn, headwind)
    on, dt = end_rides(lanes)
    measure_ride(lanes, on, dt, hold, count)
    measure_feel(lanes, on, dt, rise)
