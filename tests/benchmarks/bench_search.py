"""Our search beside other people's: python -m tests.benchmarks.bench_search [--help].

Compares it with optuna's NSGA-II, NSGA-III and TPE as they come and with pymoo's NSGA-II, NSGA-III
and AGE-MOEA, at equal numbers of candidates and with equal knowledge. Finished runs are kept in a
folder and not run again, so a comparison can be made piece by piece:

    python -m tests.benchmarks.bench_search --problems zdt1 dtlz2 --seeds 1 2 --budgets 500 1000

A warm start knows the baseline, a cold one nothing, and a similar one, on the example study, also
the front of a finished search of 5,000 candidates on a faster motor, rescaled.

The table covers all runs in the folder that are of today's sources. TPE's own cost grows to
seconds a candidate: give it small budgets.
"""

import argparse
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from optimizer.base.atomic_files import write_whole
from optimizer.search.evaluation import Evaluate
from plant.arrays import Floats
from tests.benchmarks.front_reevaluation import FrontReevaluation
from tests.benchmarks.search_peers import METHODS
from tests.benchmarks.search_problems import FRESH, PROBLEMS, Problem
from tests.benchmarks.search_report import printed, table
from tests.benchmarks.search_runs import Recorder, Run, read_run, write_run
from tests.benchmarks.search_starts import SIMILAR

STARTS = ("warm", "cold", "similar")
BUDGETS = (500, 1000, 2000, 5000)


def _path(folder: Path, problem: Problem, method: str, start: str) -> Path:
    return folder / problem.name / f"{method}_{start}"


def _keys(problem: Problem, method: str, start: str) -> dict[str, str]:
    keys = {"problem": problem.key, "method": METHODS[method].key}
    return keys | ({"start": SIMILAR} if start == "similar" else {})


def known(problem: Problem, start: str, folder: Path) -> Floats | None:
    """Return the points that a search knows, (point, parameter); None without such a start."""
    baseline: Floats = problem.baseline[None, :]
    if start == "cold":
        return baseline[:0]
    if start == "warm":
        return baseline
    if problem.similar is None:
        return None
    return np.vstack([baseline, problem.similar(folder / problem.name / "similar.npz")])


def run_missing(folder: Path, problem: Problem, given: argparse.Namespace) -> None:
    """Run what was asked for and is not in the folder yet."""
    for seed, method, start in product(given.seeds, given.methods, given.starts):
        path = _path(folder, problem, method, start) / f"{seed}.npz"
        kept = read_run(path, keys=_keys(problem, method, start))
        n_wanted = max(given.budgets)
        if kept is not None and len(kept.objectives) >= n_wanted:
            continue
        points = known(problem, start, folder)
        if points is None:
            continue
        began_s = time.process_time()
        recorder = Recorder(problem, n_wanted=n_wanted)
        METHODS[method].search(recorder, problem, seed=seed, known=points)
        write_run(path, recorder.run(), keys=_keys(problem, method, start))
        taken_s = time.process_time() - began_s
        sys.stdout.write(
            f"{problem.name} {method} {start} seed {seed}: {taken_s:.1f} s of processor time,"
            f" {1000.0 * taken_s / n_wanted:.0f} ms a candidate\n"
        )
        sys.stdout.flush()


def kept_runs(folder: Path, problem: Problem) -> Iterator[tuple[tuple[str, str, int], Run]]:
    """Yield all finished runs of a problem by (method, start, seed)."""
    for method, start in product(METHODS, STARTS):
        for path in sorted(_path(folder, problem, method, start).glob("*.npz")):
            run = read_run(path, keys=_keys(problem, method, start))
            if run is not None:
                yield (method, start, int(path.stem)), run


def fresh_table(
    folder: Path,
    problem: Problem,
    fresh: Evaluate,
    runs: Mapping[tuple[str, str, int], Run],
    budgets: Sequence[int],
) -> pd.DataFrame:
    """Return the table of what `fresh` noise and days leave of each front."""
    again = FrontReevaluation(folder / problem.name / "again.npz", key=f"{FRESH}: {problem.key}")
    for run in runs.values():
        again.ride(fresh, map(run.front, (*budgets, len(run.objectives))))
    return table(
        problem,
        runs,
        budgets,
        found_by=again.found,
        measure=f"{problem.measure}, {FRESH}",
    )


def main(words: Sequence[str] | None = None) -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--problems", nargs="+", choices=PROBLEMS, default=list(PROBLEMS))
    parser.add_argument("--methods", nargs="+", choices=METHODS, default=list(METHODS))
    parser.add_argument("--starts", nargs="+", choices=STARTS, default=["warm", "cold"])
    parser.add_argument("--seeds", nargs="+", type=int, default=[1, 2, 3, 4, 5])
    parser.add_argument("--budgets", nargs="+", type=int, default=list(BUDGETS))
    parser.add_argument("--threads", type=int, default=1, help="for the rides; default: 1")
    parser.add_argument(
        "--fresh", action="store_true", help=f"ride the fronts of the example {FRESH} too"
    )
    parser.add_argument("--folder", type=Path, default=Path("bench_search"))
    given = parser.parse_args(words)
    tables = []
    for name in given.problems:
        problem = PROBLEMS[name](given.threads)
        with threadpool_limits(limits=1):
            run_missing(given.folder, problem, given)
        runs = dict(kept_runs(given.folder, problem))
        tables.append(table(problem, runs, given.budgets))
        if given.fresh and problem.fresh is not None:
            tables.append(fresh_table(given.folder, problem, problem.fresh, runs, given.budgets))
    found = pd.concat(tables, ignore_index=True)
    write_whole(given.folder / "search.csv", found.to_csv(index=False))
    sys.stdout.write(printed(found))


if __name__ == "__main__":
    main()
