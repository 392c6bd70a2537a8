"""What a study found as a study of optuna's, for its plots, importances and storages."""

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np
import optuna
from optuna.exceptions import DuplicatedStudyError, ExperimentalWarning
from optuna.storages import BaseStorage
from optuna.trial import FrozenTrial, TrialState, create_trial

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.results import Results
from optimizer.base.errors import FileError
from optimizer.search.evaluation import History
from optimizer.search.optuna_trials import distributions
from optimizer.search.space import Space


def to_optuna(
    results: Results, *, storage: str | BaseStorage | None = None, name: str | None = None
) -> optuna.Study:
    """Return the candidates of a study as trials of a study of optuna's.

    A trial has its candidate's number, parameters and constraints, and the objectives as searched,
    so `best_trials` is the front before the re-evaluation. A candidate that was rejected early is a
    pruned trial. Those with a named pick, and those on the front at the end, say so in their user
    attributes `picks` and `on_front`.

    Parameters
    ----------
    results : Results
    storage : str or BaseStorage, optional
        Where optuna keeps it, such as "sqlite:///study.db"; in memory if not given. It is written
        trial by trial, which takes a database minutes for thousands of candidates, and a journal
        file of optuna's seconds.
    name : str, optional
        Of the study of optuna's; the study's title if not given.

    Raises
    ------
    FileError
        The storage has a study of that name already.
    """
    name = results.study.title if name is None else name
    with quiet():
        try:
            study = optuna.create_study(
                storage=storage, study_name=name, directions=["minimize"] * len(OBJECTIVES)
            )
        except DuplicatedStudyError:
            raise FileError(
                f"the storage has a study {name!r} already; give another name or storage"
            ) from None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ExperimentalWarning)
            study.set_metric_names(list(OBJECTIVES))
        study.set_user_attr("study_digest", results.study.digest)
        trials = trials_of(results.study.space, results.searched, constraint_names=CONSTRAINT_NAMES)
        for number, trial in enumerate(trials):
            if picks := results.pick_names(number):
                trial.set_user_attr("picks", list(picks))
            trial.set_user_attr("on_front", bool(results.on_front[number]))
            study.add_trial(trial)
    return study


def trials_of(
    space: Space, history: History, *, constraint_names: Sequence[str] = ()
) -> Iterator[FrozenTrial]:
    """Return each candidate as a trial, in number order.

    Parameters
    ----------
    space : Space
    history : History
        Where objectives are not known, a trial is pruned.
    constraint_names : sequence of str
        Of the constraints that the trials get, in order; none if empty.
    """
    declared = distributions(space)
    for values, objectives, constraints in zip(
        history.values.tolist(), history.objectives, history.constraints.tolist(), strict=True
    ):
        known = bool(np.isfinite(objectives).all())
        yield create_trial(
            state=TrialState.COMPLETE if known else TrialState.PRUNED,
            params=dict(zip(space.names, values, strict=True)),
            distributions=declared,
            values=objectives.tolist() if known else None,
            constraints=dict(zip(constraint_names, constraints, strict=False)),
        )


@contextmanager
def quiet() -> Iterator[None]:
    """Keep optuna from reporting on the terminal inside the block."""
    before = optuna.logging.get_verbosity()
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    try:
        yield
    finally:
        optuna.logging.set_verbosity(before)
