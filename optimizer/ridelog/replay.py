"""The ridden segment again in the plant: predicted against measured, scored, and what misfits."""

import dataclasses
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from optimizer.base.errors import LogError
from optimizer.ridelog.ridden_segment import Segment
from optimizer.ridelog.study_from_log import COURSE
from optimizer.study.log_data.resampling import RideLog
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.constants import DEG_PER_RAD
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.trace import Trace, trace

MEAN_S = 1.0  # a rider's own swaying can not be predicted; means over a second can
_CHANNELS = (
    ("speed_mps", "speed_mps", "m/s", 1.0),
    ("pitch_rad", "pitch_deg", "deg", DEG_PER_RAD),
    ("current_a", "current_a", "A", 1.0),
    ("bus_v", "bus_v", "V", 1.0),
)
_LONGEST_LAG_S = 5.0
_FOLLOWS = 0.7  # assumed: correlation from which a signal is called predicted
_OFFSET_SHARE = 0.5  # assumed: mean difference over the measured spread
_FEWEST_WINDOWS = 3  # assumed: fewer means have no spread to speak of
_STILL = 1e-9  # in the signal's unit: what moves less does not move
_SPREAD = 1.5  # assumed: ratio of spreads that is called alike


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared:
    """One signal, measured and predicted, as means over `MEAN_S`.

    Attributes
    ----------
    name, unit : str
    time_s, measured, predicted : (window,) float64
    rms : float
        Of predicted less measured.
    offset : float
        Mean of predicted less measured.
    spread : float
        Standard deviation of the measured.
    spread_ratio : float
        Standard deviation of the predicted over that.
    correlation : float
        NaN where either does not move, as is the ratio of spreads where the measured does not. All
        five are NaN where fewer than three windows are in both.
    """

    name: str
    unit: str
    time_s: Floats
    measured: Floats
    predicted: Floats
    rms: float
    offset: float
    spread: float
    spread_ratio: float
    correlation: float

    def in_words(self) -> str:
        """Return the scores as a phrase."""
        if math.isnan(self.rms):
            return (
                f"can not be compared: {len(self.time_s)} s of it are in both, and"
                f" {_FEWEST_WINDOWS} are needed"
            )
        defined = not math.isnan(self.correlation)
        correlation = f"{self.correlation:.2f}" if defined else "not defined"
        return (
            f"rms difference {self.rms:.3g} {self.unit}, mean {self.offset:+.3g},"
            f" measured spread {self.spread:.3g}, correlation {correlation}"
        )

    def misfits(self) -> Iterator[str]:
        """Yield what does not fit or can not be compared, in plain words."""
        if math.isnan(self.rms):
            yield f"{self.name} {self.in_words()}"
            return
        if math.isnan(self.correlation):
            yield (
                f"{self.name} can not be followed: it does not move in the log or in the prediction"
            )
        if self.correlation < _FOLLOWS:
            yield (
                f"{self.name} does not follow the log (correlation {self.correlation:.2f}):"
                " route, speeds or the controller's slow settings differ"
            )
        if abs(self.offset) > _OFFSET_SHARE * self.spread:
            yield (
                f"{self.name} is {abs(self.offset):.3g} {self.unit}"
                f" {'above' if self.offset > 0.0 else 'below'} the log on average"
            )
        if self.spread_ratio < 1.0 / _SPREAD or self.spread_ratio > _SPREAD:
            yield (
                f"{self.name} moves {self.spread_ratio:.2g} times as much as in the log:"
                " rider, roughness or damping differ"
            )


def replayed(study: Study) -> Trace:
    """Ride the study's ridden course with its baseline.

    Raises
    ------
    UserInputError
        The study has no such course.
    """
    for ride in study.rides:
        if ride.course.name == COURSE:
            return trace(profile_to_array(study.baseline), ride, every_steps=10)
    raise LogError(
        f"{study.folder}: the study has no course {COURSE!r}; make one with: levelgain log use"
    )


