"""Points of a Sobol sequence, from a library that is loaded where points are drawn."""

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
    # It takes longer to load than all else that a command needs to show a front.
    from scipy.stats import qmc  # noqa: PLC0415

    return qmc.Sobol(d=n_dimensions, scramble=True, rng=rng).random
