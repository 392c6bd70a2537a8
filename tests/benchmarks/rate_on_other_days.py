"""The rate on hard rides of other days: python -m tests.benchmarks.rate_on_other_days FOLDER.

Profiles spread along a finished study's front, and its baseline, ride the hard rides of drawn days
that neither the search nor its re-evaluation has seen. Whether `nose_downs_per_1000_km` orders
profiles as they are there costs a hundredth of counting every ride of as many hours. It says
nothing of nose-downs outside all hard rides, which `tests.benchmarks.nose_down_counts` counts.
"""

import argparse
import dataclasses
import sys
from collections.abc import Sequence
from pathlib import Path

import joblib
import numpy as np

from objectives import ride_columns
from objectives.nose_down_rate import nearness, rates_by_rider
from objectives.portfolio import weighted_sum
from objectives.score import hard_margins
from optimizer.analysis.results import read_results
from optimizer.base.errors import UserInputError
from optimizer.base.hashing import spawned
from optimizer.execution.devices import on_device
from optimizer.execution.evaluate import day_rules, whole_profiles
from optimizer.execution.hard_rides import hard_rides_of
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study
from optimizer.study.study import HardRides, Study
from plant.arrays import Floats
from plant.device import DEVICES
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate
from tests.benchmarks.markdown import table
from tests.benchmarks.nose_down_counts import RATE, spread_along
from tests.benchmarks.nose_down_widths import rank_order


def other_days(study: Study, n_days: int) -> list[HardRides]:
    """Return the hard rides of other days, two for each: those of either half of its roads."""
    found = []
    for day in range(n_days):
        seed = spawned(study.seed, "rate on other days", str(day))
        hard = hard_rides_of(dataclasses.replace(study, seed=seed, hard=None))
        assert hard.others is not None
        found += [hard, hard.others]
    return found


def ridden(
    study: Study, hard: HardRides, profiles: Floats, *, n_jobs: int = 1
) -> tuple[Floats, Floats]:
    """Return the rate over all riders in 1,000 km, and nose-downs by weight, both (profile,)."""
    results = simulate(profiles, hard.rides, n_jobs=n_jobs, device=study.device)
    day = day_rules(hard, study.settings)
    near = nearness(hard_margins(ride_columns(results, hard.rides)))
    rate = weighted_sum(rates_by_rider(near, day), day.kilometres / day.kilometres.sum())
    return rate, (results.outcome == Outcome.NOSE_DOWN) @ hard.weights


def report(numbers: Sequence[int], objective: Floats, rate: Floats, n_down: Floats) -> str:
    """Return a line for each profile, and how the rates order the front, as text.

    Parameters
    ----------
    numbers : sequence of int
        Candidates, the baseline first.
    objective, rate, n_down : (profile,) float64
        As searched and re-evaluated, and what the other days gave.
    """
    rows = [
        [number, f"{estimated:.3f}", f"{there:.3f}", f"{down:g}"]
        for number, estimated, there, down in zip(numbers, objective, rate, n_down, strict=True)
    ]
    head = ["candidate", "objective", "rate on other days", "nose-downs there, by weight"]
    orders = [
        ["with the rate on other days", f"{rank_order(objective[1:], rate[1:]):.2f}"],
        ["with nose-downs there", f"{rank_order(objective[1:], n_down[1:]):.2f}"],
    ]
    return table(head, rows) + "\n" + table(["rank correlation of the objective", "front"], orders)


def main(given: Sequence[str] | None = None) -> str:
    """Ride, and return the report."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="a study that has been searched")
    parser.add_argument("--days", type=int, default=2, help="other days to draw")
    parser.add_argument("--profiles", type=int, default=24, help="spread along the front")
    parser.add_argument("--threads", type=int, default=joblib.cpu_count())
    parser.add_argument("--device", choices=DEVICES, default="cpu")
    asked = parser.parse_args(given)
    study = on_device(load_study(asked.folder), asked.device)
    results = read_results(study)
    objective = results.history.objectives[:, RATE]
    numbers = [BASELINE, *spread_along(objective, results.on_front, asked.profiles)]
    profiles = whole_profiles(study, results.history.values[numbers])
    days = other_days(study, asked.days)
    outcomes = [ridden(study, hard, profiles, n_jobs=asked.threads) for hard in days]
    rate, n_down = (np.array(each) for each in zip(*outcomes, strict=True))
    return report(numbers, objective[numbers], rate.mean(axis=0), n_down.sum(axis=0))


if __name__ == "__main__":
    try:
        sys.stdout.write(main())
    except UserInputError as error:
        sys.exit(f"{error}")
