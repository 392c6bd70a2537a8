"""Rides that share their road, as the kernel takes them."""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from plant.kernel.course_tables import CourseTables


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidGroup:
    """Rides over one course on tyres of one size.

    Attributes
    ----------
    tables : CourseTables
        What all of them ride along.
    places : (ride,) int64
        Which of the rides they are.
    templates : (ride, row) float64
        Each at its start, less its profile: see `plant.kernel.lane_init.lane_template`.
    """

    tables: CourseTables
    places: NDArray[np.int64]
    templates: NDArray[np.float64]
