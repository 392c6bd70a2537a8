"""Pairs of rides that show what a section of the profile is for: with it and without it."""

import dataclasses
import enum
from collections.abc import Mapping

import numpy as np

from plant.arrays import Floats
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Ride, simulate
from plant.kernel.trace import Trace, trace

# Signals that can be drawn, and what is written at their axis.
DRAWN = {
    "pitch_deg": "pitch, nose down / deg",
    "ground_pitch_deg": "pitch to the ground / deg",
    "acceleration_mps2": "acceleration / m/s²",
    "current_a": "current / A",
    "speed_mps": "speed / m/s",
    "bus_v": "bus voltage / V",
    "stiffness_lift_ratio": "stiffness over that on the flat / 1",
}


class How(enum.StrEnum):
    """How one number is made of a ride."""

    METRIC = "metric"
    HIGHEST = "highest"
    LOWEST = "lowest"
    MEAN = "mean"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One number of a ride.

    Attributes
    ----------
    how : How
    of : str
        A metric's name, or the name of a signal of `plant.kernel.trace.Trace`.
    called, unit : str
        For the reader.
    window_s : (from s, to s) or None
        Where a signal is looked at; the whole ride if None.
    """

    how: How
    of: str
    called: str
    unit: str
    window_s: tuple[float, float] | None


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Demonstration:
    """Rides that differ in one thing.

    Attributes
    ----------
    name, title, expected : str
        `expected` is what common practice expects to be seen.
    section : str
        Section of the profile that is shown.
    ride : Ride
        What all of them ride.
    profiles : mapping of variant to (parameter,) float64
        The one with the effect first, then the one without, then any for comparison.
    draw : str
        The signal of `plant.kernel.trace.Trace` that is drawn.
    draw_s : (from s, to s) or None
        The part that is drawn; the whole ride if None.
    measure : Measure
    """

    name: str
    title: str
    expected: str
    section: str
    ride: Ride
    profiles: Mapping[str, Floats]
    draw: str
    draw_s: tuple[float, float] | None
    measure: Measure


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ridden:
    """One ride of a demonstration: its signals, its metrics and the measured number."""

    signals: Trace
    metrics: Mapping[str, float]
    measured: float

    @property
    def ended_early(self) -> bool:
        """Whether the ride ended before its time."""
        return self.signals.outcome is not Outcome.RIDDEN


def ridden(shown: Demonstration) -> dict[str, Ridden]:
    """Ride every variant of a demonstration."""
    rides = simulate(np.stack(list(shown.profiles.values())), [shown.ride])
    return {
        variant: _ridden(shown, trace(profile, shown.ride), rides.metrics[place, 0])
        for place, (variant, profile) in enumerate(shown.profiles.items())
    }


def _ridden(shown: Demonstration, signals: Trace, metrics: Floats) -> Ridden:
    by_name = dict(zip(METRIC_NAMES, metrics.tolist(), strict=True))
    measure = shown.measure
    if measure.how is How.METRIC:
        return Ridden(signals=signals, metrics=by_name, measured=by_name[measure.of])
    start, end = measure.window_s or (0.0, np.inf)
    inside = (signals.time_s >= start) & (signals.time_s <= end)
    values: Floats = getattr(signals, measure.of)[inside]
    return Ridden(signals=signals, metrics=by_name, measured=_reduced(values, measure.how))


def _reduced(values: Floats, how: How) -> float:
    """Return one number of a signal; NaN where the ride ended before the window."""
    riding = values[np.isfinite(values)]
    if not riding.size:
        return float("nan")
    if how is How.MEAN:
        return float(np.mean(riding))
    return float(np.max(riding) if how is How.HIGHEST else np.min(riding))
