"""How long a candidate's proposal takes: python -m tests.benchmarks.proposal_time FOLDER ...

The folders hold finished runs of one study. Their candidates, one run after the other, are the
history from which generations are proposed anew; goal: at most 3 ms a candidate at 5,000.
"""

import argparse
import sys
import time
from pathlib import Path

import numpy as np

from optimizer.execution.store import read_table
from optimizer.execution.study_search import study_plan
from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, Evaluation
from optimizer.search.generations import Generations
from optimizer.search.imputation import imputed
from optimizer.search.plan import Plan
from optimizer.study.load import load_study
from optimizer.study.paths import store_path

N_GENERATIONS = 6  # timed; surrogates take turns by three


def proposal_ms(folders: list[Path], n_candidates: int, n_jobs: int) -> tuple[list[float], int]:
    """Return milliseconds of processor time a candidate, (generation), and the history's length."""
    plan = study_plan(load_study(folders[0]))
    history, components = NO_HISTORY, NO_COMPONENTS
    for folder in folders:
        stored = read_table(store_path(folder))
        history = history.followed_by(stored.history)
        for start in range(0, len(stored.history), plan.population):
            rows = slice(start, start + plan.population)
            components = components.followed_by(
                plan.composite.components(
                    Evaluation(
                        objectives=stored.history.objectives[rows],
                        constraints=stored.history.constraints[rows],
                        rides=stored.rides[rows],
                    )
                )
            )
    observed = imputed(history, components, plan.space)
    n_known = min(n_candidates, len(history)) // plan.population * plan.population
    generations = Generations(plan, n_jobs=n_jobs)
    first = n_known - N_GENERATIONS * plan.population
    # The first to propose loads what is compiled.
    warm = Generations(plan, n_jobs=n_jobs)
    for told in (warm, generations):
        told.tell(observed.rows(0, first))
    warm.ask()
    found = []
    for start in range(first, n_known, plan.population):
        found.append(_asked_ms(generations, plan))
        generations.tell(observed.rows(start, start + plan.population))
    return found, n_known


def _asked_ms(generations: Generations, plan: Plan) -> float:
    begin = time.process_time()
    generations.ask()
    return 1000.0 * (time.process_time() - begin) / plan.population


def main() -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="+")
    parser.add_argument("--candidates", type=int, default=5000)
    parser.add_argument("--threads", type=int, default=1)
    given = parser.parse_args()
    found, n_known = proposal_ms(given.folder, given.candidates, given.threads)
    each = " ".join(f"{ms:.2f}" for ms in found)
    sys.stdout.write(
        f"{np.mean(found):.2f} ms of processor time a candidate up to {n_known} known ({each})\n"
    )


if __name__ == "__main__":
    main()
