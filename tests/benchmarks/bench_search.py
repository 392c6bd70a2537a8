"""Our search beside other people's: python -m tests.benchmarks.bench_search [--help].

Compares it with optuna's NSGA-II, NSGA-III and TPE as they come and with pymoo's NSGA-II, NSGA-III
and AGE-MOEA, at equal numbers of candidates and with equal knowledge. Each run of a search is kept
in a folder and not run again, so a comparison can be made piece by piece:

    python -m tests.benchmarks.bench_search --problems zdt1 dtlz2 --seeds 1 2 --budgets 500 1000

With `--jobs` so many runs go on at once, each in a process of its own. A run is kept at each of the
budgets: what it had reached when the command was stopped counts in the tables, and is run again
only to go further. `--report` runs nothing and prints the tables of what the folder holds.

A warm start knows the baseline, a cold one nothing, and a similar one, on the example study, also
the front of a finished search of 5,000 candidates on a faster motor, rescaled.

The tables cover all runs in the folder that are of today's sources. TPE's own cost grows to
seconds a candidate: give it small budgets.
"""

import argparse
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import pandas as pd

from optimizer.base.atomic_files import write_whole
from plant.device import DEVICES
from tests.benchmarks.search_cells import (
    FAILED,
    STARTS,
    Budget,
    Cell,
    cells_of,
    kept_runs,
    run_cells,
)
from tests.benchmarks.search_peers import METHODS
from tests.benchmarks.search_problems import FRESH, PROBLEMS, Problem
from tests.benchmarks.search_report import printed, table
from tests.benchmarks.search_runs import Run

BUDGETS = (500, 1000, 2000, 5000)


def tables(name: str, folder: Path, budget: Budget) -> list[pd.DataFrame]:
    """Return the tables of the kept runs of a problem.

    The second is of what fresh noise and other days leave of the fronts, where that was ridden.
    """
    problem = PROBLEMS[name](budget.threads, budget.device)
    runs = kept_runs(folder, problem, name)
    found = [table(problem, _by_place(runs), budget.candidates)]
    if budget.fresh and problem.fresh is not None:
        found.append(_fresh_table(problem, folder, runs, budget))
    return found


def _fresh_table(
    problem: Problem, folder: Path, runs: Mapping[Cell, Run], budget: Budget
) -> pd.DataFrame:
    again = {run: cell.reevaluation(folder, problem) for cell, run in runs.items()}
    ridden = {
        cell: run for cell, run in runs.items() if again[run].knows(run, budget.with_whole(run))
    }
    if len(ridden) < len(runs):
        sys.stdout.write(
            f"{problem.name}: {len(runs) - len(ridden)} of {len(runs)} runs were not ridden"
            f" {FRESH} and are left out there; the same command without --report rides them\n"
        )
    return table(
        problem,
        _by_place(ridden),
        budget.candidates,
        found_by=lambda run, n_candidates: again[run].found(run, n_candidates),
        measure=f"{problem.measure}, {FRESH}",
    )


def _by_place(runs: Mapping[Cell, Run]) -> dict[tuple[str, str, int], Run]:
    return {(cell.method, cell.start, cell.seed): run for cell, run in runs.items()}


def main(words: Sequence[str] | None = None) -> int:
    """Run the command, and return its exit code: 1 where a run failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--problems", nargs="+", choices=PROBLEMS, default=list(PROBLEMS))
    parser.add_argument("--methods", nargs="+", choices=METHODS, default=list(METHODS))
    parser.add_argument("--starts", nargs="+", choices=STARTS, default=["warm", "cold"])
    parser.add_argument("--seeds", nargs="+", type=int, default=[1, 2, 3, 4, 5])
    parser.add_argument("--budgets", nargs="+", type=int, default=list(BUDGETS))
    parser.add_argument("--jobs", type=int, default=1, help="runs at once; default: 1")
    parser.add_argument("--threads", type=int, default=1, help="for the rides; default: 1")
    parser.add_argument("--device", choices=DEVICES, default="cpu", help="for the rides")
    parser.add_argument("--report", action="store_true", help="run nothing")
    parser.add_argument(
        "--fresh", action="store_true", help=f"ride the fronts of the example {FRESH} too"
    )
    parser.add_argument("--folder", type=Path, default=Path("bench_search"))
    given = parser.parse_args(words)
    budget = Budget(
        candidates=tuple(sorted(given.budgets)),
        fresh=given.fresh,
        threads=given.threads,
        device=given.device,
    )
    failed = False
    if not given.report:
        cells = cells_of(given.problems, given.methods, given.starts, given.seeds)
        for line in filter(None, run_cells(cells, given.folder, budget, n_jobs=given.jobs)):
            failed = failed or line.startswith(FAILED)
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()
    parts = [part for name in given.problems for part in tables(name, given.folder, budget)]
    found = pd.concat(parts, ignore_index=True)
    if found.empty:
        sys.stdout.write(f"{given.folder}: holds no runs of today's sources that reach a budget\n")
        return 1
    write_whole(given.folder / "search.csv", found.to_csv(index=False))
    sys.stdout.write(printed(found))
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
