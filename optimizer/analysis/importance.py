"""Which parameters matter for each objective over all candidates of a study, by optuna."""

import functools
from collections.abc import Callable

import optuna
from optuna.importance import (
    BaseImportanceEvaluator,
    MeanDecreaseImpurityImportanceEvaluator,
    get_param_importances,
)
from optuna.trial import FrozenTrial

from objectives import OBJECTIVES
from optimizer.analysis.optuna_study import quiet, trials_of
from optimizer.search import pareto
from optimizer.search.evaluation import History
from optimizer.search.space import Space

_FEWEST = 30  # candidates below which an importance is chance


def importances(space: Space, history: History) -> dict[str, dict[str, float]]:
    """Return each objective's share of importance by parameter, the largest first.

    A random forest is grown on the feasible candidates, and a parameter's share is the variance of
    the objective that its splits take away (mean decrease in impurity: Louppe et al. 2013,
    NeurIPS 26). Optuna's default, PED-ANOVA, compares where the best lie with where all lie, and a
    search gathers its candidates in parameters that do nothing too; `bench_importance` among the
    benchmarks measures both.

    Parameters
    ----------
    space : Space
    history : History
        All on the same noise. Candidates that fail a constraint have no say: what throws a rider
        off says nothing of the trade-off.

    Returns
    -------
    dict of objective to dict of parameter to float
        Shares add up to 1; empty where too few candidates are feasible.
    """
    if pareto.feasible(history.constraints).sum() < _FEWEST:
        return {name: {} for name in OBJECTIVES}
    return ranked(space, history, forest)


def forest() -> BaseImportanceEvaluator:
    """Return the evaluator that is used; the same candidates give the same shares."""
    return MeanDecreaseImpurityImportanceEvaluator(n_trees=16, max_depth=8, seed=0)


def ranked(
    space: Space, history: History, evaluator: Callable[[], BaseImportanceEvaluator]
) -> dict[str, dict[str, float]]:
    """Return the shares of importance by one of optuna's evaluators, as `importances` does."""
    feasible = pareto.feasible(history.constraints)
    observed = History(
        values=history.values[feasible],
        objectives=history.objectives[feasible],
        constraints=history.constraints[feasible],
    )
    found = {}
    with quiet():
        study = optuna.create_study(directions=["minimize"] * len(OBJECTIVES))
        study.add_trials(trials_of(space, observed))
        for column, name in enumerate(OBJECTIVES):
            shares = get_param_importances(
                study, evaluator=evaluator(), target=functools.partial(_value, column)
            )
            found[name] = dict(sorted(shares.items(), key=lambda item: -item[1]))
    return found


def _value(column: int, trial: FrozenTrial) -> float:
    return float(trial.values[column])
