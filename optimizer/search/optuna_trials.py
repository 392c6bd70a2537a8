"""optuna's parameters and trials as the search's space and history, and back.

An integer, a step or a choice is searched as a number, each of its values a span of equal width
about it. Choices have no order, so a surrogate predicts less well along them.
"""

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from optuna.distributions import (
    BaseDistribution,
    CategoricalDistribution,
    FloatDistribution,
    IntDistribution,
)
from optuna.trial import FrozenTrial, TrialState

from optimizer.search.composite import DIRECT
from optimizer.search.evaluation import Evaluation, History, Observed
from optimizer.search.imputation import imputed
from optimizer.search.space import TYPED_STEPS, Space
from plant.arrays import Floats, Indices

Declared = Mapping[str, BaseDistribution]

_STEPS = 10**9  # as good as no grid, for values that are steps of their own


def distributions(space: Space) -> dict[str, BaseDistribution]:
    """Return a space as optuna declares it."""
    return {
        name: FloatDistribution(float(low), float(high), log=bool(by_ratio))
        for name, low, high, by_ratio in zip(
            space.names, space.low, space.high, space.log, strict=True
        )
    }


def space_of(declared: Declared, *, n_steps: int = TYPED_STEPS) -> Space:
    """Return the space of optuna's parameters.

    Parameters
    ----------
    declared : mapping of name to distribution
    n_steps : int
        Of floats that have no step of their own; see `Space`.

    Raises
    ------
    ValueError
        There is none, or one has a single value only.
    """
    ends = [_ends(distribution) for distribution in declared.values()]
    return Space(
        names=tuple(declared),
        low=np.array([low for low, _, _ in ends]),
        high=np.array([high for _, high, _ in ends]),
        log=np.array([log for _, _, log in ends]),
        n_steps=tuple(
            n_steps if isinstance(each, FloatDistribution) and each.step is None else _STEPS
            for each in declared.values()
        ),
    )


def row_of(declared: Declared, params: Mapping[str, Any]) -> Floats:
    """Return parameters as a row of the space, (parameter,)."""
    return np.array(
        [_number(distribution, params[name]) for name, distribution in declared.items()],
        dtype=np.float64,
    )


def params_of(declared: Declared, row: Floats) -> dict[str, Any]:
    """Return a row of the space as optuna's parameters, each the nearest value allowed."""
    return {
        name: _value(distribution, number)
        for (name, distribution), number in zip(declared.items(), row.tolist(), strict=True)
    }


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ObservedTrials:
    """Trials of one space as observed data.

    Attributes
    ----------
    numbers : (candidate,) int
        Numbers of the trials that count.
    observed : Observed
        Of these; all its objectives are minimised.
    """

    numbers: Indices
    observed: Observed


def observed_trials(
    trials: Sequence[FrozenTrial], declared: Declared, signs: Floats
) -> ObservedTrials | None:
    """Return the trials of a space as observed data; None if none of them counts.

    Finished trials count, and pruned ones that break a constraint: their constraints are observed,
    and their objectives those of the nearest finished trial before. Failed and running trials, and
    those without one of the parameters, do not count.

    Parameters
    ----------
    trials : sequence of FrozenTrial
        In number order.
    declared : mapping of name to distribution
    signs : (objective,) float64
        1 for an objective that is minimised, -1 for one that is maximised.
    """
    counted = [trial for trial in trials if _counts(trial, declared)]
    while counted and counted[0].state is TrialState.PRUNED:
        del counted[0]  # no finished trial before it has objectives to take
    if not counted:
        return None
    unknown = [math.nan] * len(signs)
    objectives = np.array(
        [trial.values if trial.state is TrialState.COMPLETE else unknown for trial in counted]
    )
    if len(signs) == 1:
        # The search is made for two or three: one counts as two that are equal.
        objectives = np.tile(objectives, 2)
    history = History(
        values=np.array([row_of(declared, trial.params) for trial in counted]),
        objectives=_finite(objectives * signs),
        constraints=_finite(_constraints(counted)),
    )
    components = DIRECT.components(
        Evaluation(
            objectives=history.objectives,
            constraints=history.constraints,
            rides=np.empty((len(history), 0, 0)),
        )
    )
    return ObservedTrials(
        numbers=np.array([trial.number for trial in counted], dtype=np.intp),
        observed=imputed(history, components, space_of(declared)),
    )


def _ends(distribution: BaseDistribution) -> tuple[float, float, bool]:
    """Return where the numbers of a parameter begin and end, and whether they go by ratio."""
    if isinstance(distribution, CategoricalDistribution):
        return -0.5, len(distribution.choices) - 0.5, False
    if isinstance(distribution, FloatDistribution | IntDistribution):
        half = 0.5 * (distribution.step or 0.0)
        return distribution.low - half, distribution.high + half, distribution.log
    raise ValueError(f"a parameter must be a float, an integer or a choice, got {distribution}")


def _number(distribution: BaseDistribution, value: Any) -> float:
    if isinstance(distribution, CategoricalDistribution):
        return float(distribution.to_internal_repr(value))
    return float(value)


def _value(distribution: BaseDistribution, number: float) -> Any:
    if isinstance(distribution, CategoricalDistribution):
        place = min(max(round(number), 0), len(distribution.choices) - 1)
        return distribution.choices[place]
    if not isinstance(distribution, FloatDistribution | IntDistribution):
        raise ValueError(f"a parameter must be a float, an integer or a choice, got {distribution}")
    low, high, step = distribution.low, distribution.high, distribution.step
    inside = min(max(number, low), high)
    if step is None:
        return inside
    # A range of steps ends at its last whole step.
    return low + min(round((inside - low) / step), math.floor((high - low) / step + 1e-9)) * step


def _counts(trial: FrozenTrial, declared: Declared) -> bool:
    if not all(
        name in trial.params and _allows(distribution, trial.params[name])
        for name, distribution in declared.items()
    ):
        return False
    breaks = any(value > 0.0 for value in trial.constraints.values())
    return trial.state is TrialState.COMPLETE or (trial.state is TrialState.PRUNED and breaks)


def _allows(distribution: BaseDistribution, value: Any) -> bool:
    if isinstance(distribution, CategoricalDistribution):
        return value in distribution.choices
    low, high, _ = _ends(distribution)
    return isinstance(value, int | float) and low <= value <= high


def _constraints(trials: Sequence[FrozenTrial]) -> Floats:
    """Return constraints, (candidate, constraint), by name; one that a trial has not is met."""
    found = [trial.constraints for trial in trials]
    names = sorted({name for constraints in found for name in constraints})
    rows = [[constraints.get(name, 0.0) for name in names] for constraints in found]
    return np.array(rows, dtype=np.float64).reshape(len(trials), len(names))


def _finite(outcomes: Floats) -> Floats:
    """Return outcomes with the infinite beyond the finite of their column, by its span."""
    bounded = outcomes.copy()
    for column in bounded.T:
        finite = column[np.isfinite(column)]
        low, high = (finite.min(), finite.max()) if len(finite) else (0.0, 0.0)
        span = max(high - low, 1.0)
        column[column == np.inf] = high + span
        column[column == -np.inf] = low - span
    return bounded
