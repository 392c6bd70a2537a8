"""Nose-downs counted on other days: python -m tests.benchmarks.nose_down_counts FOLDER.

Profiles spread along a finished study's front, its picks and its baseline ride drawn days of the
validation's kind that neither the search nor the validation draws. Their plain counts show whether
`nose_downs_per_1000_km` orders profiles as they really are, and whether its interval holds.

Every ride is first ridden by the baseline and two weakened profiles. With `--hardest 0.01` the
other profiles ride the hardest hundredth by those alone: it held 97 to 100 % of all nose-downs.

The counts are kept in a file and continued by the next call. The kilometres are the baseline's.
`--widths` scans the widths of `objectives.nose_down_rate` over the same counts.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import joblib
import numpy as np

from objectives.event_rate import EventRate
from objectives.nose_down_rate import RateEstimate, nearness, overall_rate
from objectives.ride_scores import RIDE_COLUMNS, outcome_codes
from objectives.score import OBJECTIVES, hard_margins
from optimizer.analysis.results import Results, read_results
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import digest, spawned
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study
from plant.arrays import Flags, Floats
from tests.benchmarks.counted_day import Counts, counted, read_counts, write_counts
from tests.benchmarks.nose_down_widths import rank_order, scanned, widths_report

RATE = OBJECTIVES.index("nose_downs_per_1000_km")


def spread_along(rate: Floats, on_front: Flags, n_profiles: int) -> list[int]:
    """Return candidates of the front whose ranks by rate are evenly apart, least rate first."""
    front = np.flatnonzero(on_front)
    front = front[np.argsort(rate[front], kind="stable")]
    places = np.unique(np.linspace(0, len(front) - 1, min(n_profiles, len(front))).round())
    return [int(number) for number in front[places.astype(np.intp)]]


def chosen(results: Results, n_profiles: int) -> list[int]:
    """Return the baseline, candidates spread along the front and the picks, without repeats."""
    front = spread_along(results.history.objectives[:, RATE], results.on_front, n_profiles)
    return list(dict.fromkeys([BASELINE, *front, *results.picks.values()]))


def report(
    counts: Counts,
    *,
    names: Sequence[str],
    riders: Sequence[str],
    objective: Floats,
    estimates: Sequence[RateEstimate],
) -> str:
    """Return the counts beside the estimates, as text.

    Parameters
    ----------
    counts : Counts
    names : sequence of str
        Of the profiles, the baseline first.
    riders : sequence of str
    objective : (profile,) float64
        `nose_downs_per_1000_km`.
    estimates : sequence of RateEstimate
        Of the profiles.
    """
    rates = [counts.rate(profile) for profile in range(len(names))]
    inside = [e.low <= rate.rate <= e.high for e, rate in zip(estimates, rates, strict=True)]
    # A count scatters too: of the intervals of both, 95 % and more meet where the estimate is true.
    meet = [
        e.low <= rate.high and rate.low <= e.high for e, rate in zip(estimates, rates, strict=True)
    ]
    n_rides = counts.hardness.size
    lines = [
        f"{counts.hours.sum():.0f} h, {counts.kilometres.sum():.0f} km, {n_rides} rides,"
        f" of which {len(counts.places)} ridden by all profiles; nose-downs per 1,000 km",
        f"{'profile':40s}{'count':>6s}  {'counted (95 %)':22s}{'objective':>10s}"
        f"  {'estimated (95 %)':22s}inside  by rider: {', '.join(riders)}",
    ]
    for place, (name, rate, estimate) in enumerate(zip(names, rates, estimates, strict=True)):
        by_rider = [counts.rate(place, rider=rider).rate for rider in range(len(riders))]
        lines.append(
            f"{name:40s}{rate.n_events:6d}  {_interval(rate):22s}{objective[place]:10.3f}"
            f"  {_interval(estimate):22s}{'yes' if inside[place] else 'no':6s}"
            f"  {' '.join(f'{one:.2f}' for one in by_rider)}"
        )
    order = rank_order(objective[1:], np.array([rate.rate for rate in rates[1:]]))
    lines += [
        f"Spearman of objective and count without the baseline: {order:.2f},"
        f" {len(names) - 1} profiles",
        f"counted rate inside the estimated interval: {sum(inside)} of {len(inside)}",
        f"the interval of the count meets that of the estimate: {sum(meet)} of {len(meet)}",
        f"rides that no profile survives: {int(counts.down.all(axis=1).sum())}",
    ]
    return "\n".join(lines) + "\n"


def _interval(rate: EventRate | RateEstimate) -> str:
    return f"{rate.rate:.2f} ({rate.low:.2f} to {rate.high:.2f})"


def profile_names(results: Results, numbers: Sequence[int]) -> list[str]:
    """Return what to call some candidates: their number, and their picks or the baseline."""
    called = {BASELINE: "baseline"}
    return [
        " ".join([str(number), called.get(number, ", ".join(results.pick_names(number)))]).strip()
        for number in numbers
    ]


def arguments_of(given: Sequence[str] | None) -> argparse.Namespace:
    """Return the checked arguments of the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="a study that has been searched")
    parser.add_argument("--hours", type=float, default=800.0, help="of the day, at least")
    parser.add_argument("--profiles", type=int, default=30, help="spread along the front")
    parser.add_argument("--hardest", type=float, default=1.0, help="share of rides for them")
    parser.add_argument("--seed", type=int, default=1, help="of the day")
    parser.add_argument("--counts", type=Path, help="file of the counts")
    parser.add_argument("--widths", action="store_true", help="scan the widths of nearness too")
    asked = parser.parse_args(given)
    if not 0.0 < asked.hardest <= 1.0:
        parser.error(f"--hardest: must be above 0 and at most 1, got {asked.hardest:g}")
    if asked.profiles < 3:
        parser.error(f"--profiles: at least 3 have an order, got {asked.profiles}")
    if asked.counts is None:
        asked.counts = asked.folder / f"nose_down_counts_{asked.seed}.npz"
    return asked


