"""Nose-downs counted on other days: python -m tests.benchmarks.nose_down_counts FOLDER.

Profiles spread along a finished study's front, its picks and its baseline ride drawn days of the
validation's kind that neither the search nor the validation draws. Their plain counts show whether
`nose_downs_per_1000_km` orders profiles as they really are, whether its interval holds, and whether
the profile of the lowest rate is thrown a fifth as often as the baseline.

Every ride is first ridden by the baseline and two weakened profiles. With `--hardest 0.01` the
other profiles ride the hardest hundredth by those alone: it held 97 to 100 % of all nose-downs.

The counts are kept in a file of the folder `--out`, one for each study and day, while they are
ridden; the same call goes on after an interruption, and more `--hours` go on from fewer. The
kilometres are the baseline's. `--widths` scans the widths of `objectives.nose_down_rate` too.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import joblib
import numpy as np

from objectives.nose_down_rate import nearness, overall_rate
from objectives.ride_scores import RIDE_COLUMNS, outcome_codes
from objectives.score import OBJECTIVES, hard_margins
from optimizer.analysis.candidate import study_as_scored
from optimizer.analysis.results import Results, read_results
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import spawned
from optimizer.execution.devices import on_device
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study
from plant.arrays import Flags, Floats
from plant.device import DEVICES
from tests.benchmarks.counted_day import Counts
from tests.benchmarks.kept_day import day_key, kept_counts
from tests.benchmarks.nose_down_report import report
from tests.benchmarks.nose_down_widths import scanned, widths_report

RATE = OBJECTIVES.index("nose_downs_per_1000_km")


def spread_along(rate: Floats, on_front: Flags, n_profiles: int) -> list[int]:
    """Return candidates of the front whose ranks by rate are evenly apart, least rate first."""
    front = np.flatnonzero(on_front)
    front = front[np.argsort(rate[front], kind="stable")]
    places = np.unique(np.linspace(0, len(front) - 1, min(n_profiles, len(front))).round())
    return [int(number) for number in front[places.astype(np.intp)]]


def chosen(results: Results, n_profiles: int) -> tuple[list[int], list[int]]:
    """Return the candidates that ride, the baseline first, and those spread along the front."""
    front = spread_along(results.history.objectives[:, RATE], results.on_front, n_profiles)
    return list(dict.fromkeys([BASELINE, *front, *results.picks.values()])), front


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
    parser.add_argument("--profiles", type=int, default=15, help="spread along the front")
    parser.add_argument("--hardest", type=float, default=1.0, help="share of rides for them")
    parser.add_argument("--seed", type=int, default=1, help="of the day")
    parser.add_argument(
        "--out", type=Path, default=Path("nose_down_counts"), help="folder of the counts"
    )
    parser.add_argument("--threads", type=int, default=joblib.cpu_count())
    parser.add_argument("--device", choices=DEVICES, default="cpu")
    parser.add_argument("--widths", action="store_true", help="scan the widths of nearness too")
    asked = parser.parse_args(given)
    if not 0.0 < asked.hardest <= 1.0:
        parser.error(f"--hardest: must be above 0 and at most 1, got {asked.hardest:g}")
    if asked.profiles < 3:
        parser.error(f"--profiles: at least 3 have an order, got {asked.profiles}")
    return asked


def counts_of(results: Results, numbers: Sequence[int], asked: argparse.Namespace) -> Counts:
    """Return the counts of some candidates, continued as far as asked."""
    study = results.study
    profiles = whole_profiles(study, results.history.values[numbers])
    seed = spawned(study.seed, "nose-down counts", str(asked.seed))
    return kept_counts(
        study,
        profiles,
        asked.out / f"{study.folder.resolve().name}_{asked.seed}.npz",
        key=day_key(study, profiles, seed),
        hours=asked.hours,
        hardest=asked.hardest,
        seed=seed,
        n_jobs=asked.threads,
    )


def main(given: Sequence[str] | None = None) -> str:
    """Count, and return the report."""
    asked = arguments_of(given)
    study = on_device(load_study(asked.folder), asked.device)
    results = read_results(study)
    numbers, front = chosen(results, asked.profiles)
    counts = counts_of(results, numbers, asked)
    # The baseline and the front are re-evaluated, in a finished study.
    day = rules_of(study_as_scored(results, BASELINE)).day
    assert day is not None
    hard = results.hard[numbers]
    estimates = [overall_rate(near, day) for near in nearness(hard_margins(hard))]
    text = report(
        counts,
        estimates,
        names=profile_names(results, numbers),
        riders=list(results.study.riders),
        objective=results.history.objectives[numbers, RATE],
        on_front=np.isin(numbers, front),
        title=results.study.folder.resolve().name,
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
