"""The accelerated estimate and plain counts: python -m tests.benchmarks.accelerated_count FOLDER.

Two profiles of a finished study, the baseline and `lowest_cost` unless others are named, ride the
whole of a validation's riding day. Beside their plain counts stands what the accelerated estimate
says of the same day when only a fifth of it is ridden in full, and how many of the nose-downs lie
in the hardest rides.
"""

import argparse
import dataclasses
import sys
from collections.abc import Sequence
from pathlib import Path

import joblib
import numpy as np

from objectives.event_rate import EventRate
from objectives.nose_down_rate import RateEstimate
from optimizer.analysis.profile_source import selected_profile
from optimizer.base.errors import UserInputError
from optimizer.execution.devices import on_device
from optimizer.study.load import load_study
from optimizer.study.study import Study
from optimizer.validation.accelerated_count import AcceleratedCount, accelerated_count
from optimizer.validation.hardest_rides import drawn_hours, hardest_rides
from optimizer.validation.nose_down_rate import DayCount, ride_days
from plant.arrays import Floats
from plant.device import DEVICES

FULL_SHARE = 0.2  # of the day that is ridden in full for the estimate


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Plain counts of one profile over the whole day and over its beginning, and the estimate."""

    name: str
    whole: DayCount
    beginning: DayCount
    estimate: AcceleratedCount
    whole_in_hardest: int


def compared(study: Study, name: str, profile: Floats, *, hours: float, n_jobs: int) -> Compared:
    """Return the counts and the estimate of one profile."""
    whole = ride_days(study, profile, hours=hours, n_jobs=n_jobs)
    beginning = ride_days(study, profile, hours=FULL_SHARE * hours, n_jobs=n_jobs)
    drawn_h = drawn_hours(study, whole.n_courses)
    estimate = accelerated_count(study, profile, beginning, hours=drawn_h, n_jobs=n_jobs)
    hardest = hardest_rides(study, n_drawn=whole.n_courses, n_jobs=n_jobs).places
    return Compared(
        name=name,
        whole=whole,
        beginning=beginning,
        estimate=estimate,
        whole_in_hardest=sum(place in hardest for place in whole.nose_downs),
    )


def report(found: Sequence[Compared]) -> str:
    """Return counts and estimates side by side, as text."""
    lines = [
        f"{'nose-downs per 1,000 km (95 %)':34s}{'hours ridden':>13s}{'count':>7s}  rate",
    ]
    for one in found:
        whole, beginning, estimate = one.whole, one.beginning, one.estimate
        agree = estimate.per_1000_km.low <= whole.per_1000_km.rate <= estimate.per_1000_km.high
        seen = f"{estimate.in_hardest} + {estimate.rest_weight:.1f} x {estimate.in_rest}"
        lines += [
            one.name,
            _line("  plain count", whole.hours, whole.per_1000_km),
            _line("  plain count, its beginning", beginning.hours, beginning.per_1000_km),
            f"{'  accelerated, of the whole day':34s}{estimate.ridden_h:13.0f}  "
            f"{_interval(estimate.per_1000_km)}, from {seen}",
            f"  the plain rate lies {'inside' if agree else 'OUTSIDE'} its interval;"
            f" {one.whole_in_hardest} of {whole.per_1000_km.n_events} nose-downs lie in the"
            " hardest rides",
        ]
    return "\n".join(lines) + "\n"


def _line(what: str, hours: float, rate: EventRate) -> str:
    return f"{what:34s}{hours:13.0f}{rate.n_events:7d}  {_interval(rate)}"


def _interval(rate: EventRate | RateEstimate) -> str:
    return f"{rate.rate:.3f} ({rate.low:.3f} to {rate.high:.3f})"


def main(given: Sequence[str] | None = None) -> str:
    """Ride, and return the report."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="a study that has been searched")
    parser.add_argument("--hours", type=float, default=400.0, help="of the riding day, at least")
    parser.add_argument("--candidates", nargs="+", default=["0", "lowest_cost"], metavar="NAME")
    parser.add_argument("--device", choices=DEVICES, default="cpu")
    asked = parser.parse_args(given)
    study = on_device(load_study(asked.folder), asked.device)
    n_jobs = joblib.cpu_count()
    found = []
    for candidate in asked.candidates:
        profile, name, _ = selected_profile(study, candidate, None)
        found.append(compared(study, name, np.asarray(profile), hours=asked.hours, n_jobs=n_jobs))
    return report(found)


if __name__ == "__main__":
    try:
        sys.stdout.write(main())
    except UserInputError as error:
        sys.exit(f"{error}")
