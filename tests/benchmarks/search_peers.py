"""The searches that are compared: ours, optuna's samplers as they come, and pymoo's.

Each is a loop over a `Recorder`, which evaluates batches until it holds what was asked for. Every
peer meets constraints by its own means. Known points are the same for all: ours gets the first as
its baseline and the others to start from, optuna's are enqueued, pymoo's stand in the first
population. Where none is known ours gets a random point as its baseline, because it always has one.
"""

import dataclasses
import json
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import optuna
from pymoo.algorithms.moo.age import AGEMOEA
from pymoo.algorithms.moo.nsga2 import NSGA2
from pymoo.algorithms.moo.nsga3 import NSGA3
from pymoo.core.evaluator import Evaluator
from pymoo.core.problem import Problem as PymooProblem
from pymoo.core.termination import NoTermination
from pymoo.problems.static import StaticProblem
from pymoo.util.ref_dirs import get_reference_directions

from objectives import Components
from optimizer.execution.store import Store
from optimizer.search import loop
from optimizer.search.cost_descent import Descent
from optimizer.search.evaluation import NO_HISTORY, Evaluation, History
from optimizer.search.frozen_settings import METHOD
from optimizer.search.imputation import imputed
from optimizer.search.optuna_trials import distributions
from optimizer.search.plan import Plan
from optimizer.search.space import from_unit, to_unit
from optimizer.search.variation import Operators
from tests.benchmarks.search_problems import Floats, Problem
from tests.benchmarks.search_runs import Recorder

POPULATION = 48  # of ours and of pymoo's; optuna's own default is 50
_DIVISIONS = {2: POPULATION - 1, 3: 8}  # reference directions of NSGA-III: 48 and 45


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """A search and what its runs depend on besides problem, seed and start."""

    search: Callable[..., None]
    key: str


class Observer:
    """What a peer observes of a problem: its candidates' outcomes, nothing of them unknown.

    Its first batch is evaluated whole, as ours is. Later candidates that break a constraint ride no
    hard rides, and what is not known of them is that of the nearest known candidate, as in our own
    search. Their violations, by which the peers rank what is infeasible, are known exactly.
    """

    def __init__(self, recorder: Recorder, problem: Problem) -> None:
        self._recorder = recorder
        self._problem = problem
        self._history = NO_HISTORY

    def __call__(self, values: Floats, /) -> Evaluation:
        """Evaluate a batch."""
        start = len(self._history)
        sparing = self._problem.sparing if start else None
        evaluate = self._recorder if sparing is None else self._recorder.by(sparing)
        outcome = evaluate(values)
        self._history = self._history.followed_by(
            History(values=values, objectives=outcome.objectives, constraints=outcome.constraints)
        )
        nothing = np.empty((len(self._history), 0))
        components = Components(costs=nothing, margins=nothing, limits=nothing)
        observed = imputed(self._history, components, self._problem.space, start=start)
        return dataclasses.replace(outcome, objectives=observed.history.objectives)


def plain_sum(problem: Problem, baseline: Floats) -> Floats:
    """Return the weights by which our weighted cost is the sum of the objectives."""
    known = problem.evaluate(baseline[None, :]).objectives[0]
    return np.where(known > 0.0, known, 1.0)


def _ours(recorder: Recorder, problem: Problem, *, seed: int, known: Floats) -> None:
    rng = np.random.default_rng(seed)
    somewhere = from_unit(problem.space, rng.random(problem.space.n_parameters))
    baseline = known[0] if len(known) else somewhere
    later = problem.later
    equal = np.ones(problem.n_objectives)
    plan = Plan(
        space=problem.space,
        baseline=baseline,
        seed=seed,
        population=POPULATION,
        start=known[1:],
        weights=plain_sum(problem, baseline) if problem.asks_for_sum else equal,
        composite=problem.composite,
    )
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "store.sqlite") as store:
        loop.run(
            recorder,
            plan,
            store,
            n_candidates=recorder.n_wanted,
            later=None if later is None else lambda first: recorder.by(later(first)),
        )


