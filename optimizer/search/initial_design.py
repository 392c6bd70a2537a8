"""The first generation: what is known, copies of it, and a design over the whole space."""

from collections.abc import Callable, Set

import numpy as np
from numpy.typing import NDArray

from optimizer.base.sobol import scrambled_sobol
from optimizer.search.deduplicate import keys, unseen
from optimizer.search.plan import Plan
from optimizer.search.ranking import allowed_first
from optimizer.search.space import from_unit, on_grid, to_unit, unit_on_grid
from plant.arrays import Floats

_MOST_DRAWS = 16  # of points, until enough of them are pre-feasible


def known_and_spread(plan: Plan, generation: int, rng: np.random.Generator) -> Floats:
    """Mix the baseline, Gaussian copies of it and a scrambled Sobol design over the whole space.

    Profiles to start from come right after the baseline, in as many generations as they fill, and
    leave the rest less room. These and the baseline stay as they are: on another grid, the rides of
    a profile from another study would not be known any more. All others lie on the grid.
    """
    known = np.vstack([plan.baseline, *plan.start])
    known = known[generation * plan.population : (generation + 1) * plan.population]
    n_free = plan.population - len(known)
    n_copies = min(round((n_free + 1) * plan.operators.copies_share), n_free)
    n_spread = n_free - n_copies
    centre = to_unit(plan.space, plan.baseline)

    def copies(n: int) -> Floats:
        drawn = rng.normal(centre, plan.operators.copies_sigma, (n, len(centre)))
        return unit_on_grid(plan.space, drawn)

    taken = keys(to_unit(plan.space, known))
    about = _drawn(plan, copies, n=n_copies, taken=taken)
    # A Sobol design is balanced only in powers of two: draw the next one and keep its head.
    design = scrambled_sobol(len(centre), rng)

    def of_design(n: int) -> Floats:
        return unit_on_grid(plan.space, design(2 ** n.bit_length()))

    spread = _drawn(plan, of_design, n=n_spread, taken=taken | keys(about))
    return np.vstack(
        [known, on_grid(plan.space, from_unit(plan.space, np.vstack([about, spread])))]
    )


def _drawn(plan: Plan, draw: Callable[[int], Floats], *, n: int, taken: Set[bytes]) -> Floats:
    """Return the first `n` random points that are new and pre-feasible, then others."""
    points = draw(n)
    for _ in range(_MOST_DRAWS - 1):
        if _new_and_pre_feasible(plan, points, taken).sum() >= n:
            break
        points = np.vstack([points, draw(n)])
    return points[allowed_first(_new_and_pre_feasible(plan, points, taken))[:n]]


def _new_and_pre_feasible(plan: Plan, points: Floats, taken: Set[bytes]) -> NDArray[np.bool_]:
    new = np.zeros(len(points), dtype=np.bool_)
    new[unseen(points, taken)] = True
    return new & pre_feasible(plan, points)


def pre_feasible(plan: Plan, points: Floats) -> NDArray[np.bool_]:
    """Say which points of the unit cube meet the simulation-free constraints."""
    return plan.composite.pre_feasible(from_unit(plan.space, points))
