"""What one profile did on every ride of a study, as columns."""

import numpy as np

from objectives import RIDE_COLUMNS
from optimizer.analysis.columns import Columns, texts
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.kernel.outcomes import Outcome


def rides_columns(study: Study, rides: Floats) -> Columns:
    """Return what one profile did on every ride of a study, one row each.

    Parameters
    ----------
    study : Study
    rides : (ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`.

    Returns
    -------
    Columns
        The ride's name, its metrics, and in words how it ended; None where it was not ridden.
    """
    columns = dict(zip(RIDE_COLUMNS, rides.astype(np.float64).T, strict=True))
    codes = columns.pop("outcome")
    ended = [None if np.isnan(code) else Outcome(int(code)).message for code in codes]
    return {"ride": texts([ride.name for ride in study.rides]), **columns, "ended": texts(ended)}
