"""The compiled entry point: ride one block of lanes along one course."""

import numpy as np
from numpy.typing import NDArray

from plant.compile import kernel, scalar
from plant.constants import DT_S
from plant.kernel.lane_layout import WIDTH, Block, R
from plant.kernel.measure import measure
from plant.kernel.step import (
    SLOW_STEPS,
    control,
    look_ahead,
    move,
    remember,
    renew,
    ride,
    sense,
    stand_on,
)

SCRIPT_STEPS = 10  # the script holds one point every 10 ms


@scalar
def _living(b: Block) -> float:
    count = 0.0
    for k in range(WIDTH):
        count += b[R.alive + k]
    return count


@kernel
def ride_block(
    b: Block,
    road: Block,
    road_step: float,
    script: Block,
    n_steps: int,
    n_sub: int,
    probe_rows: NDArray[np.int64],
    probe_every: int,
    probe: Block,
) -> None:
    """Ride every lane of a block, in place.

    Parameters
    ----------
    b : (row * WIDTH,) float64
        The block's buffer, laid out by `plant.kernel.lane_layout`, filled with initial values.
    road : (point, 7) float64
        Road columns every `road_step` m.
    script : (point, 6) float64
        Manoeuvre columns every 10 ms; straight lines in between, flags held.
    n_steps : int
        Steps of 1 ms.
    n_sub : int
        Plant sub-steps within each step.
    probe_rows : (signal,) int64
        Rows to record, as `R.name`; empty for none.
    probe_every : int
        Record every so many steps.
    probe : (sample, signal, WIDTH) float64
        Where to record; NaN once a lane's ride has ended.
    """
    sub_dt = DT_S / n_sub
    for step in range(n_steps):
        cell = step // SCRIPT_STEPS
        share = (step - cell * SCRIPT_STEPS) / SCRIPT_STEPS
        speed = script[cell, 0] + share * (script[cell + 1, 0] - script[cell, 0])
        turn = script[cell, 1] + share * (script[cell + 1, 1] - script[cell, 1])
        headwind = script[cell, 2] + share * (script[cell + 1, 2] - script[cell, 2])
        rise = script[cell, 3] + share * (script[cell + 1, 3] - script[cell, 3])
        if step % SLOW_STEPS == 0:
            if _living(b) == 0.0:
                break
            renew(b)
        stand_on(b, road, road_step)
        look_ahead(b, road, road_step, step)
        sense(b, step)
        control(b)
        ride(b, speed, rise)
        remember(b, step)
        for sub in range(n_sub):
            if sub > 0:
                stand_on(b, road, road_step)
            move(b, sub_dt, turn, headwind)
        measure(b, script[cell, 4], script[cell, 5], rise)
        if probe_rows.shape[0] > 0 and step % probe_every == probe_every - 1:
            sample = step // probe_every
            for signal in range(probe_rows.shape[0]):
                for k in range(WIDTH):
                    value = b[probe_rows[signal] + k]
                    probe[sample, signal, k] = value if b[R.alive + k] > 0.5 else np.nan
