"""The one door to the kernel: profiles and rides in, metrics or traces out.

A ride's result depends on its own profile, rider, board, course and seed: never on which other
rides share its batch, their order, or the number of threads.
"""

import dataclasses
import functools
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.constants import DT_S
from plant.description.board import Board, Wheel
from plant.description.course import Course
from plant.description.profile_array import PROFILE_NAMES
from plant.description.quantity import quantities
from plant.description.rider import Rider
from plant.device import Device, require
from plant.kernel.course_tables import CourseTables, course_tables
from plant.kernel.laid_group import LaidGroup
from plant.kernel.lane_init import fill_profile, lane_templates
from plant.kernel.lane_layout import N_ROWS, RING_SLOTS, RING_STEPS, WIDTH, R
from plant.kernel.metrics import METRIC_NAMES, lane_metrics
from plant.kernel.ride_block import ride_block
from plant.kernel.ride_columns import RideColumns, columns_of
from plant.kernel.ride_on_gpu import bring_to_gpu, ride_on_gpu
from plant.kernel.road import TABLE_STEP_M

_MAX_DELAY_S = (RING_SLOTS - 1) * RING_STEPS * DT_S
_WHEEL_NAMES = tuple(declared.name for declared in quantities(Wheel))
_LINE_BYTES = 64  # of a cache: of every x86-64 processor today
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

    def of(self, candidate: int) -> "Rides":
        """Return the results of one candidate, still with its axis."""
        own = slice(candidate, candidate + 1)
        return Rides(metrics=self.metrics[own], outcome=self.outcome[own])

    def over(self, rides: slice) -> "Rides":
        """Return the results over some of the rides."""
        return Rides(metrics=self.metrics[:, rides], outcome=self.outcome[:, rides])


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidRides:
    """Rides with their roads laid: all that the kernel needs of them beside the profiles.

    Attributes
    ----------
    groups : tuple of LaidGroup
        Each ride is in one of them.
    n_sub : int
        Plant sub-steps in each millisecond for which they are laid.
    """

    groups: tuple[LaidGroup, ...]
    n_sub: int

    def __len__(self) -> int:
        return sum(len(group.places) for group in self.groups)

    def only(self, places: NDArray[np.intp]) -> "LaidRides":
        """Return some of the rides, in another order."""
        at = np.full(len(self), -1)
        at[places] = np.arange(len(places))
        kept = ((group, at[group.places] >= 0) for group in self.groups)
        groups = tuple(
            dataclasses.replace(
                group, places=at[group.places[some]], templates=group.templates[some]
            )
            for group, some in kept
            if some.any()
        )
        return dataclasses.replace(self, groups=groups)


def lay(
    rides: Sequence[Ride] | RideColumns, *, n_sub: int = 1, keep_roads: bool = True
) -> LaidRides:
    """Return rides with their roads laid, in the order in which they are given.

    Parameters
    ----------
    rides : sequence of Ride, or RideColumns
    n_sub, keep_roads
        As of `simulate`.

    Raises
    ------
    ValueError
        There are none, or a seed or a delay is not what it must be.
    """
    columns = rides if isinstance(rides, RideColumns) else _columns(rides)
    _check_delays(columns)
    tables_of = course_tables if keep_roads else course_tables.__wrapped__
    tables, places = [], _groups(columns)
    for place, *_ in places:
        tables.append(tables_of(columns.courses[columns.course_of[place]], _wheel(columns, place)))
    grade_rad = np.empty(len(columns))
    for one, own in zip(tables, places, strict=True):
        grade_rad[own] = one.start_grade_rad
    templates = lane_templates(columns, grade_rad=grade_rad, n_sub=n_sub)
    groups = tuple(
        LaidGroup(tables=one, places=np.array(own, dtype=np.int64), templates=templates[own])
        for one, own in zip(tables, places, strict=True)
    )
    return LaidRides(groups=groups, n_sub=n_sub)


def laid_together(parts: Sequence[LaidRides]) -> LaidRides:
    """Return the rides of some parts as one, those of the first part first.

    Parameters
    ----------
    parts : sequence of LaidRides
        One or more, laid for the same sub-steps.
    """
    firsts = np.cumsum([0, *map(len, parts)])
    groups = tuple(
        dataclasses.replace(group, places=group.places + first)
        for part, first in zip(parts, firsts[:-1], strict=True)
        for group in part.groups
    )
    return LaidRides(groups=groups, n_sub=parts[0].n_sub)


