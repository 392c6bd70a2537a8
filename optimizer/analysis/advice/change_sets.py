"""Sets of changes of a profile: which are tried, and what those that were ridden score."""

import dataclasses
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Self, TypeAlias

import numpy as np

from objectives import Components
from optimizer.analysis.sensitivity import moved_values
from optimizer.search.ranking import violation
from optimizer.search.space import Space, from_unit, on_grid, to_unit
from plant.arrays import Floats, Indices

ChangeSet: TypeAlias = tuple[tuple[int, float], ...]
"""Places in `Space.names` with the values they get, in the order of the places."""

UNCHANGED: ChangeSet = ()
_N_EXTENDED = 60  # sets that are extended by each single change
_OVER_THE_RANGE = (0.0, 0.25, 0.5, 0.75, 1.0)  # of a searched range, in the unit cube


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trials:
    """Change sets that were ridden; the first is `UNCHANGED`.

    Attributes
    ----------
    sets : tuple of ChangeSet
    cost : (set,) float64
        Weighted.
    constraints : (set, constraint) float64
        Met at 0 or below.
    components : Components
        What each ride measured, of which cost and constraints are made.
    feel : (set,) float64
        Pitch per acceleration, in deg per m/s2.
    """

    sets: tuple[ChangeSet, ...]
    cost: Floats
    constraints: Floats
    components: Components
    feel: Floats

    def followed_by(self, later: Self) -> Self:
        """Return these trials and later ones."""
        return type(self)(
            sets=self.sets + later.sets,
            cost=np.concatenate([self.cost, later.cost]),
            constraints=np.concatenate([self.constraints, later.constraints]),
            components=self.components.followed_by(later.components),
            feel=np.concatenate([self.feel, later.feel]),
        )

    def of_size(self, n_changes: int) -> Indices:
        """Return the places of the sets of so many changes, the best first.

        The least violation of constraints comes first, and among equal ones the least cost.
        """
        own = np.array([len(each) == n_changes for each in self.sets])
        places = np.flatnonzero(own)
        order = np.lexsort((self.cost[places], violation(self.constraints[places])))
        return places[order]

    def best(self, n_changes: int, *, limit: int, alike: int) -> list[ChangeSet]:
        """Return the best sets of so many changes, at most `alike` of the same parameters."""
        ordered = (self.sets[place] for place in self.of_size(n_changes).tolist())
        return _varied(ordered, limit=limit, alike=alike)


Predict: TypeAlias = Callable[[Trials, int, Indices], tuple[Floats, Floats]]
"""From trials, the place of a set and those of single changes to the predicted cost and violation,
each (single change,)."""


def values_to_try(space: Space, here: Floats, others: Floats) -> list[list[float]]:
    """Return the values that are tried of each parameter by itself, in rising order.

    They are those a little below and above, some over the whole searched range, and those that
    other profiles have. All lie on the grid of the search.

    Parameters
    ----------
    space : Space
    here : (parameter,) float64
        Searched values of the profile that is changed.
    others : (profile, parameter) float64
        Searched values of other profiles.
    """
    over = from_unit(space, np.tile(np.array(_OVER_THE_RANGE)[:, np.newaxis], space.n_parameters))
    rows = on_grid(space, np.vstack([moved_values(space, here), over, others]))
    return [sorted({*column} - {now}) for column, now in zip(rows.T.tolist(), here, strict=True)]


def single_changes(values: Sequence[Sequence[float]]) -> list[ChangeSet]:
    """Return the sets of one change each."""
    return [((place, value),) for place, column in enumerate(values) for value in column]


def other_values(values: Sequence[Sequence[float]], sets: Iterable[ChangeSet]) -> list[ChangeSet]:
    """Return sets with one value replaced by another that is tried of its parameter.

    Parameters
    ----------
    values : sequence of sequence of float
        From `values_to_try`.
    sets : iterable of ChangeSet
    """
    found = {
        _replaced(changes, which, other): None
        for changes in sets
        for which, (place, value) in enumerate(changes)
        for other in values[place]
        if other != value
    }
    return list(found)


def halfway(
    space: Space, here: Floats, values: Sequence[Sequence[float]], sets: Iterable[ChangeSet]
) -> list[ChangeSet]:
    """Return sets with one value halfway to the next that is tried below or above.

    Parameters
    ----------
    space : Space
    here : (parameter,) float64
        Searched values of the profile that is changed.
    values : sequence of sequence of float
        From `values_to_try`.
    sets : iterable of ChangeSet
    """
    found: dict[ChangeSet, None] = {}
    for changes in sets:
        for which, (place, value) in enumerate(changes):
            others = {*values[place], float(here[place])} - {value}
            below = max((other for other in others if other < value), default=None)
            above = min((other for other in others if other > value), default=None)
            for end in (below, above):
                between = value if end is None else _halfway(space, place, value, end)
                if between not in (value, end):
                    found[_replaced(changes, which, between)] = None
    return list(found)


def extended(trials: Trials, n_changes: int, predict: Predict, *, limit: int) -> list[ChangeSet]:
    """Return sets of one more change that promise most, none of them ridden yet.

    No two of them change the same parameters.

    Parameters
    ----------
    trials : Trials
        With single changes, and sets of `n_changes`.
    n_changes : int
        Of the sets that are extended, of which the best `_N_EXTENDED` are.
    predict : callable
        Says what to expect of a set with each of the single changes in it too.
    limit : int
        At most so many.
    """
    bases, singles = trials.of_size(n_changes)[:_N_EXTENDED], trials.of_size(1)
    predicted = [predict(trials, base, singles) for base in bases.tolist()]
    cost, excess = (np.concatenate(each) for each in zip(*predicted, strict=True))

    def joined() -> Iterable[ChangeSet]:
        for each in np.lexsort((cost, excess)).tolist():
            base = trials.sets[bases[each // len(singles)]]
            [(place, value)] = trials.sets[singles[each % len(singles)]]
            if all(place != other for other, _ in base):
                changes = tuple(sorted((*base, (place, value))))
                if changes not in trials.sets:
                    yield changes

    return _varied(joined(), limit=limit, alike=1)


def _varied(ordered: Iterable[ChangeSet], *, limit: int, alike: int) -> list[ChangeSet]:
    """Return the first sets, at most `alike` of the same parameters."""
    found: list[ChangeSet] = []
    of_parameters: Counter[tuple[int, ...]] = Counter()
    for changes in ordered:
        parameters = tuple(place for place, _ in changes)
        if of_parameters[parameters] < alike:
            of_parameters[parameters] += 1
            found.append(changes)
            if len(found) == limit:
                break
    return found


def _replaced(changes: ChangeSet, which: int, value: float) -> ChangeSet:
    return (*changes[:which], (changes[which][0], value), *changes[which + 1 :])


def _halfway(space: Space, place: int, one: float, other: float) -> float:
    """Return the value on the grid halfway between two values of a parameter."""
    rows = np.tile(space.low, (2, 1))
    rows[:, place] = one, other
    middle = to_unit(space, rows).mean(axis=0)
    return float(on_grid(space, from_unit(space, middle))[place])
