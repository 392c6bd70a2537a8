"""Draws from the spreads of several numbers at once."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from optimizer.base.sobol import scrambled_sobol
from optimizer.study.tolerances import Shape, Tolerance
from plant.arrays import Floats


def draws(tolerances: Sequence[Tolerance], n_draws: int, *, seed: int) -> Floats:
    """Return draws between the ends of every tolerance, (draw, tolerance), from -1 to 1.

    Sobol points, scrambled by the seed: they fill the box more evenly than independent draws.
    A normal spread reaches 1.5 at its cut-off.

    Parameters
    ----------
    tolerances : sequence of Tolerance
    n_draws : int
        A power of two keeps the points balanced.
    seed : int
    """
    if not tolerances:
        return np.zeros((n_draws, 0))
    points = scrambled_sobol(len(tolerances), np.random.default_rng(seed))
    unit = points(2 ** max(int(np.ceil(np.log2(n_draws))), 0))[:n_draws]
    normal = np.clip(ndtri(np.clip(unit, 1e-12, 1.0 - 1e-12)), -3.0, 3.0) / 2.0
    is_normal = np.array([tolerance.shape is Shape.NORMAL for tolerance in tolerances])
    return np.where(is_normal, normal, 2.0 * unit - 1.0)
