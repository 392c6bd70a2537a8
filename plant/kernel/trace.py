"""One ride in full: signals over time for plots and for understanding."""

import dataclasses
import math

import numpy as np
from numpy.typing import NDArray

from plant.constants import DEG_PER_RAD, DT_S
from plant.elementary import elementwise
from plant.kernel.lane_layout import N_ROWS, WIDTH, R
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, ride_lanes

# Trace field -> (row, factor to the field's unit).
_SIGNALS = {
    "distance_m": ("distance_m", 1.0),
    "speed_mps": ("speed_mps", 1.0),
    "wanted_speed_mps": ("speed_wanted_now_mps", 1.0),
    "pitch_deg": ("pitch_rad", DEG_PER_RAD),
    "wanted_pitch_deg": ("pitch_wanted_deg", 1.0),
    "ground_pitch_deg": ("ground_pitch_rad", DEG_PER_RAD),
    "lean_deg": ("lean_rad", DEG_PER_RAD),
    "acceleration_mps2": ("accel_smooth_mps2", 1.0),
    "current_a": ("current_a", 1.0),
    "wanted_current_a": ("current_raw_a", 1.0),
    "available_current_a": ("available_high_a", 1.0),
    "bus_v": ("bus_v", 1.0),
    "mosfet_c": ("mosfet_c", 1.0),
    "winding_c": ("winding_c", 1.0),
    "foot_moment_nm": ("board_moment_nm", 1.0),
    "grade_rad": ("road_grade_rad", 1.0),
    "wheel_load_n": ("wheel_load_n", 1.0),
    "warning_lift_deg": ("warning_now_deg", 1.0),
    "stiffness_lift_ratio": ("stiffness_lift", 1.0),
    "phase_current_limit_a": ("phase_current_limit_a", 1.0),
}


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Signals of one ride, each (sample,) float64; NaN after the ride ended.

    `ground_pitch_deg` is pitch against the ground: the nose touches at the board's
    `nose_contact_deg`. `available_current_a` is the largest forward current at that moment, and
    `torque_reserve_ratio` what is left of it over the phase current limit. `acceleration_mps2` is
    smoothed as a rider feels it.
    """

    time_s: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    speed_mps: NDArray[np.float64]
    wanted_speed_mps: NDArray[np.float64]
    pitch_deg: NDArray[np.float64]
    wanted_pitch_deg: NDArray[np.float64]
    ground_pitch_deg: NDArray[np.float64]
    lean_deg: NDArray[np.float64]
    acceleration_mps2: NDArray[np.float64]
    current_a: NDArray[np.float64]
    wanted_current_a: NDArray[np.float64]
    available_current_a: NDArray[np.float64]
    torque_reserve_ratio: NDArray[np.float64]
    bus_v: NDArray[np.float64]
    mosfet_c: NDArray[np.float64]
    winding_c: NDArray[np.float64]
    foot_moment_nm: NDArray[np.float64]
    grade_percent: NDArray[np.float64]
    wheel_load_n: NDArray[np.float64]
    warning_lift_deg: NDArray[np.float64]
    stiffness_lift_ratio: NDArray[np.float64]
    outcome: Outcome


def trace(
    profile: NDArray[np.float64], ride: Ride, *, every_steps: int = 5, n_sub: int = 1
) -> Trace:
    """Ride one profile over one ride and keep its signals.

    Parameters
    ----------
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    ride : Ride
    every_steps : int
        Keep a sample every so many milliseconds, from 1 up.
    n_sub : int
        Plant sub-steps in each millisecond.

    Raises
    ------
    ValueError
        `every_steps` is below 1, or the profile is not of the right shape.
    """
    [ridden] = traces(profile[None, :], ride, every_steps=every_steps, n_sub=n_sub)
    return ridden


def traces(
    profiles: NDArray[np.float64], ride: Ride, *, every_steps: int = 5, n_sub: int = 1
) -> list[Trace]:
    """Ride some profiles over one ride, in the time of one, and keep their signals.

    Parameters
    ----------
    profiles : (candidate, parameter) float64
        At most `plant.kernel.lane_layout.WIDTH` candidates.
    ride, every_steps, n_sub
        As of `trace`.

    Raises
    ------
    ValueError
        As of `trace`, or there are too many profiles.
    """
    if every_steps < 1:
        raise ValueError(f"every_steps must be at least 1, got {every_steps}")
    rows = tuple(R[name] for name, _ in _SIGNALS.values())
    buffer, probe = ride_lanes(profiles, ride, n_sub=n_sub, probe=(rows, every_steps))
    codes = buffer.reshape(N_ROWS, WIDTH)[R.outcome // WIDTH]
    return [
        _of_lane(probe[:, :, lane], Outcome(int(codes[lane])), every_steps=every_steps)
        for lane in range(len(profiles))
    ]


def _of_lane(probe: NDArray[np.float64], outcome: Outcome, *, every_steps: int) -> Trace:
    """Return the trace of one lane from its recorded rows, (sample, row)."""
    signals = {
        field: probe[:, index] * factor
        for index, (field, (_, factor)) in enumerate(_SIGNALS.items())
    }
    limit = signals.pop("phase_current_limit_a")
    grade = signals.pop("grade_rad")
    reserve = (signals["available_current_a"] - signals["current_a"]) / limit
    return Trace(
        time_s=(np.arange(len(probe), dtype=np.float64) + 1.0) * every_steps * DT_S,
        torque_reserve_ratio=reserve,
        grade_percent=100.0 * elementwise(math.tan, grade),
        outcome=outcome,
        **signals,
    )
