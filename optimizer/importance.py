"""Which parameters matter for each objective over all candidates of a study, by optuna."""

import functools
import warnings

import optuna
from optuna.importance import PedAnovaImportanceEvaluator, get_param_importances
from optuna.trial import FrozenTrial, create_trial

from objectives import OBJECTIVES
from optimizer.results import Results
from optimizer.sampler import distributions

_FEWEST = 30  # candidates below which an importance is chance


def _value(column: int, trial: FrozenTrial) -> float:
    return float(trial.values[column])


def importances(results: Results) -> dict[str, dict[str, float]]:
    """Return each objective's share of importance by parameter, the largest first.

    PED-ANOVA (Watanabe, Bansal & Hutter 2023, IJCAI) compares where the best candidates lie with
    where all do. Candidates that fail a constraint are left out: what throws a rider off tells
    nothing of the trade-off.

    Returns
    -------
    dict of objective to dict of parameter to float
        Shares add up to 1; empty where too few candidates are feasible.
    """
    numbers = results.feasible.nonzero()[0]
    if len(numbers) < _FEWEST:
        return {name: {} for name in OBJECTIVES}
    space = results.study.space
    declared = distributions(space)
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    study = optuna.create_study(directions=["minimize"] * len(OBJECTIVES))
    study.add_trials(
        create_trial(
            params=dict(zip(space.names, values.tolist(), strict=True)),
            distributions=declared,
            values=objectives.tolist(),
        )
        for values, objectives in zip(
            results.searched.values[numbers], results.searched.objectives[numbers], strict=True
        )
    )
    found = {}
    with warnings.catch_warnings():
        # The evaluator is marked experimental; its method is published. Low values are the best.
        warnings.filterwarnings("ignore", message="PedAnovaImportanceEvaluator")
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
        for column, name in enumerate(OBJECTIVES):
            shares = get_param_importances(
                study,
                evaluator=PedAnovaImportanceEvaluator(),
                target=functools.partial(_value, column),
            )
            found[name] = dict(sorted(shares.items(), key=lambda item: -item[1]))
    return found
