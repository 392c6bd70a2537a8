"""One profile as ridden and judged, and how its numbers are put into words."""

import dataclasses
import math
from collections.abc import Sequence

import numpy as np

from objectives import ScoreRules, outcome_codes
from objectives.handling import HANDLING_NAMES, HANDLING_RIDERS
from objectives.ride_scores import Codes
from optimizer.study.study import Study
from plant.arrays import Flags, Floats
from plant.kernel.simulate import Ride

NOT_ASKED = "not asked"
LIGHTEST, HEAVIEST, ALL = range(len(HANDLING_RIDERS))
_MOST_NAMED = 3  # rides that a sentence names


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RiddenProfile:
    """What one profile rode, and by what it is judged.

    Attributes
    ----------
    study : Study
        On the noise of the rides.
    profile : (parameter,) float64
    own, handling : (ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`; NaN where a ride was not ridden.
    numbers : (number, rider) float64
        From `objectives.handling.handling_numbers`.
    rules : ScoreRules
    """

    study: Study
    profile: Floats
    own: Floats
    handling: Floats
    numbers: Floats
    rules: ScoreRules

    @property
    def outcome(self) -> Codes:
        """How the study's own rides ended, (ride,)."""
        codes: Codes = outcome_codes(self.own[np.newaxis])[0]
        return codes

    def number(self, name: str, which: int = ALL) -> float:
        """Return one number of handling, NaN where it was not measured."""
        return float(self.numbers[HANDLING_NAMES.index(name), which])

    def baseline(self, name: str) -> float:
        """Return the same of the baseline, over all riders; NaN where it is not known."""
        base = self.rules.handling.baseline
        return math.nan if base is None else float(base[HANDLING_NAMES.index(name), ALL])


def counted(n_ended: int, rides: Sequence[Ride], ridden: Flags, how: str) -> str:
    """Return how many rides ended in some way, of how many."""
    n_ridden = int(np.count_nonzero(ridden))
    of = f"of {len(rides)} rides" if n_ridden == len(rides) else f"of the {n_ridden} rides ridden"
    return f"{n_ended or 'none'} {of} {how}"


def named(names: Sequence[str]) -> str:
    """Return the names of rides after a colon, the first few of them; nothing where none is."""
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return f": {', '.join(names[:_MOST_NAMED])}{more}" if names else ""


def band(low: float, high: float) -> str:
    """Return a band in words; an end that is not finite is not asked."""
    if math.isfinite(low) and math.isfinite(high):
        return f"from {low:g} to {high:g}"
    if math.isfinite(low):
        return f"at least {low:g}"
    return f"at most {high:g}" if math.isfinite(high) else NOT_ASKED


def measured(value: float) -> str:
    """Return a number as people read it; NaN was not measured."""
    return "not measured" if math.isnan(value) else f"{value:.3g}"


def percent(ratio: float) -> str:
    """Return a share as people read it; NaN is not known."""
    return "an unknown share" if math.isnan(ratio) else f"{100.0 * ratio:.3g} %"
