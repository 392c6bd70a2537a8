"""Which searched parameters a search determines, and which it leaves free, by several seeds."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from optimizer.analysis.results import Results
from optimizer.search.evaluation import BASELINE
from optimizer.search.space import to_unit

JUDGED = "lowest_cost"  # the pick whose parameters are compared
CHANCE = 0.05  # with which a parameter that is drawn at random may be called determined
NARROW = 0.25  # of the searched range: the most that is called determined
FREE_CHANCE = 0.5
DETERMINED, PARTLY, FREE = "determined", "partly", "free"


def parameter_spread(results: Sequence[Results]) -> pd.DataFrame:
    """Return which parameters the search determines, by their values in the picks of least cost.

    Spreads are in % of the searched range, by ratio where it is searched by ratio. Beside the one
    between seeds stands the one along a front, that the middle 90 % of its candidates span, as the
    mean over the seeds. What is free, or what the trade-off moves, is wide there too.

    Returns
    -------
    DataFrame
        Columns: parameter, low and high bound, baseline, lowest and highest over the seeds,
        between_seeds_percent, along_front_percent, and the word of `judged`.
    """
    with_pick = [each for each in results if JUDGED in each.picks]
    if len(with_pick) < 2:
        return pd.DataFrame()
    space = with_pick[0].study.space
    values = np.array([each.history.values[each.picks[JUDGED]] for each in with_pick])
    between = np.ptp(to_unit(space, values), axis=0)
    along = np.mean(
        [
            np.ptp(np.percentile(to_unit(space, front), [5.0, 95.0], axis=0), axis=0)
            for front in (each.history.values[each.on_front] for each in with_pick)
        ],
        axis=0,
    )
    return pd.DataFrame(
        {
            "parameter": space.names,
            "low": space.low,
            "high": space.high,
            "baseline": with_pick[0].history.values[BASELINE],
            "lowest": values.min(axis=0),
            "highest": values.max(axis=0),
            "between_seeds_percent": 100.0 * between,
            "along_front_percent": 100.0 * along,
            "judged": [judged(spread, n_seeds=len(with_pick)) for spread in between.tolist()],
        }
    )


def judged(spread: float, *, n_seeds: int) -> str:
    """Return a word for a parameter by the spread of its values under several seeds.

    It is determined where values that lie anywhere in the range, by chance alone, would lie so near
    one another in one case of twenty at most, and within a quarter of the range besides. It is free
    where they would in every second case.

    Parameters
    ----------
    spread : float
        The highest less the lowest value, over the searched range.
    n_seeds : int
        Two or more.
    """
    chance = within(spread, n_seeds)
    if chance <= CHANCE and spread <= NARROW:
        return DETERMINED
    return FREE if chance >= FREE_CHANCE else PARTLY


def within(spread: float, n_values: int) -> float:
    """Return the chance that values drawn evenly from 0 to 1 spread so little.

    The range of n even draws has the distribution Beta(n - 1, 2): David and Nagaraja (2003), Order
    Statistics, section 2.3; from memory.
    """
    return n_values * spread ** (n_values - 1) - (n_values - 1) * spread**n_values


def widest(chance: float, n_values: int) -> float:
    """Return the spread that values drawn evenly from 0 to 1 stay below in so many cases."""
    low, high = 0.0, 1.0
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if within(middle, n_values) < chance else (low, middle)
    return high
