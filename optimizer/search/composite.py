"""Objectives and constraints made of components that a surrogate can predict."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from objectives import (
    Components,
    ScoreRules,
    components_of_rides,
    meet_simulation_free,
    score_of_components,
)
from optimizer.search.evaluation import Evaluation
from plant.arrays import Floats


class CompositeObjectives(Protocol):
    """Splits outcomes into components, and makes outcomes of predicted components."""

    @property
    def name(self) -> str:
        """What a study freezes."""
        ...

    @property
    def steepness_powers(self) -> tuple[float, ...]:
        """How far parameters may count by the slopes along them: 0 not at all, 1 in proportion."""
        ...

    def components(self, evaluation: Evaluation) -> Components:
        """Return the components of evaluated candidates; NaN where they are not known."""
        ...

    def whole(self, components: Components) -> tuple[Floats, Floats]:
        """Return the objectives and constraints of predicted components, (candidate, ...)."""
        ...

    def pre_feasible(self, values: Floats) -> NDArray[np.bool_]:
        """Say which candidates meet the simulation-free constraints, (candidate,).

        There may be none; `values` are (candidate, parameter).
        """
        ...


class DirectObjectives:
    """Objectives and constraints that are predicted as they are."""

    name = "undivided"
    steepness_powers = (0.5,)

    def components(self, evaluation: Evaluation) -> Components:
        """Return objectives as costs and constraints as limits."""
        return Components(
            costs=evaluation.objectives,
            margins=np.empty((len(evaluation.objectives), 0)),
            limits=evaluation.constraints,
        )

    def whole(self, components: Components) -> tuple[Floats, Floats]:
        """Return costs as objectives and limits as constraints."""
        return components.costs, components.limits

    def pre_feasible(self, values: Floats) -> NDArray[np.bool_]:
        """Say that all do: there are no such constraints."""
        return np.ones(len(values), dtype=np.bool_)


DIRECT = DirectObjectives()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PerRideObjectives:
    """Objectives and constraints of a study, made of what each of its rides measured.

    Parameters
    ----------
    rules : ScoreRules
        Of the study's rides.
    profiles : callable
        From searched values to whole profiles, both (candidate, parameter).
    """

    rules: ScoreRules
    profiles: Callable[[Floats], Floats]
    name: str = "ride by ride"
    steepness_powers: tuple[float, ...] = (0.5, 1.0)

    def components(self, evaluation: Evaluation) -> Components:
        """Return what each ride measured; NaN where a candidate did not ride it."""
        return components_of_rides(evaluation.rides, evaluation.constraints, self.rules)

    def whole(self, components: Components) -> tuple[Floats, Floats]:
        """Return the score that predicted rides make."""
        return score_of_components(components, self.rules)

    def pre_feasible(self, values: Floats) -> NDArray[np.bool_]:
        """Say which meet the constraints on the linearised loop."""
        return meet_simulation_free(self.profiles(values), self.rules)
