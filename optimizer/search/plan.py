"""What a search proposes from; fixed for its whole life."""

from dataclasses import dataclass, field

import numpy as np

from optimizer.search.composite import DIRECT, CompositeObjectives
from optimizer.search.cost_descent import Descent
from optimizer.search.space import Space, clip
from optimizer.search.variation import Operators
from plant.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What a study proposes from; fixed for its whole life.

    Parameters
    ----------
    space : Space
        The searched parameters.
    baseline : (parameter,) float64
        The known profile, candidate number 0, inside the space.
    seed : int
        The study's seed, 0 or above.
    population : int
        Candidates in a generation, 4 or more.
    operators : Operators
        Constants of the search.
    start : (profile, parameter) float64
        Known good profiles inside the space, ridden after the baseline; none if empty.
    weights : (objective,) float64
        Of two or three minimised objectives: what counts how much where the search looks for one
        best profile beside the front.
    descent : Descent
        Constants of that part of the search.
    composite : CompositeObjectives
        How objectives and constraints are made of components.

    Raises
    ------
    ValueError
        The baseline or a profile to start from is outside the space, the population too small,
        the seed negative, or the weights of another number of objectives than two or three.
    """

    space: Space
    baseline: Floats
    seed: int
    weights: Floats
    population: int = 48
    operators: Operators = field(default_factory=Operators)
    descent: Descent = field(default_factory=Descent)
    start: Floats = field(default_factory=lambda: np.empty((0, 0)))
    composite: CompositeObjectives = DIRECT

    @property
    def n_objectives(self) -> int:
        """Number of objectives."""
        return len(self.weights)

    def __post_init__(self) -> None:
        if self.n_objectives not in (2, 3):
            raise ValueError(f"the search needs 2 or 3 objectives, got {self.n_objectives}")
        if self.population < 4:
            raise ValueError(f"a population needs at least 4 candidates, got {self.population}")
        if self.seed < 0:
            raise ValueError(f"a seed must be 0 or above, got {self.seed}")
        if np.shape(self.baseline) != (self.space.n_parameters,):
            raise ValueError(
                f"the baseline needs {self.space.n_parameters} values,"
                f" got shape {np.shape(self.baseline)}"
            )
        for name, value, low, high in zip(
            self.space.names, self.baseline, self.space.low, self.space.high, strict=True
        ):
            if not low <= value <= high:
                raise ValueError(f"{name}: the baseline must lie from {low} to {high}, got {value}")
        start = self.start
        if len(start) and not np.array_equal(start, clip(self.space, start)):
            raise ValueError("every profile to start from must lie inside the space")
