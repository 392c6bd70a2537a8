"""What early rejection saves and costs: python -m tests.benchmarks.early_rejection.

Each seed searches the example study twice: as the search is, with candidates rejected early that
fail on their screening rides, and with every candidate ridden on all rides and all of it observed.
The second search knows more of the candidates that fail, so it proposes others; the hypervolumes
show what that is worth.

Seeds are the search's own; the rides and their noise are the same throughout.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from objectives import RIDE_COLUMNS
from optimizer.execution.early_rejection import not_ridden
from optimizer.execution.evaluate import baseline_values, make_evaluate
from optimizer.execution.store import Store
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search.evaluation import BASELINE, Evaluate, Evaluation, History
from optimizer.search.pareto import feasible, hypervolume, non_dominated
from optimizer.study.load import load_study
from optimizer.study.study import Study
from plant.arrays import Flags, Floats
from tests.benchmarks.bench_study import EXAMPLE

_HEADS = (
    "hypervolume",
    "all observed",
    "all observed in the same hours",
    "hours over those of all rides",
    "rejected early",
)
_CORNER = 2.0  # hypervolume is counted up to twice the baseline's objectives
_TIME = RIDE_COLUMNS.index("ride_time_s")


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """A finished search.

    Attributes
    ----------
    history : History
    hours : (candidate,) float64
        Ridden until a candidate was done, that one included.
    rejected_early : (candidate,) bool
    screening : tuple of str
        Names of the rides ridden first.
    cpu_s : float
        The process's processor time, the kernel's compilation left out.
    """

    history: History
    hours: Floats
    rejected_early: Flags
    screening: tuple[str, ...]
    cpu_s: float

    def hypervolume(self, n_candidates: int) -> float:
        """Return what the front of the first candidates covers, from 0 to 1."""
        found = self.history.rows(0, n_candidates)
        front = found.objectives[non_dominated(found.objectives, found.constraints)]
        corner = np.full(front.shape[1], _CORNER)
        return hypervolume(front / found.objectives[BASELINE], corner) / float(corner.prod())


class Riding:
    """Rides a study's candidates, with early rejection or without, and notes how long."""

    def __init__(self, study: Study, *, may_reject: bool) -> None:
        self.study = study
        self.screening: tuple[int, ...] = ()
        self.hours: list[Floats] = []
        self.rejected_early: list[Flags] = []
        self._may_reject = may_reject
        self._evaluate: Evaluate = make_evaluate(study)

    def __call__(self, values: Floats, /) -> Evaluation:
        """Ride a generation."""
        evaluation = self._evaluate(values)
        self.hours.append(np.nansum(evaluation.rides[:, :, _TIME], axis=1) / 3600.0)
        self.rejected_early.append(not_ridden(evaluation.rides).any(axis=1))
        return evaluation

    def by(self, screening: tuple[int, ...]) -> Evaluate:
        """Return what rides the first generation, or those after it."""
        if screening and self._may_reject:
            self.screening = screening
            self._evaluate = make_evaluate(self.study, screening=screening)
        return self


def searched(study: Study, *, may_reject: bool, seed: int, n_candidates: int) -> Searched:
    """Return a search of the study."""
    riding = Riding(study, may_reject=may_reject)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "store.sqlite") as store:
        start = time.process_time()
        seeded = replace(study, seed=seed)
        progress = search_study(
            seeded, riding.by, study_plan(seeded), store, n_candidates=n_candidates
        )
        cpu_s = time.process_time() - start
    return Searched(
        history=progress.history,
        hours=np.cumsum(np.concatenate(riding.hours)),
        rejected_early=np.concatenate(riding.rejected_early),
        screening=tuple(study.rides[place].name for place in riding.screening),
        cpu_s=cpu_s,
    )


def n_wrongly_rejected(study: Study, found: Searched) -> int:
    """Return how many of the candidates rejected early are feasible when ridden on all rides."""
    if not found.rejected_early.any():
        return 0
    whole = make_evaluate(study)(found.history.values[found.rejected_early])
    return int(np.count_nonzero(feasible(whole.constraints)))


def in_numbers(found: Searched, whole: Searched, n_candidates: int) -> tuple[float, ...]:
    """Return what a search reached with its first candidates, in the order of `_HEADS`."""
    hours = found.hours[n_candidates - 1]
    n_equal = int(np.searchsorted(whole.hours, hours, side="right"))
    return (
        found.hypervolume(n_candidates),
        whole.hypervolume(n_candidates),
        whole.hypervolume(n_equal),
        hours / whole.hours[n_candidates - 1],
        float(np.mean(found.rejected_early[:n_candidates])),
    )


def report(study: Study, seeds: list[int], budgets: list[int]) -> str:
    """Return each seed's screening rides, then medians over the seeds and their spread, as text."""
    make_evaluate(study)(baseline_values(study)[None, :])  # compiles the kernel
    lines, rows, processor = [], [], []
    for seed in seeds:
        rejected_early, whole = (
            searched(study, may_reject=may_reject, seed=seed, n_candidates=max(budgets))
            for may_reject in (True, False)
        )
        lines.append(
            f"seed {seed}: {len(rejected_early.screening)} of {len(study.rides)} rides screen:"
            f" {', '.join(rejected_early.screening)};"
            f" {rejected_early.rejected_early.sum()} rejected early, of which"
            f" {n_wrongly_rejected(study, rejected_early)} are feasible\n"
        )
        rows.append([in_numbers(rejected_early, whole, budget) for budget in budgets])
        processor.append(rejected_early.cpu_s / whole.cpu_s)
    lines.append(f"seeds {seeds}: median (least to greatest)\n")
    lines.append(f"processor time{_spread(np.array(processor))} of that of all rides\n")
    for budget, numbers in zip(budgets, np.swapaxes(np.array(rows), 0, 1), strict=True):
        shown = [f"{head}{_spread(of)}" for head, of in zip(_HEADS, numbers.T, strict=True)]
        lines.append(f"  {budget} candidates: {', '.join(shown)}\n")
    return "".join(lines)


def _spread(numbers: Floats) -> str:
    return f" {np.median(numbers):.3f} ({numbers.min():.3f}-{numbers.max():.3f})"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--study", type=Path, default=EXAMPLE)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--budgets", type=int, nargs="+", default=[144, 480])
    asked = parser.parse_args()
    sys.stdout.write(report(load_study(asked.study), asked.seeds, asked.budgets))
