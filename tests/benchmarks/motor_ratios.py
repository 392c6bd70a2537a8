"""What a faster motor asks of a profile: ratios between the studies of two motors.

    python -m tests.benchmarks.motor_ratios RUN/motor_15_* to RUN/motor_17_*

For each parameter the weighted mean over each study's best candidates, averaged over the seeds,
with the spread of that mean from seed to seed.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optimizer.analysis.results import read_results
from optimizer.study.load import load_study

N_BEST = 50
NAMES = (
    "inner_gain_a_per_deg",
    "base_gain_a_per_deg",
    "rate_gain_a_per_deg_per_s",
    "expected_current_a_per_mps2",
    "rate_current_cap_a",
    "braking_current_cap_a",
    "integral_clamp_a",
)


def best_means(folders: Sequence[Path]) -> NDArray[np.float64]:
    """Return the mean of each named parameter over each study's best, (study, parameter)."""
    rows = []
    for folder in folders:
        study = load_study(folder)
        found = read_results(study)
        feasible = np.flatnonzero(found.feasible)
        best = feasible[np.argsort(found.weighted_cost[feasible], kind="stable")[:N_BEST]]
        columns = [study.space.names.index(name) for name in NAMES]
        rows.append(found.history.values[best][:, columns].mean(axis=0))
    return np.array(rows)


def ratios(slow: Sequence[Path], fast: Sequence[Path]) -> str:
    """Return the ratios as text."""
    low, high = best_means(slow), best_means(fast)
    lines = [f"{'parameter':32s}{'slow':>9s}{'fast':>9s}{'ratio':>8s}{'+-':>7s}\n"]
    for name, a, b in zip(NAMES, low.T, high.T, strict=True):
        ratio = b.mean() / a.mean()
        spread = f"{'-':>7s}"  # one seed tells none
        if min(len(a), len(b)) > 1:
            spread = f"{ratio * np.hypot(_relative_error(a), _relative_error(b)):7.3f}"
        lines.append(f"{name:32s}{a.mean():9.3f}{b.mean():9.3f}{ratio:8.3f}{spread}\n")
    return "".join(lines)


def _relative_error(means: NDArray[np.float64]) -> float:
    """Return the standard error of a mean over seeds, as a share of it."""
    return float(np.std(means, ddof=1) / np.sqrt(len(means)) / means.mean())


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", help="studies of the slow motor, 'to', of the fast")
    words = parser.parse_args().folders
    middle = words.index("to")
    sys.stdout.write(
        ratios(
            [Path(word) for word in words[:middle]], [Path(word) for word in words[middle + 1 :]]
        )
    )
