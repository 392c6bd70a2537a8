"""The segment of a log that is ridden again: its time, its speeds and the heights of its route."""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from optimizer.base.errors import LogError, UserInputError, caused_by
from optimizer.ridelog.fits.road import grade_from_load, grade_sine
from optimizer.ridelog.fits.robust_fit import Fit
from optimizer.study.log_data.mapping import LogMapping
from optimizer.study.log_data.resampling import RideLog
from optimizer.study.log_data.rolling import distance_m, rolling_stretches, speed_points
from plant.arrays import Floats

LONGEST_S = 300.0
_SHORTEST_S = 20.0
_STEP_M = 5.0
_BEYOND_M = 60.0  # level ground behind the end, for a ride that runs faster


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segment:
    """What was ridden.

    Attributes
    ----------
    samples : (sample,) int64
        Its samples in the log.
    speed_points : tuple of (time s, speed m/s)
        From its start.
    distance_m, height_m : (point,) float64
        Its route, heights from its start.
    heights_from : str
        Where the heights come from.
    """

    samples: NDArray[np.int64]
    speed_points: tuple[tuple[float, float], ...]
    distance_m: Floats
    height_m: Floats
    heights_from: str


@caused_by(LogError)
def ridden_segment(log: RideLog, mapping: LogMapping, road: Fit | str) -> Segment:
    """Return the longest segment without a gap in which the board rolls, cut to `LONGEST_S`.

    Raises
    ------
    UserInputError
        The log has no wheel speed, or never rolls for long enough.
    """
    if not log.has("speed_mps"):
        raise UserInputError(
            f"{mapping.path}: columns.speed_mps: is needed to ride the log again; name the column"
        )
    speed = log.signals["speed_mps"]
    start, end = max(rolling_stretches(log), key=lambda ends: ends[1] - ends[0], default=(0, 0))
    if (end - start) * log.dt_s < _SHORTEST_S:
        raise UserInputError(
            f"{mapping.path}: the log never rolls forward for {_SHORTEST_S:g} s without a gap;"
            " record a longer ride, or check the sign and unit of columns.speed_mps"
        )
    samples = np.arange(start, min(end, start + round(LONGEST_S / log.dt_s)))
    sine, heights_from = _grade(log, mapping, road)
    along = distance_m(log)[samples]
    along = along - along[0]
    height = np.cumsum(sine[samples] * speed[samples]) * log.dt_s
    n_points = max(round(float(along[-1]) / _STEP_M), 2) + 1
    places = np.linspace(0.0, float(along[-1]), n_points)
    heights = np.interp(places, along, height - height[0])
    return Segment(
        samples=samples,
        speed_points=speed_points(speed[samples], log.dt_s),
        distance_m=np.append(places, places[-1] + _BEYOND_M),
        height_m=np.append(heights, heights[-1]),
        heights_from=heights_from,
    )


def _grade(log: RideLog, mapping: LogMapping, road: Fit | str) -> tuple[Floats, str]:
    sine = grade_sine(log)
    if sine is not None:
        return sine, "the altitude in the log"
    if isinstance(road, str):
        return np.zeros_like(log.time_s), "nothing: the log holds no heights, so the road is level"
    residual = grade_from_load(road, mapping.board, mapping.rider_mass_kg)
    return (
        np.interp(log.time_s, road.time_s, residual),
        "the load that current and speed leave unexplained; its mean is in the rolling resistance",
    )
