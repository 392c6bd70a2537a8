"""Points of a Sobol sequence, from a library that is loaded where points are drawn."""

import importlib
from collections.abc import Callable

import numpy as np

from plant.arrays import Floats


def scrambled_sobol(n_dimensions: int, rng: np.random.Generator) -> Callable[[int], Floats]:
    """Return the function that gives the next so many points of the unit cube, (point, dimension).

    They are balanced where their number is a power of two.

    Parameters
    ----------
    n_dimensions : int
    rng : Generator
        Scrambles them.
    """
    # scipy.stats takes longer to load than all else that a command needs to show a front.
    qmc = importlib.import_module("scipy.stats.qmc")
    draw: Callable[[int], Floats] = qmc.Sobol(d=n_dimensions, scramble=True, rng=rng).random
    return draw
