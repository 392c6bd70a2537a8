"""The sampler in plain studies of optuna's, and under optuna's own tests of samplers.

Of `optuna.testing.pytest_samplers` all cases are used but `SingleOnlySamplerTestCase`, which is for
samplers that refuse two objectives.
"""

import math
import pickle
from unittest import mock

import numpy as np
import optuna
import pytest
from optuna.distributions import FloatDistribution
from optuna.storages import JournalStorage
from optuna.storages.journal import JournalFileBackend
from optuna.testing.pytest_samplers import (
    BasicSamplerTestCase,
    MultiObjectiveSamplerTestCase,
    RelativeSamplerTestCase,
)
from optuna.trial import TrialState, create_trial

from optimizer.search import proposals
from optimizer.search.generations import Generations
from optimizer.search.optuna_sampler import GenerationSampler
from optimizer.search.optuna_trials import distributions, observed_trials
from optimizer.search.pareto import hypervolume, non_dominated
from optimizer.search.plan import Plan
from optimizer.search.space import to_unit
from tests.optimizer.analytic import SMALL_BASELINE, SMALL_BOX, UNIT_BOX, dtlz2, narrow, zdt1
from tests.optimizer.observed import observed

optuna.logging.set_verbosity(optuna.logging.WARNING)

DECLARED = distributions(SMALL_BOX)
BASELINE = dict(zip(SMALL_BOX.names, SMALL_BASELINE.tolist(), strict=True))


def _small(**changes):
    settings = {"seed": 5, "population": 8, "search_space": DECLARED, "baseline": BASELINE}
    return GenerationSampler(**settings | changes)


def _study(sampler, *, n_objectives=3, **options):
    directions = ["minimize"] * n_objectives
    return optuna.create_study(directions=directions, sampler=sampler, **options)


def _narrow(trial):
    """The problem `narrow` as an objective function of a user's own."""
    values = np.array([[_suggested(trial, name) for name in SMALL_BOX.names]])
    outcome = narrow(values)
    for place, value in enumerate(outcome.constraints[0].tolist()):
        trial.set_constraint(f"{place:02d}", value)
    return outcome.objectives[0].tolist()


def _suggested(trial, name):
    declared = DECLARED[name]
    return trial.suggest_float(name, declared.low, declared.high, log=declared.log)


def _values(study):
    return np.array([[trial.params[name] for name in SMALL_BOX.names] for trial in study.trials])


class _Ours:
    @pytest.fixture
    def sampler(self):
        return lambda: GenerationSampler(seed=3, population=4)


class TestBasic(_Ours, BasicSamplerTestCase):
    """Floats, steps, integers, choices, conditions, ranges that change, NaN, fixed parameters."""


class TestRelative(_Ours, RelativeSamplerTestCase):
    """All kinds of parameters searched together, in one thread and two."""


class TestMultiObjective(_Ours, MultiObjectiveSamplerTestCase):
    """Two objectives, one of them maximised."""


def test_a_plain_study_finds_what_the_search_itself_does():
    """The same engine: every trial is the search's own candidate, bit for bit."""
    plan = Plan(space=SMALL_BOX, baseline=SMALL_BASELINE, seed=5, weights=np.ones(3), population=8)
    generations = Generations(plan)
    rows = []
    for _ in range(20):
        values = generations.ask()
        generations.tell(observed(values, narrow(values)))
        rows.append(values)
    study = _study(_small())

    study.optimize(_narrow, n_trials=160)

    assert _values(study).tobytes() == np.vstack(rows).tobytes()


def test_surrogates_and_screening_drive_the_proposals(monkeypatch):
    parts = {
        name: mock.Mock(side_effect=getattr(proposals, name))
        for name in ("fitted", "screen", "lowest_cost_points")
    }
    for name, part in parts.items():
        monkeypatch.setattr(proposals, name, part)
    study = _study(_small())

    study.optimize(_narrow, n_trials=496)

    assert all(part.called for part in parts.values())


def test_a_study_loaded_again_goes_on_as_if_it_had_not_stopped(tmp_path):
    lasting = _study(_small())
    lasting.optimize(_narrow, n_trials=60)
    storage = JournalStorage(JournalFileBackend(str(tmp_path / "optuna.log")))
    first = _study(_small(), storage=storage, study_name="narrow")
    first.optimize(_narrow, n_trials=27)

    again = optuna.load_study(study_name="narrow", storage=storage, sampler=_small())
    again.optimize(_narrow, n_trials=33)

    assert _values(again).tobytes() == _values(lasting).tobytes()


def test_a_sampler_may_be_pickled():
    lasting = _study(_small())
    lasting.optimize(_narrow, n_trials=20)
    values = _values(lasting)

    lasting.sampler = pickle.loads(pickle.dumps(lasting.sampler))  # noqa: S301  # our own
    lasting.optimize(_narrow, n_trials=20)

    other = _study(_small())
    other.optimize(_narrow, n_trials=40)
    assert _values(other).tobytes() == _values(lasting).tobytes()
    assert len(values) == 20