def bring(parts: Sequence[LaidRides], device: Device) -> None:
    """Bring the roads of laid rides to a device that will ride them, while it rides others.

    Nothing but time changes where this is left out. Any thread may call it.
    """
    if device == "cuda":
        bring_to_gpu([group for part in parts for group in part.groups])


def _columns(rides: Sequence[Ride]) -> RideColumns:
    if not rides:
        raise ValueError("at least one ride is needed, got none")
    for ride in rides:
        if not 0 <= ride.noise_seed < 2**64:
            raise ValueError(f"{ride.name}: noise_seed must be 0 to 2**64 - 1")
    return columns_of((ride.course, ride.board, ride.rider, ride.noise_seed) for ride in rides)


def _check_delays(rides: RideColumns) -> None:
    late = np.flatnonzero(rides.numbers["reflex_delay_s"] > _MAX_DELAY_S)
    if len(late):
        name = rides.courses[rides.course_of[late[0]]].name
        raise ValueError(f"{name}: reflex_delay_s must be at most {_MAX_DELAY_S:g} s")


def _groups(rides: RideColumns) -> list[list[int]]:
    """Return the indices of the rides that share a course and a tyre's size."""
    groups: dict[tuple[int, float, float], list[int]] = {}
    keys = (
        rides.course_of.tolist(),
        rides.numbers["wheel_radius_m"].tolist(),
        rides.numbers["contact_length_m"].tolist(),
    )
    for place, key in enumerate(zip(*keys, strict=True)):
        groups.setdefault(key, []).append(place)
    return list(groups.values())


def _wheel(rides: RideColumns, place: int) -> Wheel:
    return Wheel(**{name: float(rides.numbers[name][place]) for name in _WHEEL_NAMES})


def _checked(profiles: NDArray[np.float64]) -> NDArray[np.float64]:
    profiles = np.ascontiguousarray(profiles, dtype=np.float64)
    if profiles.ndim != 2 or profiles.shape[1] != len(PROFILE_NAMES):
        raise ValueError(
            f"profiles must be (candidate, {len(PROFILE_NAMES)}), got shape {profiles.shape}"
        )
    if not np.isfinite(profiles).all():
        raise ValueError("profiles must be finite numbers")
    return profiles