def speed_lag_s(log: RideLog, segment: Segment, ridden: Trace) -> float:
    """Return by how much the predicted speed comes after the measured one, in s.

    The log holds the speed that was reached, not the one that was wanted before. The plant's rider
    takes it for the wanted one and reaches it later.
    """
    if not log.has("speed_mps"):
        return 0.0
    measured = log.signals["speed_mps"][segment.samples]
    time_s = (np.arange(len(measured)) + 1.0) * log.dt_s
    best, found = -np.inf, 0.0
    for lag_s in np.arange(0.0, _LONGEST_LAG_S, 0.1):
        predicted = np.interp(time_s + lag_s, ridden.time_s, ridden.speed_mps, right=np.nan)
        good = np.isfinite(measured + predicted)
        if np.count_nonzero(good) < 0.5 * len(good):
            break
        alike = -float(np.mean((predicted[good] - measured[good]) ** 2))
        if alike > best:
            best, found = alike, float(lag_s)
    return found


def compare(log: RideLog, segment: Segment, ridden: Trace, *, lag_s: float = 0.0) -> list[Compared]:
    """Return every signal that both the log and the plant have.

    Parameters
    ----------
    log : RideLog
    segment : Segment
    ridden : Trace
        Its time counts from the start of the segment.
    lag_s : float
        How much later the prediction is read, as `speed_lag_s` finds it.
    """
    dt_s = log.dt_s
    width = max(round(MEAN_S / dt_s), 1)
    n_windows = min(len(segment.samples), int((ridden.time_s[-1] - lag_s) / dt_s)) // width
    time_s = (np.arange(n_windows * width) + 1.0) * dt_s
    found = []
    for channel, field, unit, factor in _CHANNELS:
        if not log.has(channel):
            continue
        measured = factor * log.signals[channel][segment.samples][: n_windows * width]
        predicted = np.interp(time_s + lag_s, ridden.time_s, getattr(ridden, field))
        means = [
            values.reshape(n_windows, width).mean(axis=1)
            for values in (time_s, measured, predicted)
        ]
        found.append(_scored(field, unit, *means))
    return found


def _scored(name: str, unit: str, time_s: Floats, measured: Floats, predicted: Floats) -> Compared:  # noqa: PLR0917 (three signals of one shape)
    good = np.isfinite(measured + predicted)
    time_s, measured, predicted = time_s[good], measured[good], predicted[good]
    apart = predicted - measured
    if len(apart) < _FEWEST_WINDOWS:
        rms = offset = spread = spread_ratio = correlation = math.nan
    else:
        rms, offset = float(np.sqrt(np.mean(apart**2))), float(np.mean(apart))
        spread, other = float(np.std(measured)), float(np.std(predicted))
        both = float(np.mean((measured - measured.mean()) * (predicted - predicted.mean())))
        spread_ratio = other / spread if spread > _STILL else math.nan
        correlation = both / (spread * other) if min(spread, other) > _STILL else math.nan
    return Compared(
        name=name,
        unit=unit,
        time_s=time_s,
        measured=measured,
        predicted=predicted,
        rms=rms,
        offset=offset,
        spread=spread,
        spread_ratio=spread_ratio,
        correlation=correlation,
    )


def comparison_facts(compared: list[Compared], ridden: Trace, *, lag_s: float) -> dict[str, Any]:
    """Return scores and misfits as plain values."""
    early = ridden.outcome is not Outcome.RIDDEN
    ended = [f"the predicted ride ends early: {ridden.outcome.message}"] if early else []
    return {
        "predicted_lag_s": round(lag_s, 1),
        "scores": {
            one.name: {
                "unit": one.unit,
                "rms_difference": one.rms,
                "mean_difference": one.offset,
                "measured_spread": one.spread,
                "spread_ratio": one.spread_ratio,
                "correlation": one.correlation,
            }
            for one in compared
        },
        "does_not_fit": ended + [text for one in compared for text in one.misfits()],
    }
