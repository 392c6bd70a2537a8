"""What a search takes for objectives that are not known: those of the nearest known candidate.

It depends on nothing that a later simulation would add, so a resumed search proposes the same.
"""

from dataclasses import replace

import numpy as np

from objectives import Components
from optimizer.search.evaluation import History, Observed
from optimizer.search.space import Space, to_unit
from plant.arrays import Floats, Indices


def imputed(history: History, components: Components, space: Space, *, start: int = 0) -> Observed:
    """Return observed data with every unknown objective filled in.

    Parameters
    ----------
    history : History
        The first candidate's objectives are known.
    components : Components
        Of all these candidates; NaN where they are not known.
    space : Space
    start : int
        Number of the first candidate that is asked for.

    Returns
    -------
    Observed
        From `start` on, finite: what is not known is that of the nearest candidate known before, so
        that it neither attracts the search nor repels it; the constraints still say that the
        candidate fails.
    """
    known = _known(history, space, start=start)
    own = components.taken(slice(start, None))
    other = components.taken(known)
    rows = history.rows(start, len(history))
    return Observed(
        history=replace(rows, objectives=_filled(rows.objectives, history.objectives[known])),
        components=Components(
            costs=_filled(own.costs, other.costs),
            margins=_filled(own.margins, other.margins),
            limits=_filled(own.limits, other.limits),
        ),
    )


def _filled(values: Floats, other: Floats) -> Floats:
    """Return values, and the other's where one is NaN."""
    return np.where(np.isnan(values), other, values)


def _known(history: History, space: Space, *, start: int) -> Indices:
    """Return whose objectives stand for each candidate: its own, or those of the nearest known."""
    unknown = np.asarray(np.isnan(history.objectives).any(axis=1))
    observed = np.arange(start, len(history))
    if unknown[start:].any():
        points = to_unit(space, history.values)
    for number in start + np.flatnonzero(unknown[start:]):
        known = np.flatnonzero(~unknown[:number])
        away = ((points[known] - points[number]) ** 2).sum(axis=1)
        observed[number - start] = known[np.argmin(away)]
    return observed