def test_trials_that_fail_do_not_count_and_stop_nothing():
    def sometimes(trial):
        values = _narrow(trial)
        if trial.number % 3 == 1:
            raise ArithmeticError
        return [math.nan] * 3 if trial.number % 7 == 2 else values

    study = _study(_small())

    study.optimize(sometimes, n_trials=120, catch=ArithmeticError)

    states = [trial.state for trial in study.trials]
    assert states.count(TrialState.FAIL) > 40
    feasible = [all(v <= 0 for v in trial.constraints.values()) for trial in study.trials]
    assert np.mean(feasible[80:]) > 2.0 * np.mean(feasible[:24])


def test_when_every_trial_fails_other_points_are_still_tried():
    study = _study(_small())

    study.optimize(lambda trial: [_suggested(trial, "ratio") * math.nan] * 3, n_trials=24)

    tried = {trial.params["ratio"] for trial in study.trials}
    assert len(tried) > 20  # of 1,000 values, and failed trials are not remembered


def test_constraints_that_pruned_trials_break_are_observed():
    """Few random points of `narrow` meet its constraints: found though nothing else is observed."""

    def pruned(trial):
        values = _narrow(trial)
        if trial.number and any(value > 0.0 for value in trial.constraints.values()):
            raise optuna.TrialPruned
        return values

    study = _study(_small())

    study.optimize(pruned, n_trials=160)

    states = [trial.state for trial in study.trials]
    assert states[:8].count(TrialState.PRUNED) > 4
    assert states[120:].count(TrialState.COMPLETE) > 20


def test_threads_never_try_the_same_point():
    study = _study(_small())

    study.optimize(_narrow, n_trials=96, n_jobs=4)

    assert len(study.trials) == 96
    assert len(np.unique(_values(study), axis=0)) == 96
    assert study.best_trials


def test_enqueued_trials_are_tried_and_learned_from():
    known = {"gain_a_per_deg": 3.0, "rate_hz": 20.0, "ratio": 0.1}
    study = _study(_small())
    study.enqueue_trial(known)
    study.enqueue_trial({"ratio": -0.5})

    study.optimize(_narrow, n_trials=24)

    assert study.trials[0].params == known
    assert study.trials[1].params["ratio"] == -0.5
    values, params = study.trials[0].values, study.trials[0].params
    assert narrow(np.array([list(params.values())])).objectives[0].tolist() == values


def test_what_is_maximised_is_turned_round():
    def turned(trial):
        first, second, third = _narrow(trial)
        return first, -second, third

    straight = _study(_small())
    straight.optimize(_narrow, n_trials=64)
    study = optuna.create_study(directions=["minimize", "maximize", "minimize"], sampler=_small())

    study.optimize(turned, n_trials=64)

    assert _values(study).tobytes() == _values(straight).tobytes()


def test_parameters_need_not_be_declared_beforehand():
    study = _study(GenerationSampler(seed=5, population=8))

    study.optimize(_narrow, n_trials=160)

    feasible = [all(v <= 0 for v in trial.constraints.values()) for trial in study.trials]
    assert np.mean(feasible[120:]) > 0.4


def test_one_objective_comes_near_its_minimum():
    """The Rosenbrock valley (1960, Computer J. 3: 175-184), whose minimum is 0 at (1, 1)."""

    def valley(trial):
        u, v = trial.suggest_float("u", -2.0, 2.0), trial.suggest_float("v", -1.0, 3.0)
        return 100.0 * (v - u**2) ** 2 + (1.0 - u) ** 2

    study = optuna.create_study(sampler=GenerationSampler(seed=1, population=8))

    study.optimize(valley, n_trials=200)

    random = optuna.create_study(sampler=optuna.samplers.RandomSampler(seed=1))
    random.optimize(valley, n_trials=200)
    assert study.best_value < 0.1 * random.best_value


def test_integers_steps_and_choices_are_searched_too():
    """Nine choices out of six and three numbers on grids: drawn at random, few are right."""
    names = [f"choice_{place}" for place in range(9)]

    def wrong(trial):
        chosen = [trial.suggest_categorical(name, list("abcdef")) for name in names]
        whole = trial.suggest_int("whole", 0, 30)
        power = trial.suggest_int("power", 1, 1024, log=True)
        step = trial.suggest_float("step", 0.0, 5.0, step=0.25)
        missed = sum(got != right for got, right in zip(chosen, "abcdefabc", strict=True))
        off = abs(whole - 17) / 30 + abs(step - 2.5) / 5 + abs(np.log2(power) - 9) / 10
        return missed, off

    def least(sampler):
        study = _study(sampler, n_objectives=2)
        study.optimize(wrong, n_trials=300)
        return min(sum(trial.values) for trial in study.trials)

    ours = least(GenerationSampler(seed=1, population=24))

    assert ours < 0.5 * least(optuna.samplers.RandomSampler(seed=1))


def test_a_baseline_is_the_first_trial_also_where_no_space_is_declared():
    study = _study(_small(search_space=None))

    study.optimize(_narrow, n_trials=3)

    assert study.trials[0].params == BASELINE


