import math

import numpy as np
import optuna
import pytest
from optuna import visualization
from optuna.importance import (
    FanovaImportanceEvaluator,
    MeanDecreaseImpurityImportanceEvaluator,
    PedAnovaImportanceEvaluator,
    get_param_importances,
)
from optuna.trial import TrialState

from objectives import CONSTRAINT_NAMES, OBJECTIVES
from optimizer.analysis.optuna_study import to_optuna
from optimizer.base.errors import FileError
from optimizer.interface.studies import load_study, run
from optimizer.search.pareto import non_dominated
from tests.optimizer.small_study import STEEP, write_small_study


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Return results of which some candidates were rejected early and some evaluated again."""
    folder = write_small_study(tmp_path_factory.mktemp("steep"), *STEEP)
    found = run(load_study(folder), candidates=60)
    assert not np.array_equal(found.searched.objectives, found.history.objectives, equal_nan=True)
    return found


@pytest.fixture(scope="module")
def study(results):
    return to_optuna(results)


def test_every_candidate_is_a_trial_of_its_number(results, study):
    names = results.study.space.names
    rows = [[trial.params[name] for name in names] for trial in study.trials]

    assert np.array(rows).tobytes() == results.searched.values.tobytes()
    assert [trial.number for trial in study.trials] == list(range(len(results)))


def test_outcomes_are_those_as_searched(results, study):
    for trial, objectives, constraints in zip(
        study.trials, results.searched.objectives, results.searched.constraints, strict=True
    ):
        if trial.state is TrialState.COMPLETE:
            assert trial.values == objectives.tolist()
        assert trial.constraints == dict(zip(CONSTRAINT_NAMES, constraints.tolist(), strict=True))
    assert study.metric_names == list(OBJECTIVES)


def test_a_candidate_rejected_early_is_a_pruned_trial(results, study):
    unknown = np.isnan(results.searched.objectives).any(axis=1)
    assert unknown.any()

    pruned = [trial.state is TrialState.PRUNED for trial in study.trials]

    assert pruned == unknown.tolist()


def test_the_best_trials_are_the_front_as_searched(results, study):
    numbers = {trial.number for trial in study.best_trials}

    front = non_dominated(results.searched.objectives, results.searched.constraints)
    assert front.any()
    # Of candidates that are equal in all objectives the front has the first alone.
    on_front = {tuple(row) for row in results.searched.objectives[front].tolist()}
    assert numbers >= set(np.flatnonzero(front).tolist())
    assert {tuple(trial.values) for trial in study.best_trials} == on_front


def test_trials_say_which_are_picked_and_on_the_front(results, study):
    for trial in study.trials:
        assert trial.user_attrs.get("picks", []) == list(results.pick_names(trial.number))
        assert trial.user_attrs["on_front"] == results.on_front[trial.number]


TWO_PARAMETERS = {"params": ["base_gain_a_per_deg", "mid_knee_deg"]}
ONE_OBJECTIVE = {"target": lambda trial: trial.values[0], "target_name": OBJECTIVES[0]}


@pytest.mark.filterwarnings("ignore:PedAnova:UserWarning")  # that low values are good ones
@pytest.mark.filterwarnings("ignore::optuna.exceptions.ExperimentalWarning")
@pytest.mark.parametrize(
    ("plot", "options"),
    [
        ("plot_pareto_front", {}),
        ("plot_param_importances", {}),
        ("plot_hypervolume_history", {"reference_point": [20.0, 200.0, 1.0]}),
        ("plot_timeline", {}),
        *(
            (f"plot_{name}", ONE_OBJECTIVE)
            for name in ("optimization_history", "edf", "parallel_coordinate", "slice")
        ),
        *((f"plot_{name}", ONE_OBJECTIVE | TWO_PARAMETERS) for name in ("contour", "rank")),
    ],
)
def test_optunas_own_plots_draw_it(study, plot, options):
    figure = getattr(visualization, plot)(study, **options)

    assert figure.data


@pytest.mark.filterwarnings("ignore:PedAnova:UserWarning")  # that low values are good ones
@pytest.mark.parametrize(
    "evaluator",
    [
        FanovaImportanceEvaluator(n_trees=8, seed=0),
        MeanDecreaseImpurityImportanceEvaluator(n_trees=8, seed=0),
        PedAnovaImportanceEvaluator(),
    ],
)
def test_optunas_importance_evaluators_rank_its_parameters(results, study, evaluator):
    shares = get_param_importances(study, evaluator=evaluator, target=lambda trial: trial.values[0])

    assert set(shares) == set(results.study.space.names)
    assert math.isclose(sum(shares.values()), 1.0)


def test_a_storage_keeps_it_and_is_not_overwritten(results, study, tmp_path):
    storage = optuna.storages.JournalStorage(
        optuna.storages.journal.JournalFileBackend(str(tmp_path / "optuna.log"))
    )
    to_optuna(results, storage=storage, name="steep")

    kept = optuna.load_study(study_name="steep", storage=storage)

    assert [trial.params for trial in kept.trials] == [trial.params for trial in study.trials]
    assert {best.number for best in kept.best_trials} == {best.number for best in study.best_trials}
    with pytest.raises(FileError, match="has a study 'steep' already"):
        to_optuna(results, storage=storage, name="steep")


@pytest.mark.slow
def test_it_may_be_kept_in_a_database(results, tmp_path):
    address = f"sqlite:///{tmp_path / 'optuna.db'}"

    to_optuna(results, storage=address)

    kept = optuna.load_study(study_name=results.study.title, storage=address)
    assert len(kept.trials) == len(results)


def test_optunas_reports_are_as_the_user_set_them(results):
    before = optuna.logging.get_verbosity()
    optuna.logging.set_verbosity(optuna.logging.DEBUG)
    try:
        to_optuna(results)

        assert optuna.logging.get_verbosity() == optuna.logging.DEBUG
    finally:
        optuna.logging.set_verbosity(before)
