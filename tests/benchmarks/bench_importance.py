"""Which of optuna's importances are right on our search's candidates.

`python -m tests.benchmarks.bench_importance` asks on G* functions with known importances, and with
`--study FOLDER` on the rides of a finished study: there the truth is how much an objective changes
when one parameter of a feasible candidate is drawn anew from the other feasible candidates
(Jansen 1999, Computer Physics Communications 117: 35-43).
"""

import argparse
import functools
import sys
import tempfile
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import optuna
from numpy.typing import NDArray
from optuna.importance import FanovaImportanceEvaluator, PedAnovaImportanceEvaluator

from objectives import OBJECTIVES
from optimizer.analysis.importance import forest, ranked
from optimizer.analysis.results import read_results
from optimizer.execution.evaluate import make_evaluate
from optimizer.execution.store import Store
from optimizer.search import loop
from optimizer.search.evaluation import History
from optimizer.search.pareto import feasible
from optimizer.search.plan import Plan
from optimizer.search.space import Space
from optimizer.study.load import load_study
from plant.arrays import Floats
from tests.optimizer.analytic import G_STAR_ACTIVE, N_PARAMETERS, UNIT_BOX, g_star

EVALUATORS = {
    "PED-ANOVA": PedAnovaImportanceEvaluator,
    "fANOVA": functools.partial(FanovaImportanceEvaluator, n_trees=16, max_depth=8, seed=0),
    "impurity": forest,
}
N_DRAWN = {"functions": 3000, "rides": 60}


def importance_by_drawing(
    values: Floats, evaluate: Callable[[Floats], Floats], *, n_drawn: int
) -> Floats:
    """Return the share of each parameter in the mean squared change, (parameter, objective).

    Parameters
    ----------
    values : (candidate, parameter) float64
        Feasible candidates.
    evaluate : callable
        From values to objectives; NaN where a constraint fails.
    n_drawn : int
        Candidates of which each parameter is drawn anew.
    """
    rng = np.random.default_rng(1)
    n_parameters = values.shape[1]
    drawn = np.tile(values[rng.choice(len(values), n_drawn)], (n_parameters + 1, 1, 1))
    for place in range(n_parameters):
        drawn[place + 1, :, place] = values[rng.choice(len(values), n_drawn), place]
    outcome = evaluate(drawn.reshape(-1, n_parameters)).reshape(n_parameters + 1, n_drawn, -1)
    change: Floats = np.nanmean((outcome[1:] - outcome[0]) ** 2, axis=1)
    return change / change.sum(axis=0)


def compare(space: Space, history: History, truth: Floats, idle: NDArray[np.bool_]) -> list[list]:
    """Return a row for each evaluator and objective.

    Evaluator, objective, whether the truly first is first, place of the first idle parameter, and
    the share of importance in the wrong place in %.
    """
    rows = []
    for name, evaluator in EVALUATORS.items():
        for column, (objective, shares) in enumerate(ranked(space, history, evaluator).items()):
            order = [space.names.index(parameter) for parameter in shares]
            found = np.array([shares[parameter] for parameter in space.names])
            first_idle = 1 + min(order.index(place) for place in np.flatnonzero(idle[:, column]))
            wrong = 50.0 * np.abs(found - truth[:, column]).sum()
            right = order[0] == int(np.argmax(truth[:, column]))
            rows.append([name, objective, right, first_idle, wrong])
    return rows


def searched(path: Path, *, exponent: float, seed: int, n_candidates: int) -> History:
    """Return the candidates that our search gathers over G* functions, in a new store."""
    with Store(path) as store:
        return loop.run(
            functools.partial(g_star, exponent=exponent),
            Plan(
                space=UNIT_BOX,
                baseline=np.full(N_PARAMETERS, 0.45),
                seed=seed,
                weights=np.ones(3),
            ),
            store,
            n_candidates=n_candidates,
        ).history


def on_functions(n_candidates: int, seeds: list[int]) -> list[list]:
    """Return the rows of searches over G* functions with and without kinks."""
    idle = np.ones((N_PARAMETERS, len(G_STAR_ACTIVE)), dtype=np.bool_)
    for column, active in enumerate(G_STAR_ACTIVE):
        idle[list(active), column] = False
    rows = []
    for exponent in (1.0, 2.0):
        evaluate = functools.partial(g_star, exponent=exponent)
        for seed in seeds:
            with tempfile.TemporaryDirectory() as folder:
                history = searched(
                    Path(folder) / "s", exponent=exponent, seed=seed, n_candidates=n_candidates
                )
            truth = importance_by_drawing(
                history.values[feasible(history.constraints)],
                lambda values, evaluate=evaluate: evaluate(values).objectives,
                n_drawn=N_DRAWN["functions"],
            )
            rows += compare(UNIT_BOX, history, truth, idle)
    return rows


def on_rides(folder: Path) -> list[list]:
    """Return the rows of a finished study; a parameter below 0.1 % of the change counts as idle."""
    results = read_results(load_study(folder))
    ride = make_evaluate(results.study, n_jobs=2)

    def objectives(values: Floats) -> Floats:
        outcome = ride(values)
        return np.where(feasible(outcome.constraints)[:, None], outcome.objectives, np.nan)

    history = results.searched
    values = history.values[feasible(history.constraints)]
    truth = importance_by_drawing(values, objectives, n_drawn=N_DRAWN["rides"])
    return compare(results.study.space, history, truth, truth < 1e-3)


def main() -> None:
    """Print the comparison."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--study", type=Path, help="folder of a finished study to ride")
    parser.add_argument("--candidates", type=int, default=960)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    options = parser.parse_args()
    warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
    warnings.filterwarnings("ignore", message="PedAnovaImportanceEvaluator")
    rows = (
        on_rides(options.study)
        if options.study
        else on_functions(options.candidates, options.seeds)
    )
    for name in EVALUATORS:
        for objective in OBJECTIVES:
            own = [row[2:] for row in rows if row[:2] == [name, objective]]
            right, idle, wrong = zip(*own, strict=True)
            sys.stdout.write(
                f"{name:10} {objective:17} first right {sum(right)}/{len(right)},"
                f" first idle at place {min(idle)}, misplaced {np.mean(wrong):.0f} %\n"
            )


if __name__ == "__main__":
    main()
