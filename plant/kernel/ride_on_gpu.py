"""Rides on a GPU: lanes as the program takes them, and their metrics from what it gives back."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats
from plant.cuda.batch import RideBatch
from plant.cuda.launch import bring, ride
from plant.kernel.gpu_source import kernel_program
from plant.kernel.laid_group import LaidGroup
from plant.kernel.lane_init import fill_profile
from plant.kernel.lane_layout import N_ROWS, STATE_NAMES, WIDTH, R
from plant.kernel.metrics import ACCUMULATOR_NAMES, lane_metrics


def _end_rows() -> tuple[str, ...]:
    """Return the rows that a ride changes and `lane_metrics` reads, and the outcome."""
    names: set[str] = set()

    def read(name: str) -> Floats:
        names.add(name)
        return np.zeros(1)

    lane_metrics(read)
    changed = {*STATE_NAMES, *ACCUMULATOR_NAMES}
    return tuple(sorted((names & changed) | {"outcome"}))


END_ROWS = _end_rows()


def ride_on_gpu(
    profiles: Floats, groups: Sequence[LaidGroup], *, n_sub: int
) -> tuple[Floats, NDArray[np.int8]]:
    """Return metrics (candidate, ride, metric) and outcomes (candidate, ride) of all pairs.

    Parameters
    ----------
    profiles : (candidate, parameter) float64
    groups : sequence of LaidGroup
        The rides; results stand at their places.
    n_sub : int
        Plant sub-steps in each millisecond.

    Raises
    ------
    CudaMissingError
        There is no GPU here, no library for it, or too little of its memory.
    """
    program = kernel_program(END_ROWS, n_sub)
    batch = ride_batch(profiles, groups)
    ends = ride(program, batch)
    shape = ends.shape[1:]

    def row(name: str) -> Floats:
        ended = name in program.end_rows
        rows = ends[program.end_rows.index(name)] if ended else batch.rides[:, R[name] // WIDTH]
        of_lanes: Floats = np.broadcast_to(rows, shape).ravel()
        return of_lanes

    back = np.argsort(np.concatenate([group.places for group in groups]))
    metrics = lane_metrics(row).reshape(*shape, -1)
    return metrics[:, back], row("outcome").reshape(shape).astype(np.int8)[:, back]


def bring_to_gpu(groups: Sequence[LaidGroup]) -> None:
    """Bring the tables of rides to the GPU that will ride them soon; see `plant.cuda.launch.bring`.

    Raises
    ------
    CudaMissingError
        As of `ride_on_gpu`.
    """
    bring([table for group in groups for table in (group.tables.road, group.tables.script)])


def ride_batch(profiles: Floats, groups: Sequence[LaidGroup]) -> RideBatch:
    """Return what a program rides: all profiles over the rides of all groups, one after another."""
    of_profile = np.zeros((N_ROWS, len(profiles)))
    fill_profile(of_profile, profiles)
    sizes = [len(group.places) for group in groups]
    return RideBatch(
        rides=np.concatenate([group.templates for group in groups]),
        profiles=of_profile.T,
        tables=[(group.tables.road, group.tables.script) for group in groups],
        table_of=np.repeat(np.arange(len(groups)), sizes),
        n_steps=np.repeat([group.tables.n_steps for group in groups], sizes),
    )
