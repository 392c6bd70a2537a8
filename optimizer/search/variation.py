"""Children of good candidates: tournament, mixed crossover and polynomial mutation.

All in the unit cube and over whole arrays. Half of the crossovers swap parameters between two
parents, half blend them (BLX-alpha: Eshelman and Schaffer 1993, Foundations of Genetic Algorithms
2: 187-202). Children are clipped to the cube, not drawn again: drawing again starves the bounds,
where optima often sit. Half of the children mutate a little in many parameters, by Deb and
Agrawal's polynomial form as in NSGA-II's C code; the other half have one or two drawn anew from the
whole range, without which a search stays in the basin that it first comes to.
"""

from dataclasses import dataclass

import numpy as np

from plant.arrays import Floats
from plant.elementary import exponential, logarithm


@dataclass(frozen=True, slots=True, kw_only=True)
class Operators:
    """Constants of the search; a study freezes them.

    The defaults come from runs of 500 to 2,000 candidates on DTLZ2, DTLZ7 and three constrained
    problems of 25 parameters; a screened share of three quarters with a fifth of the parameters
    mutated reached more hypervolume there than a half with one parameter in 25. Redrawing and
    deviations were chosen on an emulator of the example study.

    Attributes
    ----------
    crossover_probability, blend_alpha, mutation_probability, mutation_index : float
    redrawn_share, redrawn_parameters : float
        Share of the children that have parameters drawn anew, and how many in the mean.
    copies_share, copies_sigma : float
        Of the first generation: copies of the baseline and their scatter in the unit cube.
    screened_share : float
        Of a generation, chosen on the surrogate.
    screened_from : int
        Candidates ridden before.
    brood_factor, kept_factor, broods : int
        Children of a brood and the best of them that breed on, in populations; number of broods.
    surrogate_points : int
        Latest candidates that the surrogate passes through.
    deviations : tuple of float
        One for each generation in turn; see `surrogate.fitted`. At 0 what is known is put to use,
        above it what is not known is tried.
    """

    crossover_probability: float = 0.9
    blend_alpha: float = 0.35
    mutation_probability: float = 0.2
    mutation_index: float = 20.0
    redrawn_share: float = 0.5
    redrawn_parameters: float = 1.5
    copies_share: float = 1.0 / 3.0
    copies_sigma: float = 0.1
    screened_share: float = 0.75
    screened_from: int = 96
    brood_factor: int = 10
    kept_factor: int = 2
    broods: int = 3
    surrogate_points: int = 700
    deviations: tuple[float, ...] = (0.0, 0.5, 1.5)


def children(
    parents: Floats, *, n_children: int, rng: np.random.Generator, operators: Operators
) -> Floats:
    """Return children of the parents.

    Parameters
    ----------
    parents : (candidate, parameter) float64
        Points of the unit cube, the best first.
    n_children : int
        How many to make.

    Returns
    -------
    (`n_children`, parameter) float64
        Points of the unit cube.
    """
    mother, father = (_tournament(parents, n_children, rng=rng) for _ in range(2))
    crossed = _crossover(mother, father, rng=rng, alpha=operators.blend_alpha)
    crosses = rng.random(n_children) < operators.crossover_probability
    child = np.clip(np.where(crosses[:, None], crossed, mother), 0.0, 1.0)
    mutates = rng.random(child.shape) < operators.mutation_probability
    moved = np.where(mutates, _mutation(child, rng=rng, index=operators.mutation_index), child)
    draws = rng.random(child.shape) < operators.redrawn_parameters / child.shape[1]
    redrawn = np.where(draws, rng.random(child.shape), child)
    is_redrawn = rng.random(n_children) < operators.redrawn_share
    return np.where(is_redrawn[:, None], redrawn, moved)


def _tournament(parents: Floats, n_children: int, *, rng: np.random.Generator) -> Floats:
    pairs = rng.integers(len(parents), size=(n_children, 2))
    winners: Floats = parents[pairs.min(axis=1)]
    return winners


def _crossover(mother: Floats, father: Floats, *, rng: np.random.Generator, alpha: float) -> Floats:
    width = np.abs(mother - father)
    start = np.minimum(mother, father) - alpha * width
    blended = start + rng.random(mother.shape) * (1.0 + 2.0 * alpha) * width
    swapped = np.where(rng.random(mother.shape) < 0.5, mother, father)
    blends = rng.random(len(mother)) < 0.5
    return np.where(blends[:, None], blended, swapped)


def _mutation(point: Floats, *, rng: np.random.Generator, index: float) -> Floats:
    draw = rng.random(point.shape)
    goes_down = draw <= 0.5
    # Up is down from the other end, and the draw too is counted from there.
    way, share = np.where(goes_down, (point, draw), (1.0 - point, 1.0 - draw))
    near = exponential((index + 1.0) * logarithm(1.0 - way))
    moved = 1.0 - exponential(logarithm(2.0 * share + (1.0 - 2.0 * share) * near) / (index + 1.0))
    return np.clip(np.where(goes_down, point - moved, point + moved), 0.0, 1.0)
