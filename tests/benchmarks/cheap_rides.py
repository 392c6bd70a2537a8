"""What riding a few rides first could spare: python -m tests.benchmarks.cheap_rides FOLDER.

The candidates of a finished study were all ridden on every ride, so its store tells which of them
a few rides would have given away. Those rides are chosen from the first generation alone, as a
search could do; the candidates after it are then held against them.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from objectives import RIDE_COLUMNS
from optimizer.front import non_dominated
from optimizer.results import store_path
from optimizer.store import read_table
from optimizer.study_file import load_study
from plant.outcomes import Outcome


def telling_rides(ended: NDArray[np.bool_], duration_s: NDArray[np.float64]) -> list[int]:
    """Return the rides that give away every candidate that ended early, the cheapest first.

    Parameters
    ----------
    ended : (candidate, ride) bool
    duration_s : (ride,) float64
    """
    chosen: list[int] = []
    unseen = ended.any(axis=1)
    while unseen.any():
        caught_per_s = ended[unseen].sum(axis=0) / duration_s
        chosen.append(int(np.argmax(caught_per_s)))
        unseen &= ~ended[:, chosen[-1]]
    return chosen


def report(folder: Path) -> str:
    """Return what could be spared, as text."""
    study = load_study(folder)
    table = read_table(store_path(study))
    duration_s = np.array([ride.course.manoeuvre.duration_s for ride in study.rides])
    ended = table.rides[:, :, RIDE_COLUMNS.index("outcome")] != Outcome.RIDDEN
    first, later = ended[: study.population], ended[study.population :]
    chosen = telling_rides(first, duration_s)
    cut = later[:, chosen].any(axis=1)
    on_front = non_dominated(table.history.objectives, table.history.constraints)
    n_lost = np.count_nonzero(cut & on_front[study.population :])
    spared = cut.mean() * (1.0 - duration_s[chosen].sum() / duration_s.sum())
    return (
        f"{len(chosen)} of {len(study.rides)} rides:"
        f" {', '.join(study.rides[place].name for place in chosen)}\n"
        f"of {len(later)} later candidates {later.any(axis=1).mean():.1%} end a ride early,"
        f" {cut.mean():.1%} one of these; {spared:.1%} of the riding could be spared\n"
        f"on the front as searched: {n_lost} of them\n"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    sys.stdout.write(report(parser.parse_args().folder))
