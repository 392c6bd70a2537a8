"""By how much all gains of a profile grow when the motor alone is exchanged.

    python -m tests.benchmarks.motor_scale RUN/motor_15_1

Profiles are scaled in everything that is a current, from 0.6 to 1.6 times, and ridden on both
motors; each has its best scale on each. The ratio of the two is free of a search's own scatter. The
profiles are the best of a finished study of the slow motor.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from objectives import weighted_cost
from optimizer.analysis.results import read_results
from optimizer.execution.evaluate import ride_portfolio, rules_of, whole_profiles
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from optimizer.study.scaling import IS_CURRENT

SCALES = np.linspace(0.6, 1.6, 41)


def best_scales(profiles: NDArray[np.float64], motor: str) -> NDArray[np.float64]:
    """Return the scale of least weighted cost on a motor's study, (profile,).

    A parabola through the least cost and its neighbours tells it finer than the grid.
    """
    study = load_study(STUDIES_FOLDER / motor)
    rules = rules_of(study)
    tried = profiles[:, None, :] * np.where(IS_CURRENT, SCALES[:, None], 1.0)
    scores, _ = ride_portfolio(study, tried.reshape(-1, tried.shape[-1]), rules=rules, n_jobs=2)
    middle = scores.objectives[len(SCALES) // 2]
    cost = weighted_cost(scores.objectives, middle, np.ones(3)).reshape(len(profiles), -1)
    # Smoothed: a single bump met a little later must not decide.
    kernel = np.ones(7) / 7.0
    smooth = np.array([np.convolve(row, kernel, mode="valid") for row in cost])
    least = np.clip(smooth.argmin(axis=1), 1, smooth.shape[1] - 2)
    rows = np.arange(len(profiles))
    left, here, right = (smooth[rows, least + step] for step in (-1, 0, 1))
    shift = 0.5 * (left - right) / np.maximum(left - 2.0 * here + right, 1e-12)
    return SCALES[least + 3] + np.clip(shift, -1.0, 1.0) * (SCALES[1] - SCALES[0])


def best_of(folder: Path, n_profiles: int = 12) -> NDArray[np.float64]:
    """Return the profiles of least cost of a finished study, (profile, parameter)."""
    study = load_study(folder)
    found = read_results(study)
    feasible = np.flatnonzero(found.feasible)
    best = feasible[np.argsort(found.weighted_cost[feasible], kind="stable")[:n_profiles]]
    return whole_profiles(study, found.history.values[best])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("study", type=Path, help="a finished study of the slow motor")
    tried = best_of(parser.parse_args().study)
    slow, fast = (best_scales(tried, motor) for motor in ("motor_15", "motor_17"))
    ratio = fast / slow
    sys.stdout.write(
        f"best scale at 15 rpm/V {slow.mean():.3f}, at 17 rpm/V {fast.mean():.3f}; ratio"
        f" {ratio.mean():.3f} +- {ratio.std(ddof=1) / np.sqrt(len(ratio)):.3f}"
        f" (each {ratio.min():.3f} to {ratio.max():.3f}); 17/15 is {17 / 15:.3f}\n"
    )