def test_a_third_of_the_first_generation_lies_about_a_baseline_and_none_about_nothing():
    near = {}
    for baseline in (BASELINE, None):
        study = _study(_small(baseline=baseline, population=48))
        study.optimize(_narrow, n_trials=48)
        centre = to_unit(SMALL_BOX, _values(study)[:1])
        away = np.abs(to_unit(SMALL_BOX, _values(study)) - centre).max(axis=1)
        near[baseline is None] = int((away < 0.2).sum())

    assert near[False] >= 12
    assert near[True] <= 8  # a cube of that size is 6 % of the whole


def test_infinite_outcomes_count_as_beyond_all_others():
    trials = [
        create_trial(
            params={"x": 0.1 * place},
            distributions={"x": FloatDistribution(0.0, 1.0)},
            values=[value, 1.0],
            constraints={"c": -value},
        )
        for place, value in enumerate((3.0, math.inf, 7.0, -math.inf))
    ]

    known = observed_trials(trials, trials[0].distributions, np.array([1.0, -1.0]))

    first, second = known.observed.history.objectives.T
    assert first[1] > 7.0
    assert first[3] < 3.0
    assert np.isfinite(first).all()
    assert (second == -1.0).all()
    assert np.argsort(known.observed.history.constraints[:, 0]).tolist() == [1, 2, 0, 3]


def test_infinite_outcomes_are_left():
    def cliff(trial):
        first, second, third = _narrow(trial)
        fell = trial.params["ratio"] > 0.5
        return (math.inf, second, math.inf) if fell else (first, second, third)

    study = _study(_small())

    study.optimize(cliff, n_trials=120)

    fell = [math.inf in trial.values for trial in study.trials]
    assert any(fell[:40])
    assert np.mean(fell[80:]) < 0.1


def test_more_objectives_other_weights_and_strange_baselines_are_refused():
    for sampler, n_objectives, message in (
        (_small(), 4, "1 to 3 objectives"),
        (_small(weights=[1.0, 2.0]), 3, "weights"),
        (_small(baseline={"ratio": 0.0}), 3, "baseline: has no gain_a_per_deg, rate_hz"),
        (_small(baseline=BASELINE | {"ratio": 7.0}), 3, "ratio: the baseline must lie"),
    ):
        with pytest.raises(ValueError, match=message):
            _study(sampler, n_objectives=n_objectives).ask(DECLARED)
    for wrong in ({"population": 3}, {"seed": -1}):
        with pytest.raises(ValueError, match=r"must be|needs"):
            _small(**wrong)


def test_without_a_seed_two_samplers_differ():
    first, second = (_study(_small(seed=None, baseline=None)) for _ in range(2))
    for study in (first, second):
        study.optimize(_narrow, n_trials=8)

    assert _values(first).tobytes() != _values(second).tobytes()


def test_best_trials_are_the_front_that_the_search_counts():
    study = _study(_small())
    study.optimize(_narrow, n_trials=120)

    numbers = {trial.number for trial in study.best_trials}

    outcome = narrow(_values(study))
    ours = np.flatnonzero(non_dominated(outcome.objectives, outcome.constraints))
    assert numbers == set(ours.tolist())


def _found(sampler, evaluate, *, n_objectives, n_trials):
    study = _study(sampler, n_objectives=n_objectives)

    def objective(trial):
        values = [[trial.suggest_float(name, 0.0, 1.0) for name in UNIT_BOX.names]]
        return evaluate(np.array(values)).objectives[0].tolist()

    study.optimize(objective, n_trials=n_trials)
    return np.array([trial.values for trial in study.trials])


@pytest.mark.parametrize(
    ("evaluate", "n_objectives", "n_trials", "seeds"),
    [
        pytest.param(dtlz2, 3, 480, (0,), marks=pytest.mark.slow),
        pytest.param(zdt1, 2, 1008, (0, 1, 2), marks=pytest.mark.proof),
        pytest.param(dtlz2, 3, 1008, (0, 1, 2), marks=pytest.mark.proof),
    ],
)
def test_as_many_trials_cover_more_than_stock_nsga_ii(evaluate, n_objectives, n_trials, seeds):
    """ZDT1 and DTLZ2 of 25 parameters, median of the seeds, random starts, equal populations."""

    def ours(seed):
        start = np.random.default_rng(seed).random(len(UNIT_BOX.names)).tolist()
        return GenerationSampler(
            seed=seed,
            search_space=distributions(UNIT_BOX),
            baseline=dict(zip(UNIT_BOX.names, start, strict=True)),
        )

    def stock(seed):
        return optuna.samplers.NSGAIISampler(population_size=48, seed=seed)

    medians = [
        np.median(
            [
                hypervolume(
                    _found(make(seed), evaluate, n_objectives=n_objectives, n_trials=n_trials),
                    [2.0] * n_objectives,
                )
                for seed in seeds
            ]
        )
        for make in (ours, stock)
    ]

    assert medians[0] > medians[1]