def _blocks(templates: NDArray[np.float64], profiles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return lanes' templates and profiles as blocks, (block, row * WIDTH), padded with the last.

    Each block's buffer is contiguous, and begins with a line of the processor's cache: a register
    of eight lanes that lies across two lines takes two reads.
    """
    n_lanes = len(templates)
    n_blocks = -(-n_lanes // WIDTH)
    lanes = np.empty((N_ROWS, n_blocks * WIDTH))
    lanes[:, :n_lanes] = templates.T
    fill_profile(lanes[:, :n_lanes], profiles)
    lanes[:, n_lanes:] = lanes[:, n_lanes - 1 : n_lanes]
    blocks = _on_a_line(n_blocks * N_ROWS * WIDTH).reshape(n_blocks, N_ROWS, WIDTH)
    blocks[...] = lanes.reshape(N_ROWS, n_blocks, WIDTH).swapaxes(0, 1)
    return blocks.reshape(n_blocks, -1)


def _on_a_line(size: int) -> NDArray[np.float64]:
    """Return memory for so many numbers that begins with a line of the processor's cache."""
    spare = np.empty(size + _LINE_BYTES // 8 - 1)
    first = -spare.ctypes.data % _LINE_BYTES // 8
    return spare[first : first + size]


def _lane_rows(blocks: NDArray[np.float64], name: str) -> NDArray[np.float64]:
    """Return one row of every lane of blocks, (lane,)."""
    first = R[name]
    return blocks[:, first : first + WIDTH].reshape(-1)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Task:
    """Lanes of one course, `WIDTH` of them to a block."""

    tables: CourseTables
    templates: NDArray[np.float64]
    profiles: NDArray[np.float64]


def _run(buffer: NDArray[np.float64], tables: CourseTables, n_sub: int, probe: _Probe) -> None:
    """Ride a filled block along its course, in place."""
    ride_block(
        buffer, tables.road, TABLE_STEP_M, tables.script, tables.n_steps, n_sub, *probe
    )  # fmt: skip


def _ride_task(task: _Task, n_sub: int) -> tuple[NDArray[np.float64], NDArray[np.int8]]:
    n_lanes = len(task.templates)
    blocks = _blocks(task.templates, task.profiles)
    for buffer in blocks:
        _run(buffer, task.tables, n_sub, _NO_PROBE)
    metrics = lane_metrics(functools.partial(_lane_rows, blocks))
    return metrics[:n_lanes], _lane_rows(blocks, "outcome")[:n_lanes].astype(np.int8)


def _ridden(
    tasks: Sequence[_Task], n_sub: int, n_jobs: int
) -> list[tuple[NDArray[np.float64], NDArray[np.int8]]]:
    """Ride all tasks on so many threads, and return their results in order."""
    ride = functools.partial(_ride_task, n_sub=n_sub)
    if n_jobs == 1:
        return [ride(task) for task in tasks]
    with ThreadPoolExecutor(n_jobs) as pool:
        return list(pool.map(ride, tasks))


_MOST_BLOCKS_PER_TASK = 8
_TASKS_PER_THREAD = 8  # no thread waits long for the last


def _lanes_per_task(n_lanes: int, n_jobs: int) -> int:
    tasks = _TASKS_PER_THREAD * max(n_jobs, 1)
    return WIDTH * min(max(n_lanes // (WIDTH * tasks), 1), _MOST_BLOCKS_PER_TASK)


def simulate(
    profiles: NDArray[np.float64],
    rides: Sequence[Ride] | RideColumns | LaidRides,
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
    rides : sequence of Ride, RideColumns, or LaidRides
    n_jobs : int
        Threads; the kernel releases the GIL.
    n_sub : int
        Plant sub-steps in each millisecond; of laid rides, those for which they are laid.
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
        The device is "cuda", which can not be used here, or has too little memory.
    """
    require(device)
    profiles = _checked(profiles)
    laid = rides if isinstance(rides, LaidRides) else lay(rides, n_sub=n_sub, keep_roads=keep_roads)
    if device == "cuda" and len(profiles) * len(laid) > 0:  # a GPU launches nothing of no lanes
        metrics, outcome = ride_on_gpu(profiles, laid.groups, n_sub=laid.n_sub)
        return Rides(metrics=metrics, outcome=outcome)
    lanes_per_task = _lanes_per_task(len(profiles) * len(laid), n_jobs)
    lanes: list[NDArray[np.int64]] = []
    tasks: list[_Task] = []
    # The longest first: no thread waits long for the last.
    for group in sorted(laid.groups, key=lambda group: -group.tables.n_steps):
        pairs = np.indices((len(group.places), len(profiles))).reshape(2, -1).T
        for start in range(0, len(pairs), lanes_per_task):
            place, candidate = pairs[start : start + lanes_per_task].T
            tasks.append(
                _Task(
                    tables=group.tables,
                    templates=group.templates[place],
                    profiles=profiles[candidate],
                )
            )
            lanes.append(np.column_stack([candidate, group.places[place]]))
    results = _ridden(tasks, laid.n_sub, n_jobs)
    metrics = np.empty((len(profiles), len(laid), len(METRIC_NAMES)))
    outcome = np.empty((len(profiles), len(laid)), dtype=np.int8)
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
    profiles = _checked(profiles)
    if len(profiles) > WIDTH:
        raise ValueError(f"at most {WIDTH} profiles ride in one block, got {len(profiles)}")
    [group] = lay([ride], n_sub=n_sub).groups
    tables = group.tables
    [buffer] = _blocks(np.repeat(group.templates, len(profiles), axis=0), profiles)
    rows, every = probe if probe is not None else ((), 1)
    record = np.full((tables.n_steps // every if rows else 0, len(rows), WIDTH), np.nan)
    _run(buffer, tables, n_sub, (np.array(rows, dtype=np.int64), every, record))
    return buffer, record
