"""optuna as the engine that asks for generations and is told their outcomes, all in memory.

Stock NSGA-II advances by counting finished trials, draws from a generator that lives in memory only
and orders its cached parents differently before and after a reload. The subclass here keeps the
interface and bookkeeping but makes every proposal a pure function of the plan and told trials.
"""

from typing import Any

import numpy as np
import optuna
from numpy.typing import NDArray
from optuna.distributions import BaseDistribution, FloatDistribution
from optuna.samplers import NSGAIISampler
from optuna.trial import FrozenTrial, Trial, TrialState, create_trial

from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, Observed
from optimizer.search.plan import (
    Plan,
)
from optimizer.search.proposals import (
    propose,
)
from optimizer.search.ranking import best_first
from optimizer.search.space import Space

Floats = NDArray[np.float64]


def distributions(space: Space) -> dict[str, BaseDistribution]:
    """Return the space as optuna declares it."""
    return {
        name: FloatDistribution(float(low), float(high), log=bool(by_ratio))
        for name, low, high, by_ratio in zip(
            space.names, space.low, space.high, space.log, strict=True
        )
    }


class GenerationSampler(NSGAIISampler):
    """NSGA-II over whole generations of a fixed space.

    Trial n belongs to generation n // population. Survivors of the generation before and of its own
    parents breed; see `selection.best_first` for who survives and `proposals` for the children.
    """

    def __init__(self, plan: Plan, *, n_jobs: int) -> None:
        super().__init__(population_size=plan.population)
        self._plan = plan
        self._n_jobs = n_jobs
        self._distributions = distributions(plan.space)
        self._observed = Observed(history=NO_HISTORY, components=NO_COMPONENTS)
        self._parents: list[list[int]] = [[]]
        self._proposed: tuple[int, Floats] | None = None

    def know(self, observed: Observed) -> None:
        """Take in what is told of the candidates after those known."""
        self._observed = self._observed.followed_by(observed)

    def infer_relative_search_space(
        self, study: optuna.Study, trial: FrozenTrial
    ) -> dict[str, BaseDistribution]:
        """Return the whole space, from the first trial on."""
        return self._distributions

    def get_trial_generation(self, study: optuna.Study, trial: FrozenTrial) -> int:
        """Return the trial's generation, from its number alone."""
        return trial.number // self._plan.population

    def get_population(self, study: optuna.Study, generation: int) -> list[FrozenTrial]:
        """Return the told trials of a generation."""
        trials = study.get_trials(deepcopy=False, states=(TrialState.COMPLETE,))
        return trials[generation * self._plan.population : (generation + 1) * self._plan.population]

    def select_parent(self, study: optuna.Study, generation: int) -> list[FrozenTrial]:
        """Return the survivors of the generation before and its parents, the best first."""
        trials = study.get_trials(deepcopy=False, states=(TrialState.COMPLETE,))
        history = self._observed.history
        start = (generation - 1) * self._plan.population
        pool = np.array(
            [*self._parents[generation - 1], *range(start, start + self._plan.population)]
        )
        best = best_first(
            history.objectives[pool],
            history.constraints[pool],
            n_best=self._plan.population,
        )
        return [trials[number] for number in pool[best]]

    def get_parent_population(self, study: optuna.Study, generation: int) -> list[FrozenTrial]:
        """Return the parents of a generation, the best first; none for the first."""
        for later in range(len(self._parents), generation + 1):
            chosen = self.select_parent(study, later)
            self._parents.append([trial.number for trial in chosen])
        trials = study.get_trials(deepcopy=False, states=(TrialState.COMPLETE,))
        return [trials[number] for number in self._parents[generation]]

    def sample_relative(
        self, study: optuna.Study, trial: FrozenTrial, search_space: dict[str, BaseDistribution]
    ) -> dict[str, Any]:
        """Return the trial's row of its generation, which is proposed at the first ask."""
        generation, row = divmod(trial.number, self._plan.population)
        if self._proposed is None or self._proposed[0] != generation:
            self._proposed = generation, self._propose(study, generation)
        values = self._proposed[1][row]
        return dict(zip(self._plan.space.names, values.tolist(), strict=True))

    def _propose(self, study: optuna.Study, generation: int) -> Floats:
        parents = [trial.number for trial in self.get_parent_population(study, generation)]
        return propose(
            self._plan,
            generation,
            observed=self._observed.rows(0, generation * self._plan.population),
            parents=np.array(parents, dtype=np.intp),
            n_jobs=self._n_jobs,
        )


class Proposer:
    """An optuna study in memory that is asked for and told whole generations.

    Parameters
    ----------
    plan : Plan
        What to propose from; all its objectives are minimised.
    n_jobs : int
        Threads that work on what to propose; how many changes nothing.
    """

    def __init__(self, plan: Plan, *, n_jobs: int = 1) -> None:
        # optuna would report each study on the user's terminal.
        optuna.logging.set_verbosity(optuna.logging.WARNING)
        self._plan = plan
        self._distributions = distributions(plan.space)
        self._asked: list[Trial] = []
        self._sampler = GenerationSampler(plan, n_jobs=n_jobs)
        self.study = optuna.create_study(
            directions=["minimize"] * plan.n_objectives, sampler=self._sampler
        )

    def ask(self) -> Floats:
        """Return the next generation, (population, parameter), the same until it is told."""
        if not self._asked:
            self._asked = [
                self.study.ask(self._distributions) for _ in range(self._plan.population)
            ]
        names = self._plan.space.names
        # Each look at a trial's parameters copies them all.
        asked = [trial.params for trial in self._asked]
        return np.array([[params[name] for name in names] for params in asked])

    def tell(self, observed: Observed) -> None:
        """Tell the outcome of the generation that was asked for, in number order."""
        outcomes = observed.history
        for trial, objectives, constraints in zip(
            self._asked, outcomes.objectives, outcomes.constraints, strict=True
        ):
            for key, value in _constraints(constraints).items():
                trial.set_constraint(key, value)
            self.study.tell(trial, objectives.tolist())
        self._asked = []
        self._sampler.know(observed)

    def restore(self, observed: Observed) -> None:
        """Add the whole generations of a stored history, as if they had been told here."""
        history = observed.history
        self.study.add_trials(
            create_trial(
                params=dict(zip(self._plan.space.names, values.tolist(), strict=True)),
                distributions=self._distributions,
                values=objectives.tolist(),
                constraints=_constraints(constraints),
            )
            for values, objectives, constraints in zip(
                history.values, history.objectives, history.constraints, strict=True
            )
        )
        self._sampler.know(observed)


def _constraints(row: Floats) -> dict[str, float]:
    # Zero-padded, so that sorting the keys gives the order of the columns.
    return {f"{column:03d}": float(value) for column, value in enumerate(row)}
