"""The search as a sampler of optuna's, for studies with an objective function of the user's own."""

import threading
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import optuna
from optuna.distributions import BaseDistribution
from optuna.samplers import BaseSampler, RandomSampler
from optuna.search_space import IntersectionSearchSpace
from optuna.study import StudyDirection
from optuna.trial import FrozenTrial, TrialState

from optimizer.base.hashing import spawned
from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, Observed
from optimizer.search.generations import NO_PARENTS, survivors
from optimizer.search.optuna_trials import (
    ObservedTrials,
    observed_trials,
    params_of,
    row_of,
    space_of,
)
from optimizer.search.plan import Plan
from optimizer.search.proposals import propose
from optimizer.search.space import TYPED_STEPS, on_grid
from optimizer.search.variation import Operators
from plant.arrays import Floats, Indices

_MOST_OBJECTIVES = 3
_KEPT = 4  # proposed generations: threads may still ask for rows of the one before
_NOTHING = Observed(history=NO_HISTORY, components=NO_COMPONENTS)


class GenerationSampler(BaseSampler):
    """The search of levelgain as a sampler for `optuna.create_study`.

    Trial n is row n % population of generation n // population. The first generation is a design
    over the whole space. A later one is a pure function of the seed and of the trials of the
    generations before it, so a study that is loaded again goes on as if it had never stopped.
    Trials that run at the same time never get the same row, and count from the next generation on.

    One, two or three objectives, minimised or maximised. Constraints are those of
    `Trial.set_constraint`. Floats are searched best, on a grid of numbers with few digits;
    integers, steps and choices as numbers. A parameter that not every trial has is drawn at random.
    A sampler serves one study.

    Parameters
    ----------
    seed : int, optional
        0 or above; drawn if not given.
    population : int
        Trials in a generation, 4 or more.
    search_space : mapping of name to distribution, optional
        The parameters, where they are known before the first trial; else those that all finished
        trials have.
    baseline : mapping of name to value, optional
        A known good point: the first trial, and a third of the first generation lies about it.
    weights : sequence of float, optional
        One for each objective: what counts how much where the search looks for one best point
        beside the front; all equal if not given.
    n_jobs : int
        Threads that work on what to propose; how many changes nothing.
    n_steps : int
        At least so many steps has the grid of a float between its bounds: 1, 2 or 5 times a power
        of ten each. A float on a log scale has as many significant digits as this number, or more
        where its bounds are close.

    Raises
    ------
    ValueError
        The population or the number of steps is too small, or the seed negative; while a study
        runs: it has more than three objectives, or other weights than objectives, or the baseline
        is not in the space.
    """

    def __init__(
        self,
        *,
        seed: int | None = None,
        population: int = 48,
        search_space: Mapping[str, BaseDistribution] | None = None,
        baseline: Mapping[str, Any] | None = None,
        weights: Sequence[float] | None = None,
        n_jobs: int = 1,
        n_steps: int = TYPED_STEPS,
    ) -> None:
        if population < 4:
            raise ValueError(f"a population needs at least 4 candidates, got {population}")
        if seed is not None and seed < 0:
            raise ValueError(f"a seed must be 0 or above, got {seed}")
        if n_steps < 1:
            raise ValueError(f"n_steps must be 1 or more, got {n_steps}")
        self._seed = int(np.random.SeedSequence().generate_state(1)[0]) if seed is None else seed
        self._population = population
        self._search_space = None if search_space is None else dict(search_space)
        self._baseline = None if baseline is None else dict(baseline)
        self._weights = weights
        self._n_jobs = n_jobs
        self._n_steps = n_steps
        self._common = IntersectionSearchSpace()
        self._proposed: dict[tuple[Any, ...], Floats] = {}
        self._lock = threading.Lock()

    def __getstate__(self) -> dict[str, Any]:
        return {**vars(self), "_lock": None, "_proposed": {}}

    def __setstate__(self, state: dict[str, Any]) -> None:
        vars(self).update(state, _lock=threading.Lock())

    def infer_relative_search_space(
        self, study: optuna.Study, trial: FrozenTrial
    ) -> dict[str, BaseDistribution]:
        """Return the parameters that are searched together."""
        space = self._search_space
        if space is None:
            with self._lock:
                space = self._common.calculate(study)
        return {name: declared for name, declared in space.items() if not declared.single()}

    def sample_relative(
        self, study: optuna.Study, trial: FrozenTrial, search_space: dict[str, BaseDistribution]
    ) -> dict[str, Any]:
        """Return the trial's row of its generation, which is proposed when it is first asked for.

        Raises
        ------
        ValueError
            More than three objectives, or a baseline or weights that do not fit.
        """
        if not search_space:
            return {}
        generation, row = divmod(trial.number, self._population)
        key = (study.study_name, generation, *search_space.items())
        with self._lock:
            if key not in self._proposed:
                self._proposed[key] = self._propose(study, generation, search_space)
            while len(self._proposed) > _KEPT:
                del self._proposed[next(iter(self._proposed))]
            return params_of(search_space, self._proposed[key][row])

    def sample_independent(
        self,
        study: optuna.Study,
        trial: FrozenTrial,
        param_name: str,
        param_distribution: BaseDistribution,
    ) -> Any:
        """Return the baseline's value for the first trial, else one drawn from the whole range."""
        if trial.number == 0 and self._baseline is not None and param_name in self._baseline:
            return self._baseline[param_name]
        drawn = spawned(self._seed, "independent", str(trial.number), param_name) % 2**32
        return RandomSampler(seed=drawn).sample_independent(
            study, trial, param_name, param_distribution
        )

    def _propose(
        self, study: optuna.Study, generation: int, declared: dict[str, BaseDistribution]
    ) -> Floats:
        signs = np.array(
            [-1.0 if way is StudyDirection.MAXIMIZE else 1.0 for way in study.directions]
        )
        trials = study.get_trials(deepcopy=False, states=(TrialState.COMPLETE, TrialState.PRUNED))
        before = [trial for trial in trials if trial.number < generation * self._population]
        known = observed_trials(before, declared, signs)
        return propose(
            self._plan(declared, n_objectives=len(signs)),
            generation,
            observed=_NOTHING if known is None else known.observed,
            parents=NO_PARENTS if known is None else self._parents(known),
            n_jobs=self._n_jobs,
        )

    def _plan(self, declared: dict[str, BaseDistribution], *, n_objectives: int) -> Plan:
        if n_objectives > _MOST_OBJECTIVES:
            raise ValueError(f"the search needs 1 to 3 objectives, got {n_objectives}")
        weights = np.ones(n_objectives) if self._weights is None else np.array(self._weights)
        if weights.shape != (n_objectives,):
            raise ValueError(f"weights: the study has {n_objectives} objectives, got {weights}")
        space = space_of(declared, n_steps=self._n_steps)
        if self._baseline is None:
            # About a point of which nothing is known there is nothing to copy.
            operators = Operators(copies_share=0.0)
            baseline = on_grid(space, 0.5 * (space.low + space.high))
        else:
            operators = Operators()
            missing = sorted(set(declared) - set(self._baseline))
            if missing:
                raise ValueError(f"baseline: has no {', '.join(missing)}")
            baseline = row_of(declared, self._baseline)
        return Plan(
            space=space,
            baseline=baseline,
            seed=self._seed,
            population=self._population,
            operators=operators,
            weights=weights if n_objectives > 1 else np.tile(weights, 2),  # as in `observed_trials`
        )

    def _parents(self, known: ObservedTrials) -> Indices:
        """Return the candidates that breed next, from generation to generation."""
        history = known.observed.history
        generations = known.numbers // self._population
        parents = NO_PARENTS
        for generation in np.unique(generations):
            places = np.flatnonzero(generations == generation).tolist()
            parents = survivors(history, parents, places, n_best=self._population)
        return parents
