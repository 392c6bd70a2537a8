"""Made-up results of rides, to judge and count without riding."""

import numpy as np

from plant.kernel.metrics import METRIC_NAMES
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import Rides


def results(n_rides, *, ended=(), n_profiles=1, **columns):
    """Return rides of so many profiles, to their end but for `ended`, (place, outcome) each.

    `columns` are metrics, a number for all rides or one for each; the others are zero.
    """
    outcome = np.full((n_profiles, n_rides), Outcome.RIDDEN, dtype=np.int8)
    for place, how in ended:
        outcome[:, place] = how
    metrics = np.zeros((n_profiles, n_rides, len(METRIC_NAMES)))
    for name, values in columns.items():
        metrics[:, :, METRIC_NAMES.index(name)] = values
    return Rides(metrics=metrics, outcome=outcome)
