"""What a search takes for objectives that are not known: those of the nearest known candidate.

The same whether or not anybody simulates the rest, so a resumed search proposes the same.
"""

from dataclasses import replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives import Components
from optimizer.search.evaluation import History, Observed
from optimizer.search.space import Space, to_unit

Places: TypeAlias = NDArray[np.intp]


def imputed(history: History, components: Components, space: Space, *, start: int = 0) -> Observed:
    """Return candidates as a search is told them.

    Parameters
    ----------
    history : History
        The first candidate's objectives are known.
    parts : Parts
        Of all these candidates; NaN where they are not known.
    space : Space
    start : int
        Number of the first candidate that is asked for.

    Returns
    -------
    Told
        From `start` on, finite: what is not known is that of the nearest candidate known before, so
        that it neither draws the search nor keeps it away; that the candidate fails, its
        constraints tell.
    """
    known = _known(history, space, start=start)
    own = components.taken(slice(start, None))
    limits = np.where(np.isnan(own.limits), components.limits[known], own.limits)
    rows = history.rows(start, len(history))
    return Observed(
        history=replace(rows, objectives=history.objectives[known]),
        components=replace(components.taken(known), limits=limits),
    )


def _known(history: History, space: Space, *, start: int) -> Places:
    """Return whose objectives each candidate is told: its own, or the nearest's known before."""
    unknown = np.asarray(np.isnan(history.objectives).any(axis=1))
    observed = np.arange(start, len(history))
    if unknown[start:].any():
        points = to_unit(space, history.values)
    for number in start + np.flatnonzero(unknown[start:]):
        known = np.flatnonzero(~unknown[:number])
        away = ((points[known] - points[number]) ** 2).sum(axis=1)
        observed[number - start] = known[np.argmin(away)]
    return observed
