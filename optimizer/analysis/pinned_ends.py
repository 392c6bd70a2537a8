"""Ends of searched ranges at which much of the front lies."""

import dataclasses

import numpy as np

from optimizer.analysis.results import Results
from optimizer.search.space import to_unit
from plant.description.profile import Profile
from plant.description.quantity import declared_numbers

NEAR = 0.05  # of the searched range
LEAST_SHARE = 0.25  # of the front; less is no matter of the whole front
_CAN_BE = {
    name: (declared.low, declared.high) for name, (_, declared) in declared_numbers(Profile).items()
}


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class PinnedEnd:
    """An end of a parameter's searched range, and how much of the front lies there.

    Attributes
    ----------
    name : str
    is_upper : bool
    end : float
    share : float
        Of the front, within `NEAR` of the end.
    furthest : float
        How far the parameter can go at all.
    """

    name: str
    is_upper: bool
    end: float
    share: float
    furthest: float

    @property
    def sentence(self) -> str:
        """How much of the front lies at the end, as one sentence without its stop."""
        side = "upper" if self.is_upper else "lower"
        return (
            f"{100.0 * self.share:.0f} % of the front lies within {100.0 * NEAR:.0f} % of the"
            f" {side} end of {self.name}, {self.end:g}"
        )

    @property
    def can_be_widened(self) -> bool:
        """Whether the parameter may go beyond the end at all."""
        return self.end != self.furthest


def pinned_ends(results: Results) -> list[PinnedEnd]:
    """Return the ends at which a quarter of the front or more lies, most of it first.

    Empty without a front.
    """
    space = results.study.space
    unit = to_unit(space, results.history.values[results.on_front])
    if not len(unit):
        return []
    found = []
    for place, name in enumerate(space.names):
        low, high = float(space.low[place]), float(space.high[place])
        for is_upper, end, share in (
            (False, low, float(np.mean(unit[:, place] <= NEAR))),
            (True, high, float(np.mean(unit[:, place] >= 1.0 - NEAR))),
        ):
            if share >= LEAST_SHARE:
                furthest = _CAN_BE[name][int(is_upper)]
                found.append(
                    PinnedEnd(name=name, is_upper=is_upper, end=end, share=share, furthest=furthest)
                )
    return sorted(found, key=lambda each: -each.share)
