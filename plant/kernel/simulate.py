"""The one door to the kernel: profiles and rides in, metrics or traces out.

A ride's result depends on its own profile, rider, board, course and seed: never on which other
rides share its batch, their order, or the number of threads.
"""

import dataclasses
import functools
import math
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.constants import DT_S
from plant.cuda.available import CudaMissingError
from plant.description.board import Board, Wheel
from plant.description.course import Course, Part, Points, Start
from plant.description.profile_array import PROFILE_NAMES
from plant.description.rider import Rider
from plant.device import Device, require
from plant.kernel.lane_init import fill_profile, lane_template
from plant.kernel.lane_layout import N_ROWS, RING_SLOTS, RING_STEPS, WIDTH, R
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.ride_block import SCRIPT_STEPS, ride_block
from plant.kernel.road import TABLE_STEP_M, road_table, straight_lines

# Assumed: more than the courses and hard rides of a study; the road of a minute takes 1 MB.
ROADS_KEPT = 256
_RISE_TIME_S = 0.6  # assumed: a rider brings the board level from tail-down in this time
_LEAST_FEEL = 0.25  # m2/s3, assumed: less than half a second at 0.7 m/s2 tells no feel
_MAX_DELAY_S = (RING_SLOTS - 1) * RING_STEPS * DT_S
# Rows to record, how often, and where.
_Probe: TypeAlias = tuple[NDArray[np.int64], int, NDArray[np.float64]]
_NO_PROBE: _Probe = (np.zeros(0, dtype=np.int64), 1, np.zeros((0, 0, WIDTH)))


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Ride:
    """One lane less its profile: its rider, board, course and noise."""

    course: Course
    rider_name: str
    rider: Rider
    board: Board
    noise_seed: int

    @property
    def name(self) -> str:
        """What to call the ride: its course and its rider."""
        return ride_name(self.course, self.rider_name)


def ride_name(course: Course, rider_name: str) -> str:
    """Return what a ride is called, and its noise seeded by."""
    return f"{course.name}/{rider_name}"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Rides:
    """Results of a batch.

    Attributes
    ----------
    metrics : (candidate, ride, metric) float64
        Columns are `plant.kernel.metrics.METRIC_NAMES`; finite, or NaN where a ride has nothing
        to measure, as said there.
    outcome : (candidate, ride) int8
        `plant.kernel.outcomes.Outcome` of each ride.
    """

    metrics: NDArray[np.float64]
    outcome: NDArray[np.int8]

    def column(self, name: str) -> NDArray[np.float64]:
        """Return one metric, (candidate, ride)."""
        column: NDArray[np.float64] = self.metrics[:, :, METRIC_NAMES.index(name)]
        return column


def script_table(course: Course) -> NDArray[np.float64]:
    """Return what the rider wants every 10 ms, (point, 6), as `lane_layout.SCRIPT_NAMES`."""
    manoeuvre = course.manoeuvre
    n_points = math.ceil(manoeuvre.duration_s / (SCRIPT_STEPS * DT_S)) + 2
    time_s: NDArray[np.float64] = np.arange(n_points, dtype=np.float64) * (SCRIPT_STEPS * DT_S)

    def flag(windows: Points) -> NDArray[np.float64]:
        inside = [(time_s >= start) & (time_s < end) for start, end in windows]
        return np.any(inside, axis=0).astype(float) if inside else np.zeros(n_points)

    tail_down = manoeuvre.start is Start.TAIL_DOWN
    rise = (time_s - manoeuvre.rise_at_s) / _RISE_TIME_S if tail_down else np.ones(n_points)
    return np.column_stack(
        [
            straight_lines(manoeuvre.speed_mps, time_s),
            np.radians(straight_lines(manoeuvre.turn_deg_per_s, time_s)),
            straight_lines(manoeuvre.headwind_mps, time_s),
            np.clip(rise, 0.0, 1.0),
            flag(manoeuvre.hold_s),
            flag(manoeuvre.count_s),
        ]
    )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tables:
    road: NDArray[np.float64]
    script: NDArray[np.float64]
    n_steps: int

    @property
    def start_grade_rad(self) -> float:
        return float(self.road[0, 2])


@functools.lru_cache(maxsize=ROADS_KEPT)
def _tables(course: Course, wheel: Wheel) -> _Tables:
    if course.part is None:
        return _laid(course, wheel)
    whole = dataclasses.replace(course, name="", title="", part=None)
    return _part(_last_laid(whole, wheel), course.part, n_steps=round(course.duration_s / DT_S))


