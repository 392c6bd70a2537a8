"""Where the wall time of a study goes: python -m tests.benchmarks.bench_study [--candidates 5000].

A copy of the example study is searched, with a stopwatch around the compiled kernel, the loop's
margins of what is scored, the rest of riding and scoring, the proposals, for which margins are
known beforehand, the choice of survivors, and the store. Goal: 75 % of the wall time in the kernel.
"""

import argparse
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np

from objectives import RIDE_COLUMNS
from optimizer.execution.evaluate import make_evaluate, ride_portfolio, rules_of
from optimizer.execution.store import Store
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search.evaluation import Evaluate
from optimizer.search.generations import Generations
from optimizer.study.load import load_study
from plant.description.profile_array import profile_to_array

EXAMPLE = Path(__file__).parents[2] / "studies" / "hill_town"


class Stopwatch:
    """Seconds spent in functions by name, added up over threads."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self._lock = threading.Lock()

    def around(self, name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """Return the function with its time taken."""

        def timed(*args: Any, **kwargs: Any) -> Any:
            start = time.perf_counter()
            try:
                return work(*args, **kwargs)
            finally:
                with self._lock:
                    self.seconds[name] += time.perf_counter() - start

        return timed


def profiled(n_candidates: int, n_jobs: int) -> tuple[dict[str, float], float, int, float]:
    """Return seconds by part, seconds in all, candidates searched, and hours ridden."""
    study = load_study(EXAMPLE)
    ride_portfolio(study, profile_to_array(study.baseline)[None, :], rules=rules_of(study))
    watch = Stopwatch()

    def riding(screening: tuple[int, ...]) -> Evaluate:
        return watch.around(
            "riding and scoring", make_evaluate(study, n_jobs=n_jobs, screening=screening)
        )

    with (
        tempfile.TemporaryDirectory() as folder,
        Store(Path(folder) / "store.sqlite") as store,
        mock.patch("plant.kernel.simulate.ride_block", watch.around("kernel", _kernel())),
        mock.patch(
            "objectives.score.simulation_free_constraints", watch.around("margins", _margins())
        ),
        mock.patch.object(Generations, "ask", watch.around("proposals", Generations.ask)),
        mock.patch.object(Generations, "tell", watch.around("survivors", Generations.tell)),
        mock.patch.object(Store, "append", watch.around("store", Store.append)),
    ):
        start = time.perf_counter()
        progress = search_study(
            study, riding, study_plan(study), store, n_candidates=n_candidates, n_jobs=n_jobs
        )
        taken = time.perf_counter() - start
        ridden = store.rides(range(progress.n_done))[:, :, RIDE_COLUMNS.index("ride_time_s")]
    return dict(watch.seconds), taken, progress.n_done, float(np.nansum(ridden)) / 3600.0


def _kernel() -> Callable[..., Any]:
    from_module = sys.modules["plant.kernel.simulate"]
    kernel: Callable[..., Any] = vars(from_module)["ride_block"]
    return kernel


def _margins() -> Callable[..., Any]:
    margins: Callable[..., Any] = vars(sys.modules["objectives.score"])[
        "simulation_free_constraints"
    ]
    return margins


def report(n_candidates: int, n_jobs: int) -> str:
    """Return the profile as text."""
    seconds, taken, n_done, hours = profiled(n_candidates, n_jobs)
    kernel = seconds["kernel"] / n_jobs
    riding = seconds["riding and scoring"] - kernel - seconds["margins"]
    parts = {
        "kernel": kernel,
        "margins of the linearised loop": seconds["margins"],
        "the rest of riding and scoring": riding,
        "proposals": seconds["proposals"],
        "survival and mating": seconds["survivors"],
        "store": seconds["store"],
    }
    parts["the rest"] = taken - sum(parts.values())
    lines = [f"{n_done} candidates in {taken:.1f} s on {n_jobs} threads\n"]
    lines += [
        f"  {name:42s}{part:8.2f} s {100.0 * part / taken:6.1f} %"
        f" {1000.0 * part / n_done:8.2f} ms a candidate\n"
        for name, part in parts.items()
    ]
    lines.append(f"  {hours / taken:.1f} hours are ridden in a second of wall time\n")
    return "".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--candidates", type=int, default=5000)
    parser.add_argument("--threads", type=int, default=2)
    given = parser.parse_args()
    sys.stdout.write(report(given.candidates, given.threads))
