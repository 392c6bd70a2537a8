"""Mathematical functions of arrays, the same on every processor.

Numpy's own are computed in other ways on other kinds of processor, with other last bits. Sums,
products, quotients and square roots of arrays do not differ.
"""

from collections.abc import Callable

import numpy as np

from plant.arrays import Floats


def elementwise(function: Callable[[float], float], values: Floats) -> Floats:
    """Return a function of Python's `math` of every value, in the shape of the values."""
    found = np.fromiter(map(function, values.ravel().tolist()), np.float64, values.size)
    result: Floats = found.reshape(values.shape)
    return result
