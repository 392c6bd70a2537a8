"""The candidates of one generation, a pure function of the seed, the generation and the history.

No generator lives from one generation to the next: each starts from (study seed, generation), which
is what makes a resumed study propose exactly what the uninterrupted one proposes.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from optimizer.evaluation import History
from optimizer.operators import Operators, children
from optimizer.screening import DECIMALS, screen
from optimizer.space import Space, clip, from_unit, to_unit

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


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

    Raises
    ------
    ValueError
        The baseline or a profile to start from is outside the space, the population too small or
        the seed negative.
    """

    space: Space
    baseline: Floats
    seed: int
    population: int = 48
    operators: Operators = field(default_factory=Operators)
    start: Floats = field(default_factory=lambda: np.empty((0, 0)))

    def __post_init__(self) -> None:
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


def propose(plan: Plan, generation: int, *, history: History, parents: Indices) -> Floats:
    """Return the candidates of a generation.

    Parameters
    ----------
    plan : Plan
    generation : int
        0 is the first.
    history : History
        All candidates of the generations before; empty for the first.
    parents : (parent,) int
        Numbers of the candidates that breed, the best first; not used for the first generations,
        which ride what is known.

    Returns
    -------
    (`plan.population`, parameter) float64
        Values inside the space.
    """
    rng = np.random.default_rng(np.random.SeedSequence(plan.seed, spawn_key=(generation,)))
    if generation * plan.population <= len(plan.start):
        return _known(plan, generation, rng)
    return from_unit(plan.space, _bred(plan, history, parents=parents, rng=rng))


def _known(plan: Plan, generation: int, rng: np.random.Generator) -> Floats:
    """Mix the baseline, Gaussian copies of it and a scrambled Sobol design over the whole space.

    Profiles to start from come right after the baseline, in as many generations as they fill, and
    leave the rest less room.
    """
    known = np.vstack([clip(plan.space, plan.baseline), *plan.start])
    known = known[generation * plan.population : (generation + 1) * plan.population]
    n_free = plan.population - len(known)
    n_copies = min(round((n_free + 1) * plan.operators.copies_share), n_free)
    n_spread = n_free - n_copies
    centre = to_unit(plan.space, plan.baseline)
    copies = rng.normal(centre, plan.operators.copies_sigma, (n_copies, len(centre)))
    # A Sobol design is balanced only in powers of two: draw the next one and keep its head.
    design = qmc.Sobol(d=len(centre), scramble=True, rng=rng).random_base2(n_spread.bit_length())
    drawn = from_unit(plan.space, np.vstack([np.clip(copies, 0.0, 1.0), design[:n_spread]]))
    return np.vstack([known, drawn])


def _bred(plan: Plan, history: History, *, parents: Indices, rng: np.random.Generator) -> Floats:
    """Return a generation in the unit cube: some children as they come, the others screened."""
    operators, population = plan.operators, plan.population
    points = to_unit(plan.space, history.values)
    brood = children(
        points[parents],
        n_children=operators.pool_factor * population,
        rng=rng,
        operators=operators,
    )
    pool = _unseen(brood, points)
    screens = len(history) >= operators.screened_from
    n_screened = round(population * operators.screened_share) if screens else 0
    plain, rest = np.split(pool, [min(population - n_screened, len(pool))])
    if n_screened and len(rest):
        best = screen(
            rest,
            points=points,
            objectives=history.objectives,
            constraints=history.constraints,
            n_chosen=n_screened,
            n_latest=operators.surrogate_points,
        )
        plain = np.vstack([plain, rest[best]])
    # Only a collapsed population breeds too few new points; fresh blood is what it needs.
    strangers = rng.random((population - len(plain), points.shape[1]))
    return np.vstack([plain, strangers])


def _unseen(brood: Floats, points: Floats) -> Floats:
    """Drop children that repeat a ridden point or an earlier child; the rest keep their order."""
    seen = {row.tobytes() for row in _rounded(points)}
    fresh = []
    for child, row in enumerate(_rounded(brood)):
        key = row.tobytes()
        if key not in seen:
            seen.add(key)
            fresh.append(child)
    return brood[fresh]


def _rounded(points: Floats) -> Floats:
    # Adding zero turns -0.0 into 0.0, whose bytes differ.
    return np.ascontiguousarray(np.round(points, DECIMALS) + 0.0)
