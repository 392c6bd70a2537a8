"""The kernel as a program for a GPU: what its parameters, names and rows are there."""

import functools
import types

import numpy as np

from plant.cuda.program import Program, program
from plant.cuda.source import DEFAULT, Choices, Source
from plant.cuda.values import INT, Code, LaneRows, Static, Table, Value
from plant.description.cells import CELL_INTERVALS
from plant.description.profile_array import PROFILE_NAMES
from plant.kernel.lane_layout import (
    RING_SLOTS,
    ROAD_NAMES,
    SCRIPT_NAMES,
    STATE_NAMES,
    TUNED_NAMES,
    WIDTH,
    R,
)
from plant.kernel.metrics import ACCUMULATOR_NAMES
from plant.kernel.ride_block import ride_block
from plant.kernel.road import TABLE_STEP_M

ROW_NAMES = tuple(row.name for row in R)


def kernel_source(n_sub: int) -> Source:
    """Return the kernel for lanes by themselves, with so many plant sub-steps a millisecond."""
    arguments: dict[str, Value] = {
        "b": LaneRows(),
        "road": Table("road", len(ROAD_NAMES)),
        "road_step": Static(TABLE_STEP_M),
        "script": Table("script", len(SCRIPT_NAMES)),
        "n_steps": Code("n_steps", INT),
        "n_sub": Static(n_sub),
        # Nothing is recorded: traces are the processor's.
        "probe_rows": Static(np.zeros(0, dtype=np.int64)),
        "probe_every": Static(1),
        "probe": Static(None),
    }
    rows = types.SimpleNamespace(**{name: row for row, name in enumerate(ROW_NAMES)})
    ring, cell = R.ring_0 // WIDTH, R.rest_0_v // WIDTH
    return Source(
        entry=ride_block,
        arguments=tuple(arguments.values()),
        names={"WIDTH": 1, "R": rows},
        rows=ROW_NAMES,
        profile_rows=frozenset(PROFILE_NAMES + TUNED_NAMES),
        kept_rows=frozenset(STATE_NAMES + ACCUMULATOR_NAMES),
        ring=range(ring, ring + RING_SLOTS),
        looked_up=range(cell, cell + CELL_INTERVALS + 1),
    )


@functools.lru_cache(maxsize=8)
def kernel_program(
    end_rows: tuple[str, ...], n_sub: int = 1, choices: Choices = DEFAULT
) -> Program:
    """Return the kernel's program for a GPU, which gives back some rows of each lane."""
    return program(kernel_source(n_sub), end_rows, choices)
