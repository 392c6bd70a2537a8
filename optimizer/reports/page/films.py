"""A simulated ride as the page's script gets it: its signals, and its side view to be moved."""

import dataclasses
from typing import Any, TypeAlias

import numpy as np

from optimizer.reports.film.side_view import (
    FRAME_STEPS,
    GROUND_STEP_M,
    SideView,
    nose_clearance_m,
    side_view,
)
from optimizer.reports.page.encoding import Packed, quantised
from plant.constants import DT_S
from plant.kernel.simulate import Ride
from plant.kernel.trace import Trace

Filmed: TypeAlias = dict[str, Any]

SIGNALS = (
    "pitch_deg",
    "wanted_pitch_deg",
    "nose_clearance_cm",
    "current_a",
    "available_current_a",
    "speed_mps",
    "wanted_speed_mps",
    "warning_lift_deg",
)
POSES = (
    "axle_x_m",
    "axle_z_m",
    "camera_z_m",
    "pitch_deg",
    "lean_deg",
    "wheel_deg",
    "ankle_x_m",
    "ankle_z_m",
    "hip_x_m",
    "hip_z_m",
)
TRACE_STEPS = 20  # ms from one sample to the next; every second is a frame
_SAMPLES_OF_A_FRAME = FRAME_STEPS // TRACE_STEPS
_DIGITS = 4  # of the parts' corners, in m

FILM_FACTS = {
    "signals": SIGNALS,
    "trace_step_s": TRACE_STEPS * DT_S,
    "poses": POSES,
    "frame_s": FRAME_STEPS * DT_S,
    "ground_step_m": GROUND_STEP_M,
}


def samples_ridden(ridden: Trace) -> int:
    """Return how many samples a trace has until its ride ended."""
    return int(np.count_nonzero(~np.isnan(ridden.pitch_deg)))


def filmed(ride: Ride, ridden: Trace, *, samples: slice = slice(None)) -> Filmed:
    """Return a ride with its signals, (signal, sample), and its side view, in short numbers.

    Parameters
    ----------
    ride : Ride
    ridden : Trace
        Of that ride, with a sample every `TRACE_STEPS`. NaN after the ride ended stays NaN.
    samples : slice, optional
        What of it is shown, from an even sample on; all if not given.
    """
    ridden = _samples(ridden, samples)
    board = ride.board
    clearance = nose_clearance_m(ridden.ground_pitch_deg, wheel=board.wheel, frame=board.frame)
    signals = [
        100.0 * clearance if name == "nose_clearance_cm" else getattr(ridden, name)
        for name in SIGNALS
    ]
    view = side_view(
        ride, _samples(ridden, slice(_SAMPLES_OF_A_FRAME - 1, None, _SAMPLES_OF_A_FRAME))
    )
    return {
        "from_s": float(ridden.time_s[0]) - TRACE_STEPS * DT_S if len(ridden.time_s) else 0.0,
        "signals": quantised(np.stack(signals)),
        "poses": _poses(view),
        "n_frames": view.n_frames,
        "ground": quantised(view.ground_m[None, :]),
        "ground_from_m": round(view.ground_from_m, _DIGITS),
        "posts": view.posts_m.round(_DIGITS).tolist(),
        "board": _rounded(view.board),
        "rider": _rounded(view.rider),
        "ended": ridden.outcome.message,
    }


def _samples(ridden: Trace, samples: slice) -> Trace:
    """Return some samples of a trace."""
    signals = [field.name for field in dataclasses.fields(ridden) if field.name != "outcome"]
    return dataclasses.replace(ridden, **{name: getattr(ridden, name)[samples] for name in signals})


def _poses(view: SideView) -> Packed:
    """Return where the parts are, (pose, frame)."""
    rows = (
        *view.axle_m.T,
        view.camera_height_m,
        view.pitch_deg,
        view.lean_deg,
        view.wheel_deg,
        *view.ankle_m.T,
        *view.hip_m.T,
    )
    return quantised(np.stack(rows))


def _rounded(shape: Any) -> dict[str, Any]:
    return {
        field.name: np.round(getattr(shape, field.name), _DIGITS).tolist()
        for field in dataclasses.fields(shape)
    }
