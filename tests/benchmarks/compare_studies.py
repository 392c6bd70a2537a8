"""Which of several finished studies found the better trade-off, seed by seed.

    python -m tests.benchmarks.compare_studies RUN/single_* versus RUN/nested_*

The studies must ride the same rides; they may search different parameters. Each study's front
counts by the volume it dominates, in units of the first study's baseline and up to a corner that
holds every front, and by its lowest weighted cost, where that baseline costs 1.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import moocore
import numpy as np
from numpy.typing import NDArray

from objectives import OBJECTIVES
from optimizer.analysis.baseline_cost import study_cost
from optimizer.analysis.results import Results, read_results
from optimizer.base.errors import UserInputError
from optimizer.study.load import load_study

CORNER = 1.05  # the corner lies this far beyond the worst of all fronts


def fronts(found: Sequence[Results], unit: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Return each study's front in units of some objectives, (candidate, objective)."""
    return [each.history.objectives[each.on_front] / unit for each in found]


def volumes(points: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return the share of the common box that each front dominates, (study,)."""
    corner = CORNER * np.max(np.concatenate(points), axis=0)
    held = [moocore.hypervolume(front, ref=corner) if len(front) else 0.0 for front in points]
    return np.array(held) / corner.prod()


def lowest_cost(found: Results, unit: NDArray[np.float64]) -> float:
    """Return the lowest weighted cost of a feasible candidate; inf without one."""
    cost = study_cost(found.study, found.history.objectives, baseline=unit)
    return float(cost[found.feasible].min(initial=np.inf))


def _column(name: str, values: NDArray[np.float64]) -> str:
    spread = f"{values.min():.4f} to {values.max():.4f}"
    return f"  {name:28s} median {np.median(values):.4f} ({spread})\n"


def compare(groups: Sequence[Sequence[Path]]) -> str:
    """Return the comparison as text."""
    found = [[read_results(load_study(folder)) for folder in group] for group in groups]
    unit = found[0][0].baselines[1]
    rides = {tuple((ride.name, ride.course.title) for ride in each.study.rides)
             for studies in found for each in studies}  # fmt: skip
    if len(rides) > 1:
        raise UserInputError("the studies do not ride the same rides; compare others")
    points = [fronts(studies, unit) for studies in found]
    shares = volumes([front for fronts_ in points for front in fronts_])
    lines = []
    for group, studies, own_fronts in zip(groups, found, points, strict=True):
        own, shares = shares[: len(group)], shares[len(group) :]
        feasible = np.array([float(each.feasible.mean()) for each in studies])
        lines.append(f"{', '.join(folder.name for folder in group)}\n")
        lines.append(_column("share of candidates feasible", feasible))
        lines.append(_column("share of the box dominated", own))
        lines.append(
            _column("lowest cost", np.array([lowest_cost(each, unit) for each in studies]))
        )
        best = np.array([front.min(axis=0, initial=np.inf) for front in own_fronts])
        lines += [_column(f"best {name}", best[:, k]) for k, name in enumerate(OBJECTIVES)]
    return "".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", help="study folders; 'versus' between the groups")
    given: list[list[Path]] = [[]]
    for word in parser.parse_args().folders:
        if word == "versus":
            given.append([])
        else:
            given[-1].append(Path(word))
    sys.stdout.write(compare(given))
