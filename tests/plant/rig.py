"""A test rig: the compiled kernel with single rows set by hand.

The plant under test stays whole. A rig holds speed or angles by making an inertia endless, or
holds the current by a fixed integral with every gain at zero, so that one part of the plant can
be measured alone and against a closed form.
"""

import dataclasses
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from plant.description.board import Board
from plant.description.course import Course, Manoeuvre, Start
from plant.description.profile_array import PROFILE_NAMES
from plant.description.rider import Rider
from plant.kernel.course_tables import script_table
from plant.kernel.lane_init import fill_profile, lane_template
from plant.kernel.lane_layout import N_ROWS, WIDTH, R
from plant.kernel.outcomes import Outcome
from plant.kernel.ride_block import ride_block
from plant.kernel.road import TABLE_STEP_M, road_table
from tests import invented, invented_rides

SMOOTH = invented_rides.surface(0.0, 1.5, 0.0)

# No noise, no rider acting, no end of the ride by angle.
QUIET: Mapping[str, ArrayLike] = {
    "gyro_noise_deg_per_s": 0.0,
    "gyro_noise_per_mps2": 0.0,
    "gyro_bias_deg_per_s": 0.0,
    "sway_ratio": 0.0,
    "foot_use_ratio": 0.0,
    "drag_area_m2": 0.0,
    "nose_contact_rad": 10.0,
    "tail_contact_rad": 10.0,
    "step_off_lean_rad": 10.0,
    "bus_low_v": 0.0,
    "bus_high_v": 1e9,
    "taper_start_v": 1e9,
}
# Board and rider keep their angles; only the distance moves.
UPRIGHT: Mapping[str, ArrayLike] = {
    "per_frame_j": 0.0,
    "per_rider_j": 0.0,
    "frame_mh_kg_m": 0.0,
    "rider_mh_kg_m": 0.0,
}
# A dynamometer: the wheel keeps its speed whatever the torque.
HELD: Mapping[str, ArrayLike] = {**UPRIGHT, "rolling_mass_kg": 1e15, "per_rim_mass": 1e-15}


def held_current(current_a: ArrayLike) -> dict[str, ArrayLike]:
    """Return the rows with which the control law asks one current from first to last."""
    return {
        "integral_a": current_a,
        "integral_clamp_a": 1e9,
        "current_a": current_a,
        "wanted_was_a": current_a,
        "wanted_before_a": current_a,
        "phase_current_limit_a": 1e6,
        "limit_now_a": 1e6,
        "battery_current_limit_a": 1e6,
        "regen_current_limit_a": 1e6,
    }


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """What a rig recorded: `signal` name -> (step, lane), `end` name -> (lane,), outcomes."""

    signal: dict[str, NDArray[np.float64]]
    end: dict[str, NDArray[np.float64]]
    outcome: list[Outcome]


def without_gains() -> NDArray[np.float64]:
    """Return a profile that asks for no current, (parameter,)."""
    row = invented_rides.profile_row()
    for name in (
        "inner_gain_a_per_deg",
        "base_gain_a_per_deg",
        "rate_gain_a_per_deg_per_s",
        "integral_gain_a_per_deg_s",
        "warning_lift_deg",
    ):
        row[PROFILE_NAMES.index(name)] = 0.0
    row[PROFILE_NAMES.index("braking_current_cap_a")] = 1e6
    return row


def flat(seconds: float, speed_mps: float = 0.0, **road: object) -> Course:
    """Return a smooth course without rolling resistance, ridden at one wanted speed."""
    return invented_rides.course(
        "rig",
        invented_rides.road(SMOOTH, **road),  # type: ignore[arg-type]
        Manoeuvre(
            duration_s=seconds,
            speed_mps=((0.0, speed_mps),),
            start=Start.ROLLING if speed_mps else Start.STANDING,
        ),
    )


def run(
    rows: Mapping[str, ArrayLike],
    *,
    seconds: float,
    record: Sequence[str] = (),
    every: int = 1,
    course: Course | None = None,
    rider: Rider | None = None,
    profile: NDArray[np.float64] | None = None,
    board: Board | None = None,
    n_sub: int = 1,
) -> Run:
    """Ride one block whose rows are set by hand.

    Parameters
    ----------
    rows : mapping of row name to a number, or to one number for each lane
        Starting values that replace those of the invented board and rider.
    seconds : float
        How long to ride; the course's own duration does not count.
    record : sequence of str
        Rows to record every `every` milliseconds.
    every : int
        See `record`.
    course : Course, optional
        `flat` at rest if left out.
    rider : Rider, optional
        The invented rider of 80 kg if left out.
    profile : (parameter,) or (lane, parameter) float64, optional
        `without_gains` if left out.
    board : Board, optional
        The invented board if left out.
    n_sub : int
        Plant sub-steps in each millisecond.
    """
    course = course or flat(seconds)
    board = board or invented.board()
    script = script_table(course)
    reach_m = float(np.sum(np.abs(script[:, 0]))) * 0.02 + 50.0
    road = road_table(
        course.road,
        wheel=board.wheel,
        length_m=reach_m,
        press_ratio=course.manoeuvre.press_ratio,
        seed=course.road_seed,
    )
    rider = rider or invented_rides.rider(80.0)
    grade_rad = float(road[0, 2])
    template = lane_template(board, rider, course, noise_seed=1, grade_rad=grade_rad, n_sub=n_sub)
    block = np.repeat(template[:, None], WIDTH, axis=1)
    profile = without_gains() if profile is None else profile
    fill_profile(block, np.broadcast_to(profile, (WIDTH, profile.shape[-1])))
    for name, value in rows.items():
        block[R[name] // WIDTH] = value
    n_steps = round(seconds * 1000)
    probe = np.full((n_steps // every, len(record), WIDTH), np.nan)
    probe_rows = np.array([R[name] for name in record], dtype=np.int64)
    buffer = np.ascontiguousarray(block.reshape(-1))
    ride_block(buffer, road, TABLE_STEP_M, script, n_steps, n_sub, probe_rows, every, probe)
    end = buffer.reshape(N_ROWS, WIDTH)
    return Run(
        signal={name: probe[:, place] for place, name in enumerate(record)},
        end={name: end[R[name] // WIDTH] for name in R.__members__},
        outcome=[Outcome(int(code)) for code in end[R.outcome // WIDTH]],
    )