def counts_of(results: Results, numbers: Sequence[int], asked: argparse.Namespace) -> Counts:
    """Return the counts of some candidates, continued as far as asked."""
    study = results.study
    profiles = whole_profiles(study, results.history.values[numbers])
    seed = spawned(study.seed, "nose-down counts", str(asked.seed))
    key = digest([study.digest, seed, profiles.tolist()])
    return counted(
        study,
        profiles,
        read_counts(asked.counts, key, n_profiles=len(profiles)),
        hours=asked.hours,
        hardest=asked.hardest,
        seed=seed,
        n_jobs=joblib.cpu_count(),
        keep=lambda so_far: write_counts(asked.counts, so_far),
    )


def main(given: Sequence[str] | None = None) -> str:
    """Count, and return the report."""
    asked = arguments_of(given)
    results = read_results(load_study(asked.folder))
    numbers = chosen(results, asked.profiles)
    counts = counts_of(results, numbers, asked)
    day = rules_of(results.study).day
    assert day is not None
    hard = results.hard[numbers]
    text = report(
        counts,
        names=profile_names(results, numbers),
        riders=list(results.study.riders),
        objective=results.history.objectives[numbers, RATE],
        estimates=[overall_rate(near, day) for near in nearness(hard_margins(hard))],
    )
    if asked.widths:
        found = scanned(
            hard[1:, :, RIDE_COLUMNS.index("least_reserve_ratio")],
            hard[1:, :, RIDE_COLUMNS.index("least_nose_margin_ratio")],
            outcome_codes(hard[1:]),
            day,
            counted=np.array([counts.rate(place).rate for place in range(1, len(numbers))]),
        )
        text += widths_report(found)
    return text


if __name__ == "__main__":
    try:
        sys.stdout.write(main())
    except UserInputError as error:
        sys.exit(f"{error}")
