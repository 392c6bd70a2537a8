"""Whether a change does more than noise: both profiles ridden on the same draws of noise."""

import dataclasses
import math

import numpy as np

from optimizer.analysis.profile_costs import Yardstick, scored_profiles
from optimizer.base.progress import Stages
from optimizer.execution.reevaluation import with_noise
from optimizer.search.ranking import violation
from plant.arrays import Floats

N_DRAWS = 8
# Two-sided 95 % of Student's t with N_DRAWS - 1 = 7 degrees of freedom, from any table of it.
_STUDENT_T = 2.365
_DRAWN_FOR = "advice"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OnDraws:
    """What a profile does on several draws of noise.

    Attributes
    ----------
    cost : (draw,) float64
        Weighted.
    violation : (draw,) float64
        Sum of the violated constraints.
    """

    cost: Floats
    violation: Floats

    @property
    def n_met(self) -> int:
        """On how many draws it meets every constraint."""
        return int(np.count_nonzero(self.violation <= 0.0))


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """Mean of a difference over the draws, and half the width of its interval of 95 %."""

    mean: float
    half_width: float

    @property
    def is_more_than_noise(self) -> bool:
        """Whether the difference is above zero beyond its interval."""
        return self.mean > self.half_width

    @property
    def is_less_than_noise(self) -> bool:
        """Whether the difference is below zero beyond its interval."""
        return self.mean < -self.half_width


def on_draws(fresh: Yardstick, profiles: Floats, *, n_jobs: int, stages: Stages) -> list[OnDraws]:
    """Return what profiles do on further draws of noise, the same for all of them.

    Parameters
    ----------
    fresh : Yardstick
        Of the fresh noise, whose hard rides are ridden.
    profiles : (profile, parameter) float64
    n_jobs : int
        Threads; the outcome does not depend on it.
    stages : Stages
        Receives the draws that are ridden.
    """
    stages.begin("riding draws of noise", N_DRAWS)
    costs, violations = [], []
    for draw in range(N_DRAWS):
        drawn = fresh.on_noise_of(with_noise(fresh.study, _DRAWN_FOR, str(draw)))
        found = scored_profiles(drawn, profiles, n_jobs=n_jobs)
        costs.append(found.cost)
        violations.append(violation(found.scores.constraints))
        stages.advance()
    return [
        OnDraws(cost=cost, violation=excess)
        for cost, excess in zip(np.transpose(costs), np.transpose(violations), strict=True)
    ]


def gain(before: Floats, after: Floats) -> Gain:
    """Return by how much a number falls from one profile to another, draw by draw.

    Parameters
    ----------
    before, after : (draw,) float64
    """
    fall = before - after
    half_width = _STUDENT_T * float(np.std(fall, ddof=1)) / math.sqrt(len(fall))
    return Gain(mean=float(np.mean(fall)), half_width=half_width)


def is_better(before: OnDraws, after: OnDraws) -> bool:
    """Say whether a profile is better than another beyond noise.

    Constraints decide first: less violation is better. Where noise hides its change, cost decides.
    """
    violated = gain(before.violation, after.violation)
    if violated.is_more_than_noise or violated.is_less_than_noise:
        return violated.is_more_than_noise
    return gain(before.cost, after.cost).is_more_than_noise
