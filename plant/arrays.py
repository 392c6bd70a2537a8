"""Types of arrays, under one name each."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]
Indices: TypeAlias = NDArray[np.intp]
