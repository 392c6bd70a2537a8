"""What lies beyond ends of searched ranges at which much of the front lies, after riding there."""

import dataclasses
from collections.abc import Sequence

import numpy as np

from objectives import OBJECTIVES
from optimizer.analysis.candidate_numbers import candidate_numbers
from optimizer.analysis.constraint_facts import broken
from optimizer.analysis.pinned_ends import NEAR, PinnedEnd
from optimizer.analysis.profile_costs import candidate_yardstick, scored_profiles
from optimizer.analysis.results import Results
from optimizer.base.messages import signed_percent
from optimizer.base.typed_digits import typed
from optimizer.execution.evaluate import whole_profiles
from optimizer.search.space import to_unit
from plant.arrays import Floats

_BEYOND = 0.1  # of the searched range
_SHOWS = 0.002  # a smaller change of the weighted cost shows nothing


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BeyondEnd:
    """What a candidate at such an end does beyond it.

    Attributes
    ----------
    pinned : PinnedEnd
    number : int
        Of the candidate of least weighted cost at the end.
    value : float
        Of the parameter beyond the end.
    cost, moved_cost : float
        Weighted cost of the candidate at the end and beyond it.
    objectives, moved_objectives : (objective,) float64
    fails : list of str
        What the moved profile fails, in words.
    """

    pinned: PinnedEnd
    number: int
    value: float
    cost: float
    moved_cost: float
    objectives: Floats
    moved_objectives: Floats
    fails: list[str]

    @property
    def sentence(self) -> str:
        """What widening the range would bring, as sentences."""
        change = self.moved_cost / self.cost - 1.0
        does = (
            f"{self.pinned.sentence}. With {self.value:g} the weighted cost of candidate"
            f" {self.number} goes from {self.cost:.3f} to {self.moved_cost:.3f}"
            f" ({signed_percent(100.0 * change)}; {self._objectives_in_words()})"
        )
        if self.fails:
            return f"{does}, and it fails: {'; '.join(self.fails)}. Keep the end."
        if change < -_SHOWS:
            bounds = f"search.bounds.{self.pinned.name}"
            return (
                f"{does}, and it meets every constraint. Widen {bounds} in a new study (it can go"
                f" to {self.pinned.furthest:g}; levelgain fork)."
            )
        return f"{does}, and it meets every constraint. More of it alone brings nothing."

    def _objectives_in_words(self) -> str:
        percent = 100.0 * (self.moved_objectives / self.objectives - 1.0)
        return ", ".join(
            f"{name} {signed_percent(each)}" for name, each in zip(OBJECTIVES, percent, strict=True)
        )


def beyond_ends(
    results: Results, pinned: Sequence[PinnedEnd], *, n_jobs: int = 1
) -> list[BeyondEnd]:
    """Return what lies beyond ends that can be widened, after riding there.

    At each the candidate of the front of least weighted cost is moved beyond the end by a tenth of
    the searched range, and nothing else of it changes: a search might find more.

    Parameters
    ----------
    results : Results
    pinned : sequence of PinnedEnd
    n_jobs : int
        Threads; the outcome does not depend on it.
    """
    wide = [each for each in pinned if each.can_be_widened]
    if not wide:
        return []
    numbers = [_cheapest_at(results, each) for each in wide]
    names = results.study.space.names
    rows = results.history.values[numbers].copy()
    for row, each in zip(rows, wide, strict=True):
        row[names.index(each.name)] = _beyond(results, each)
    profiles = whole_profiles(results.study, rows)
    found = scored_profiles(candidate_yardstick(results, numbers[0]), profiles, n_jobs=n_jobs)
    here = [candidate_numbers(results, number) for number in numbers]
    return [
        BeyondEnd(
            pinned=each,
            number=numbers[place],
            value=float(rows[place, names.index(each.name)]),
            cost=here[place].weighted_cost,
            moved_cost=float(found.cost[place]),
            objectives=here[place].objectives,
            moved_objectives=found.scores.objectives[place],
            fails=broken(found.facts(place)),
        )
        for place, each in enumerate(wide)
    ]


def _cheapest_at(results: Results, pinned: PinnedEnd) -> int:
    """Return the number of the candidate of least weighted cost on the front and at an end."""
    space = results.study.space
    unit = to_unit(space, results.history.values)[:, space.names.index(pinned.name)]
    at_end = unit >= 1.0 - NEAR if pinned.is_upper else unit <= NEAR
    return int(np.argmin(np.where(results.on_front & at_end, results.weighted_cost, np.inf)))


def _beyond(results: Results, pinned: PinnedEnd) -> float:
    """Return a value beyond an end, with the digits that a person types."""
    space = results.study.space
    place = space.names.index(pinned.name)
    step = _BEYOND * float(space.high[place] - space.low[place])
    value = typed(pinned.end + (step if pinned.is_upper else -step))
    return min(value, pinned.furthest) if pinned.is_upper else max(value, pinned.furthest)