def _laid(course: Course, wheel: Wheel) -> _Tables:
    script = script_table(course)
    # A ride that runs faster than wanted stays on the table for a while longer.
    reach_m = 1.25 * float(np.sum(np.abs(script[:, 0]))) * SCRIPT_STEPS * DT_S + 25.0
    road = road_table(
        course.road,
        wheel=wheel,
        length_m=reach_m,
        press_ratio=course.manoeuvre.press_ratio,
        seed=course.road_seed,
    )
    return _Tables(road=road, script=script, n_steps=round(course.duration_s / DT_S))


# The parts of one course come one after the other.
_last_laid = functools.lru_cache(maxsize=16)(_laid)


def _part(tables: _Tables, part: Part, *, n_steps: int) -> _Tables:
    """Return the part of a ride's tables on which it alone is ridden."""
    road = tables.road[round(part.from_m / TABLE_STEP_M) :].copy()
    road[:, 0] -= road[0, 0]  # a ride begins at rest on its road
    script = tables.script[round(part.from_s / (SCRIPT_STEPS * DT_S)) :].copy()
    return _Tables(road=road, script=script, n_steps=n_steps)


def n_roads_kept() -> int:
    """Return how many laid roads are kept for rides to come, at most `ROADS_KEPT`."""
    return _tables.cache_info().currsize


def _checked(profiles: NDArray[np.float64], rides: Sequence[Ride]) -> NDArray[np.float64]:
    profiles = np.ascontiguousarray(profiles, dtype=np.float64)
    if profiles.ndim != 2 or profiles.shape[1] != len(PROFILE_NAMES):
        raise ValueError(
            f"profiles must be (candidate, {len(PROFILE_NAMES)}), got shape {profiles.shape}"
        )
    if not np.isfinite(profiles).all():
        raise ValueError("profiles must be finite numbers")
    if not rides:
        raise ValueError("at least one ride is needed, got none")
    for ride in rides:
        if not 0 <= ride.noise_seed < 2**64:
            raise ValueError(f"{ride.name}: noise_seed must be 0 to 2**64 - 1")
        if ride.rider.skill.reflex_delay_s > _MAX_DELAY_S:
            raise ValueError(f"{ride.name}: reflex_delay_s must be at most {_MAX_DELAY_S:g} s")
    return profiles


@functools.lru_cache(maxsize=512)
def _template(ride: Ride, grade_rad: float, n_sub: int) -> NDArray[np.float64]:
    template = lane_template(
        ride.board,
        ride.rider,
        ride.course,
        noise_seed=ride.noise_seed,
        grade_rad=grade_rad,
        n_sub=n_sub,
    )
    template.setflags(write=False)
    return template


