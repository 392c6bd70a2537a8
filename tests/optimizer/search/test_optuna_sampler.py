from dataclasses import replace

import numpy as np
import optuna
import pytest

from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, Observed
from optimizer.search.optuna_sampler import Proposer
from optimizer.search.pareto import hypervolume, non_dominated
from optimizer.search.plan import (
    Plan,
)
from tests.optimizer.analytic import (
    SMALL_BASELINE,
    SMALL_BOX,
    UNIT_BOX,
    dtlz2,
    narrow,
    zdt1,
)
from tests.optimizer.observed import observed

PLAN = Plan(space=SMALL_BOX, baseline=SMALL_BASELINE, seed=5, weights=np.ones(3), population=8)


def _observed(proposer, evaluate, n_generations):
    known = Observed(history=NO_HISTORY, components=NO_COMPONENTS)
    for _ in range(n_generations):
        values = proposer.ask()
        outcome = observed(values, evaluate(values))
        proposer.tell(outcome)
        known = known.followed_by(outcome)
    return known


def test_asking_again_before_telling_gives_the_same_generation():
    proposer = Proposer(PLAN)

    assert proposer.ask().tobytes() == proposer.ask().tobytes()
    assert len(proposer.study.trials) == 8


def test_a_restored_study_proposes_what_the_lasting_one_does():
    lasting = Proposer(PLAN)
    known = _observed(lasting, narrow, 15)
    restored = Proposer(PLAN)

    restored.restore(known)

    for _ in range(3):
        values = lasting.ask()
        assert restored.ask().tobytes() == values.tobytes()
        lasting.tell(observed(values, narrow(values)))
        restored.tell(observed(values, narrow(values)))


def test_the_study_in_memory_is_one_that_optuna_understands():
    proposer = Proposer(PLAN)
    history = _observed(proposer, narrow, 6).history

    numbers = {trial.number for trial in proposer.study.best_trials}

    assert numbers == set(
        np.flatnonzero(non_dominated(history.objectives, history.constraints)).tolist()
    )
    assert all(trial.state is optuna.trial.TrialState.COMPLETE for trial in proposer.study.trials)


def test_more_than_ten_constraints_keep_their_columns_in_a_restored_study():
    def many(values):
        outcome = narrow(values)
        columns = np.tile(outcome.constraints, (1, 6)) * np.arange(1, 13)
        return replace(outcome, constraints=columns)

    lasting, restored = (Proposer(PLAN) for _ in range(2))
    known = _observed(lasting, many, 13)

    restored.restore(known)

    assert restored.ask().tobytes() == lasting.ask().tobytes()


def test_parents_are_feasible_as_soon_as_enough_candidates_are():
    proposer = Proposer(PLAN)
    history = _observed(proposer, narrow, 12).history
    assert (history.constraints <= 0.0).all(axis=1).sum() > 8

    parents = proposer.study.sampler.get_parent_population(proposer.study, 12)

    assert len({parent.number for parent in parents}) == 8
    assert all(value <= 0.0 for parent in parents for value in parent.constraints.values())


def test_the_search_finds_many_feasible_candidates_where_few_random_ones_are():
    rng = np.random.default_rng(13)
    random = SMALL_BOX.low + rng.random((2000, 3)) * (SMALL_BOX.high - SMALL_BOX.low)
    assert (narrow(random).constraints <= 0.0).all(axis=1).mean() < 0.03

    history = _observed(Proposer(PLAN), narrow, 30).history

    assert (history.constraints[120:] <= 0.0).all(axis=1).mean() > 0.5


@pytest.mark.parametrize("n_objectives", [1, 4])
def test_other_numbers_of_objectives_are_refused(n_objectives):
    with pytest.raises(ValueError, match="2 or 3 objectives"):
        replace(PLAN, weights=np.ones(n_objectives))


def _stock(evaluate, *, n_objectives, n_candidates, seed):
    """Optuna's NSGA-II as it comes, with our population."""
    sampler = optuna.samplers.NSGAIISampler(population_size=48, seed=seed)
    study = optuna.create_study(directions=["minimize"] * n_objectives, sampler=sampler)
    for _ in range(n_candidates):
        trial = study.ask()
        values = [[trial.suggest_float(name, 0.0, 1.0) for name in UNIT_BOX.names]]
        study.tell(trial, evaluate(np.array(values)).objectives[0].tolist())
    return np.array([trial.values for trial in study.trials])


def _ours(evaluate, *, n_objectives, n_candidates, seed):
    start = np.random.default_rng(seed).random(len(UNIT_BOX.names))
    plan = Plan(space=UNIT_BOX, baseline=start, seed=seed, weights=np.ones(n_objectives))
    known = _observed(Proposer(plan), evaluate, n_candidates // 48)
    return known.history.objectives


@pytest.mark.slow
@pytest.mark.parametrize(
    ("evaluate", "n_objectives", "reference"), [(zdt1, 2, [2.0] * 2), (dtlz2, 3, [2.0] * 3)]
)
def test_a_thousand_candidates_cover_more_than_stock_nsga_ii(evaluate, n_objectives, reference):
    """ZDT1 and DTLZ2 of 25 parameters, median of three seeds, from random starts for both."""
    medians = {
        search: np.median(
            [
                hypervolume(
                    search(evaluate, n_objectives=n_objectives, n_candidates=1008, seed=seed),
                    reference,
                )
                for seed in range(3)
            ]
        )
        for search in (_ours, _stock)
    }

    assert medians[_ours] > medians[_stock]
