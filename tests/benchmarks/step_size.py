"""How much each metric of the example portfolio changes when the plant's step is halved.

    python -m tests.benchmarks.step_size

The mean over all rides of the example study, its baseline profile, with several noise seeds: one
seed's mean moves by chance, since a count of the rotor angle that falls into another millisecond
changes what the noise does from there on.
"""

import dataclasses
import sys
from pathlib import Path

import numpy as np

from optimizer.study.load import load_study
from plant.arrays import Floats
from plant.description.profile_array import profile_to_array
from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate

EXAMPLE = Path(__file__).parents[2] / "studies" / "hill_town"
N_SEEDS = 24


def changes(*, n_seeds: int = N_SEEDS) -> dict[str, tuple[float, float]]:
    """Return each metric's mean at steps of 1 and 0.5 ms, by name, over rides that last."""
    study = load_study(EXAMPLE)
    rides = [
        dataclasses.replace(ride, noise_seed=(ride.noise_seed + 7919 * number) % 2**64)
        for ride in study.rides
        for number in range(n_seeds)
    ]
    profiles = profile_to_array(study.baseline)[None, :]
    whole, half = (simulate(profiles, rides, n_jobs=2, n_sub=n_sub) for n_sub in (1, 2))
    lasted = (whole.outcome[0] == Outcome.RIDDEN) & (half.outcome[0] == Outcome.RIDDEN)
    weight = np.repeat(np.asarray(study.ride_weights), n_seeds) * lasted
    return {
        name: _means(whole.column(name)[0], half.column(name)[0], weight) for name in METRIC_NAMES
    }


def _means(whole: Floats, half: Floats, weight: Floats) -> tuple[float, float]:
    """Return the weighted means of a metric over the rides in which both steps measure it."""
    known = ~np.isnan(whole) & ~np.isnan(half)
    first, second = (
        float(np.average(values[known], weights=weight[known])) for values in (whole, half)
    )
    return first, second


if __name__ == "__main__":
    lines = [f"{'metric':32s}{'1 ms':>12s}{'0.5 ms':>12s}{'change':>10s}"]
    for metric, (whole, half) in changes().items():
        lines.append(f"{metric:32s}{whole:12.4f}{half:12.4f}{100 * (whole / half - 1):9.2f} %")
    sys.stdout.write("\n".join(lines) + "\n")
