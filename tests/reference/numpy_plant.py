"""The whole plant as plain NumPy over a batch of lanes: one Python loop over milliseconds.

The physics and the control law are written here a second time from their equations, with true
sines and cosines, in arrays of shape (lane,). It takes from the plant only what is data: its
assumed constants, road and script tables, and the starting values of a lane.
"""

from collections.abc import Sequence
from types import SimpleNamespace as Lanes

import numpy as np
from numpy.typing import NDArray

from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.course_tables import script_table
from plant.kernel.lane_init import lane_template
from plant.kernel.lane_layout import RING_SLOTS, RING_STEPS, WIDTH, R
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


def starting_lanes(
    profiles: NDArray[np.float64], rides: Sequence[Ride], *, grade_rad: float, n_sub: int = 1
) -> Lanes:
    """Return one lane for each pair of profile and ride, at the start, by name.

    Parameters
    ----------
    profiles : (lane, parameter) float64
        In the order of `plant.kernel.lane_layout.PROFILE_NAMES`.
    rides : sequence of Ride
        One for each lane.
    grade_rad : float
        Grade of the road at the start.
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
                grade_rad=grade_rad,
                n_sub=n_sub,
            )
            for ride in rides
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


def ride_lanes(
    profiles: NDArray[np.float64],
    rides: Sequence[Ride],
    *,
    n_steps: int | None = None,
    n_sub: int = 1,
    signals: Sequence[str] = (),
) -> tuple[Lanes, dict[str, NDArray[np.float64]]]:
    """Ride lanes along one course and return their end and what was recorded.

    Parameters
    ----------
    profiles : (lane, parameter) float64
        In the order of `plant.kernel.lane_layout.PROFILE_NAMES`.
    rides : sequence of Ride
        One for each lane, all on the same course and wheel.
    n_steps : int, optional
        Milliseconds to ride; the whole manoeuvre if left out.
    n_sub : int
        Plant sub-steps in each millisecond.
    signals : sequence of str
        Names to record at the end of each step, as (step, lane); NaN after the ride ended.
    """
    road, script = road_and_script(rides[0])
    duration = round(rides[0].course.manoeuvre.duration_s / DT_S)
    lanes = starting_lanes(profiles, rides, grade_rad=float(road[0, 2]), n_sub=n_sub)
    reflex = Reflex(lanes)
    record: dict[str, list[NDArray[np.float64]]] = {name: [] for name in signals}
    for step in range(duration if n_steps is None else n_steps):
        if step % SLOW_STEPS == 0:
            if not lanes.alive.any():
                break
            renew(lanes)
        advance(lanes, reflex, step, road=road, script=script, n_sub=n_sub)
        for name in signals:
            record[name].append(np.where(lanes.alive > 0.5, getattr(lanes, name), np.nan))
    return lanes, {name: np.array(values) for name, values in record.items()}


def advance(
    lanes: Lanes,
    reflex: Reflex,
    step: int,
    *,
    road: NDArray[np.float64],
    script: NDArray[np.float64],
    n_sub: int,
) -> None:
    """Advance every lane by one millisecond."""
    point, late = divmod(step, SCRIPT_STEPS)
    share = late / SCRIPT_STEPS
    speed, turn, headwind, rise = (
        (1.0 - share) * script[point, :4] + share * script[point + 1, :4]
    ).tolist()
    hold, count = script[point, 4:].tolist()
    read_road(lanes, road, TABLE_STEP_M)
    lanes.foot_delayed_nm = reflex.read(step)
    sense(lanes, step)
    control(lanes, step)
    ride_on(lanes, step, speed, rise)
    reflex.write(step, lanes.foot_command_nm)
    for sub in range(n_sub):
        if sub > 0:
            read_road(lanes, road, TABLE_STEP_M)
        move(lanes, DT_S / n_sub, turn, headwind)
    on, dt = end_rides(lanes)
    measure_ride(lanes, on, dt, hold, count)
    measure_feel(lanes, on, dt, rise)