def _optuna(
    sampler: Callable[..., optuna.samplers.BaseSampler],
    batch: int,
    recorder: Recorder,
    problem: Problem,
    *,
    seed: int,
    known: Floats,
) -> None:
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    names, ranges = problem.space.names, distributions(problem.space)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)  # NSGA-III's
        chosen = sampler(seed=seed)
    study = optuna.create_study(directions=["minimize"] * problem.n_objectives, sampler=chosen)
    for values in known.tolist():
        study.enqueue_trial(dict(zip(names, values, strict=True)))
    observe = Observer(recorder, problem)
    while not recorder.full:
        trials = [study.ask(ranges) for _ in range(batch)]
        outcome = observe(np.array([[trial.params[name] for name in names] for trial in trials]))
        for trial, objectives, constraints in zip(
            trials, outcome.objectives, outcome.constraints, strict=True
        ):
            for column, value in enumerate(constraints.tolist()):
                trial.set_constraint(f"{column:03d}", value)
            study.tell(trial, objectives.tolist())


def _pymoo(
    make: Callable[..., Any], recorder: Recorder, problem: Problem, *, seed: int, known: Floats
) -> None:
    n_parameters, n_objectives = problem.space.n_parameters, problem.n_objectives
    n_constraints = problem.evaluate(problem.baseline[None, :]).constraints.shape[1]
    # pymoo knows no ratio scales: it searches the unit cube.
    declared = PymooProblem(
        n_var=n_parameters, n_obj=n_objectives, n_ieq_constr=n_constraints, xl=0.0, xu=1.0
    )
    first = np.random.default_rng(seed).random((POPULATION, n_parameters))
    if len(known):
        first[: len(known)] = to_unit(problem.space, known)
    algorithm = make(n_objectives, first)
    algorithm.setup(declared, termination=NoTermination(), seed=seed, verbose=False)
    observe = Observer(recorder, problem)
    while not recorder.full:
        asked = algorithm.ask()
        outcome = observe(from_unit(problem.space, asked.get("X")))
        values = {"F": outcome.objectives}
        if n_constraints:
            values["G"] = outcome.constraints
        Evaluator().eval(StaticProblem(declared, **values), asked)
        algorithm.tell(infills=asked)


def _nsga2(n_objectives: int, first: Any) -> Any:
    return NSGA2(pop_size=POPULATION, sampling=first)


def _nsga3(n_objectives: int, first: Any) -> Any:
    directions = get_reference_directions(
        "das-dennis", n_objectives, n_partitions=_DIVISIONS[n_objectives]
    )
    return NSGA3(ref_dirs=directions, pop_size=POPULATION, sampling=first)


def _age_moea(n_objectives: int, first: Any) -> Any:
    return AGEMOEA(pop_size=POPULATION, sampling=first)


_OPTUNA_KEY, _PYMOO_KEY = f"optuna {version('optuna')}", f"pymoo {version('pymoo')}"
OURS = "ours"
METHODS = {
    OURS: Method(search=_ours, key=json.dumps([METHOD, repr(Operators()), repr(Descent())])),
    "optuna-nsga2": Method(
        search=partial(_optuna, optuna.samplers.NSGAIISampler, 50), key=_OPTUNA_KEY
    ),
    "optuna-nsga3": Method(
        search=partial(_optuna, optuna.samplers.NSGAIIISampler, 50), key=_OPTUNA_KEY
    ),
    "optuna-tpe": Method(search=partial(_optuna, optuna.samplers.TPESampler, 1), key=_OPTUNA_KEY),
    "pymoo-nsga2": Method(search=partial(_pymoo, _nsga2), key=_PYMOO_KEY),
    "pymoo-nsga3": Method(search=partial(_pymoo, _nsga3), key=_PYMOO_KEY),
    "pymoo-age-moea": Method(search=partial(_pymoo, _age_moea), key=_PYMOO_KEY),
}
