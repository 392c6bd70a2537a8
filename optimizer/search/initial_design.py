"""The first generation: what is known, copies of it, and a design over the whole space."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from optimizer.search.plan import Plan
from optimizer.search.ranking import allowed_first
from optimizer.search.space import clip, from_unit, to_unit
from plant.arrays import Floats

_MOST_DRAWS = 16  # of points, until enough of them are pre-feasible


def known_and_spread(plan: Plan, generation: int, rng: np.random.Generator) -> Floats:
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

    def copies(n: int) -> Floats:
        drawn = rng.normal(centre, plan.operators.copies_sigma, (n, len(centre)))
        return np.clip(drawn, 0.0, 1.0)

    about = _drawn(plan, copies, n=n_copies)
    # A Sobol design is balanced only in powers of two: draw the next one and keep its head.
    design = qmc.Sobol(d=len(centre), scramble=True, rng=rng)
    spread = _drawn(plan, lambda n: design.random(2 ** n.bit_length()), n=n_spread)
    return np.vstack([known, from_unit(plan.space, np.vstack([about, spread]))])


def _drawn(plan: Plan, draw: Callable[[int], Floats], *, n: int) -> Floats:
    """Return the first `n` random points that are pre-feasible, then others where few are."""
    points = draw(n)
    may = pre_feasible(plan, points)
    for _ in range(_MOST_DRAWS - 1):
        if may.sum() >= n:
            break
        more = draw(n)
        points, may = np.vstack([points, more]), np.append(may, pre_feasible(plan, more))
    return points[allowed_first(may)[:n]]


def pre_feasible(plan: Plan, points: Floats) -> NDArray[np.bool_]:
    """Say which points of the unit cube meet the simulation-free constraints."""
    constraints = plan.composite.simulation_free(from_unit(plan.space, points))
    return np.asarray((constraints <= 0.0).all(axis=1))