def _blocks(templates: NDArray[np.float64], profiles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return lanes' templates and profiles as blocks, (block, row * WIDTH), padded with the last.

    Each block's buffer is contiguous.
    """
    n_lanes = len(templates)
    n_blocks = -(-n_lanes // WIDTH)
    lanes = np.empty((N_ROWS, n_blocks * WIDTH))
    lanes[:, :n_lanes] = templates.T
    fill_profile(lanes[:, :n_lanes], profiles)
    lanes[:, n_lanes:] = lanes[:, n_lanes - 1 : n_lanes]
    blocks = lanes.reshape(N_ROWS, n_blocks, WIDTH).swapaxes(0, 1)
    return np.ascontiguousarray(blocks).reshape(n_blocks, -1)


def _lane_rows(blocks: NDArray[np.float64], name: str) -> NDArray[np.float64]:
    """Return one row of every lane of blocks, (lane,)."""
    first = R[name]
    return blocks[:, first : first + WIDTH].reshape(-1)


def _metrics(blocks: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the metrics of finished blocks, (lane, metric)."""

    def row(name: str) -> NDArray[np.float64]:
        return _lane_rows(blocks, name)

    def ratio(top: str, under: str, *, least: float = 0.0) -> NDArray[np.float64]:
        low = row(under)
        return np.divide(row(top), low, out=np.zeros(len(low)), where=low > least)

    tail_down = row("start_tail_rad") < 0.0
    measured = {
        "feel_deg_per_mps2": row("feel_square") > _LEAST_FEEL,
        "braking_feel_deg_per_mps2": row("braking_square") > _LEAST_FEEL,
        "start_jerk_mps3": tail_down & (row("engaged") > 0.5),
        "start_delay_s": tail_down,
    }
    values = {
        "ride_time_s": row("ride_time_s"),
        "distance_m": row("distance_m"),
        "hold_pitch_mean_deg": ratio("hold_pitch_deg_s", "hold_time_s"),
        "hold_pitch_most_deg": row("hold_pitch_most"),
        "hold_pitch_rms_deg": np.sqrt(ratio("hold_square_deg2_s", "hold_time_s")),
        "hold_pitch_rate_rms_deg_per_s": np.sqrt(ratio("hold_rate_square", "hold_time_s")),
        "excess_current_a": row("counted_excess_a"),
        "peak_current_a": row("peak_a"),
        "least_reserve_ratio": row("least_reserve"),
        "least_nose_margin_ratio": row("least_nose_margin"),
        "feel_deg_per_mps2": ratio("feel_product", "feel_square", least=_LEAST_FEEL),
        "braking_feel_deg_per_mps2": ratio("braking_product", "braking_square", least=_LEAST_FEEL),
        "tail_effort_ratio": row("tail_effort"),
        "start_jerk_mps3": row("start_jerk"),
        "start_delay_s": row("start_time_s"),
        "traction_peak_ratio": row("traction_peak"),
        "vibration_mps2": np.sqrt(ratio("vibration_square", "ride_time_s")),
        "energy_wh": row("energy_j") / 3600.0,
        "mosfet_peak_c": row("mosfet_peak"),
        "winding_peak_c": row("winding_peak"),
        "bus_high_v": row("bus_high"),
        "bus_low_v": row("bus_low"),
        "battery_peak_a": row("battery_peak"),
        "warning_time_s": row("warning_time"),
        "end_speed_mps": row("speed_mps"),
        "roll_back_mps": row("roll_back"),
    }
    table = np.column_stack([values[name] for name in METRIC_NAMES])
    # A lane that left the numbers is an ended ride; its last state is not a result.
    finite: NDArray[np.float64] = np.nan_to_num(table, nan=0.0, posinf=0.0, neginf=0.0)
    for name, known in measured.items():
        place = METRIC_NAMES.index(name)
        finite[~(known & np.isfinite(table[:, place])), place] = np.nan
    return finite


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Task:
    """Lanes of one course, `WIDTH` of them to a block."""

    tables: _Tables
    templates: NDArray[np.float64]
    profiles: NDArray[np.float64]


def _run(buffer: NDArray[np.float64], tables: _Tables, n_sub: int, probe: _Probe) -> None:
    """Ride a filled block along its course, in place."""
    ride_block(
        buffer, tables.road, TABLE_STEP_M, tables.script, tables.n_steps, n_sub, *probe
    )  # fmt: skip


def _ride_task(task: _Task, n_sub: int) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
    n_lanes = len(task.templates)
    blocks = _blocks(task.templates, task.profiles)
    for buffer in blocks:
        _run(buffer, task.tables, n_sub, _NO_PROBE)
    return _metrics(blocks)[:n_lanes], _lane_rows(blocks, "outcome")[:n_lanes].astype(np.int8)


def _ridden(
    tasks: Sequence[_Task], n_sub: int, n_jobs: int
) -> list[tuple[NDArray[np.float64], NDArray[np.int8]]]:
    """Ride all tasks on so many threads, and return their results in order."""
    ride = functools.partial(_ride_task, n_sub=n_sub)
    if n_jobs == 1:
        return [ride(task) for task in tasks]
    with ThreadPoolExecutor(n_jobs) as pool:
        return list(pool.map(ride, tasks))


def _groups(rides: Sequence[Ride]) -> Iterator[list[int]]:
    """Yield the indices of the rides that share a course and a tyre's size, longest first."""
    groups: dict[tuple[Course, float, float], list[int]] = {}
    for index, ride in enumerate(rides):
        wheel = ride.board.wheel
        key = (ride.course, wheel.wheel_radius_m, wheel.contact_length_m)
        groups.setdefault(key, []).append(index)
    yield from sorted(groups.values(), key=lambda group: -rides[group[0]].course.duration_s)


_MOST_BLOCKS_PER_TASK = 8
_TASKS_PER_THREAD = 8  # no thread waits long for the last


def _lanes_per_task(n_lanes: int, n_jobs: int) -> int:
    tasks = _TASKS_PER_THREAD * max(n_jobs, 1)
    return WIDTH * min(max(n_lanes // (WIDTH * tasks), 1), _MOST_BLOCKS_PER_TASK)


def simulate(
    profiles: NDArray[np.float64],
    rides: Sequence[Ride],
    *,
    n_jobs: int = 1,
    n_sub: int = 1,
    keep_roads: bool = True,
    device: Device = "cpu",
) -> Rides:
    """Ride every profile over every ride.

    Parameters
    ----------
    profiles : (candidate, parameter) float64
        In the order of `PROFILE_NAMES`.
    rides : sequence of Ride
    n_jobs : int
        Threads; the kernel releases the GIL.
    n_sub : int
        Plant sub-steps in each millisecond.
    keep_roads : bool
        Keep the laid roads, and the lanes at their start, for rides to come; False where these
        rides do not come again, so that memory does not grow with them.
    device : Device
        What simulates them; the results have the same bits.

    Returns
    -------
    Rides
        Metrics (candidate, ride, metric) and outcomes (candidate, ride).

    Raises
    ------
    ValueError
        Shapes, numbers or seeds are not what they must be.
    CudaMissingError
        The device is "cuda", which can not be used here.
    """
    require(device)
    if device == "cuda":
        raise CudaMissingError('device = "cuda" can not ride yet; device = "cpu" does')
    profiles = _checked(profiles, rides)
    lanes_per_task = _lanes_per_task(len(profiles) * len(rides), n_jobs)
    laid = _tables if keep_roads else _tables.__wrapped__
    template = _template if keep_roads else _template.__wrapped__
    lanes: list[NDArray[np.int64]] = []
    tasks: list[_Task] = []
    for group in _groups(rides):
        tables = laid(rides[group[0]].course, rides[group[0]].board.wheel)
        templates = np.stack(
            [template(rides[index], tables.start_grade_rad, n_sub) for index in group]
        )
        pairs = np.indices((len(group), len(profiles))).reshape(2, -1).T
        for start in range(0, len(pairs), lanes_per_task):
            part = pairs[start : start + lanes_per_task]
            tasks.append(
                _Task(tables=tables, templates=templates[part[:, 0]], profiles=profiles[part[:, 1]])
            )
            lanes.append(np.column_stack([part[:, 1], np.array(group)[part[:, 0]]]))
    results = _ridden(tasks, n_sub, n_jobs)
    metrics = np.empty((len(profiles), len(rides), len(METRIC_NAMES)))
    outcome = np.empty((len(profiles), len(rides)), dtype=np.int8)
    for place, (part_metrics, part_outcome) in zip(lanes, results, strict=True):
        metrics[place[:, 0], place[:, 1]] = part_metrics
        outcome[place[:, 0], place[:, 1]] = part_outcome
    return Rides(metrics=metrics, outcome=outcome)


def ride_lanes(
    profiles: NDArray[np.float64],
    ride: Ride,
    *,
    n_sub: int = 1,
    probe: tuple[tuple[int, ...], int] | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ride up to a block's width of profiles over one ride and return everything.

    Parameters
    ----------
    profiles : (candidate, parameter) float64
        At most `plant.kernel.lane_layout.WIDTH` candidates.
    ride : Ride
    n_sub : int
        Plant sub-steps in each millisecond.
    probe : tuple of rows and interval, optional
        Rows (as `plant.kernel.lane_layout.R.name`) to record every so many milliseconds.

    Returns
    -------
    buffer : (row * WIDTH,) float64
        The block after the ride.
    record : (sample, row, WIDTH) float64
        What was recorded; NaN after a lane's ride ended.
    """
    profiles = _checked(profiles, [ride])
    if len(profiles) > WIDTH:
        raise ValueError(f"at most {WIDTH} profiles ride in one block, got {len(profiles)}")
    tables = _tables(ride.course, ride.board.wheel)
    template = _template(ride, tables.start_grade_rad, n_sub)
    [buffer] = _blocks(np.repeat(template[None, :], len(profiles), axis=0), profiles)
    rows, every = probe if probe is not None else ((), 1)
    record = np.full((tables.n_steps // every if rows else 0, len(rows), WIDTH), np.nan)
    _run(buffer, tables, n_sub, (np.array(rows, dtype=np.int64), every, record))
    return buffer, record
