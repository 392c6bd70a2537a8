"""Rides on a GPU: lanes as the program takes them, and their metrics from what it gives back."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats
from plant.cuda.batch import RideBatch
from plant.cuda.launch import ride
from plant.cuda.program import Program
from plant.kernel.gpu_source import kernel_program
from plant.kernel.laid_group import LaidGroup
from plant.kernel.lane_init import fill_profile
from plant.kernel.lane_layout import N_ROWS, WIDTH, R
from plant.kernel.metrics import ACCUMULATOR_NAMES, lane_metrics

# Rows that a ride changes and `lane_metrics` reads.
END_ROWS = (*ACCUMULATOR_NAMES, "distance_m", "speed_mps", "engaged")


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
        There is no GPU here, or no library for it.
    """
    program = kernel_program(END_ROWS, n_sub)
    templates = np.concatenate([group.templates for group in groups])
    ends = ride(program, ride_batch(program, profiles, groups))
    shape = ends.shape[1:]

    def row(name: str) -> Floats:
        ended = name in program.end_rows
        rows = ends[program.end_rows.index(name)] if ended else templates[:, R[name] // WIDTH]
        of_lanes: Floats = np.broadcast_to(rows, shape).ravel()
        return of_lanes

    back = np.argsort(np.concatenate([group.places for group in groups]))
    metrics = lane_metrics(row).reshape(*shape, -1)
    return metrics[:, back], row("outcome").reshape(shape).astype(np.int8)[:, back]


def ride_batch(program: Program, profiles: Floats, groups: Sequence[LaidGroup]) -> RideBatch:
    """Return what a program rides: all profiles over the rides of all groups, one after another."""
    of_profile = np.zeros((N_ROWS, len(profiles)))
    fill_profile(of_profile, profiles)
    templates = np.concatenate([group.templates for group in groups])
    tables = [group.tables for group in groups for _ in group.places]
    return RideBatch(
        rides=templates.T[_numbers(program.ride_rows)],
        profiles=of_profile[_numbers(program.profile_rows)],
        tables=tuple((one.road, one.script) for one in tables),
        n_steps=np.array([one.n_steps for one in tables], dtype=np.intp),
    )


def _numbers(names: Sequence[str]) -> list[int]:
    return [R[name] // WIDTH for name in names]
