"""The search with the graded risk of a study's own rides as its third objective.

It was the third objective before nose-downs per 1,000 km: a score of each ride's least margins,
blended over the portfolio as level error and current are. The search predicts the margins of each
ride, so that both objectives have the same help.
"""

import dataclasses
import functools

import numpy as np

from objectives import OBJECTIVES, RIDE_COLUMNS, Components, ScoreRules, outcome_codes
from objectives.nose_down_rate import DayRules
from objectives.portfolio import blend
from objectives.ride_scores import NOT_RIDDEN, ridden_risk
from optimizer.execution.evaluate import evaluated, ride_places, rules_of, whole_profiles
from optimizer.search.composite import PerRideObjectives
from optimizer.search.evaluation import Evaluate, Evaluation
from optimizer.study.study import Study
from plant.arrays import Floats

THIRD = OBJECTIVES.index("nose_downs_per_1000_km")
_MARGINS = [RIDE_COLUMNS.index(f"least_{name}_ratio") for name in ("reserve", "nose_margin")]

# What stands for the hard rides: none at all.
_NO_DAY = DayRules(
    rider=np.empty(0, dtype=np.int64),
    road=np.empty(0, dtype=np.int64),
    weight=np.empty(0),
    kilometres=np.ones(1),
    worst_rider_weight=0.0,
)


def own_rules(study: Study) -> ScoreRules:
    """Return by what the study's rides are scored, without a hard ride."""
    return dataclasses.replace(rules_of(study, hard=False), day=_NO_DAY)


def blended_risk(risk: Floats, rules: ScoreRules) -> Floats:
    """Return the graded risk of candidates, (candidate,), from that of their rides.

    Parameters
    ----------
    risk : (candidate, ride) float64
        From 0 to 1; NaN where a ride was not ridden, and then of the candidate too.
    rules : ScoreRules
    """
    settings = rules.settings
    blended = blend(
        risk, rules.ride_weight, tail_share=settings.tail_share, tail_weight=settings.tail_weight
    )
    return np.where(np.isnan(risk).any(axis=1), np.nan, blended)


def _with_risk(objectives: Floats, risk: Floats, rules: ScoreRules) -> Floats:
    swapped = objectives.copy()
    swapped[:, THIRD] = blended_risk(risk, rules)
    return swapped


def evaluate_by_risk(study: Study, screening: tuple[int, ...], *, n_jobs: int) -> Evaluate:
    """Return what evaluates candidates of a study by their graded risk."""
    rules = own_rules(study)
    ride = functools.partial(ride_places, study, n_jobs=n_jobs)

    def evaluate(values: Floats, /) -> Evaluation:
        outcome = evaluated(study, values, ride=ride, rules=rules, screening=screening)
        own, _, _ = rules.parts(outcome.rides)
        risk = own[:, :, RIDE_COLUMNS.index("nose_down_risk")]
        risk = np.where(outcome_codes(own) == NOT_RIDDEN, np.nan, risk)
        swapped = _with_risk(outcome.objectives, risk, rules)
        return dataclasses.replace(outcome, objectives=swapped)

    return evaluate


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GradedRisk(PerRideObjectives):
    """Level error, current and graded risk, made of what each ride measured."""

    name: str = "ride by ride, graded risk"

    def components(self, evaluation: Evaluation) -> Components:
        """Return what each ride measured; its margins are those of the study's own rides."""
        found = PerRideObjectives.components(self, evaluation)
        own, _, _ = self.rules.parts(evaluation.rides)
        margins = np.hstack([own[:, :, column] for column in _MARGINS])
        return dataclasses.replace(found, margins=margins)

    def whole(self, components: Components) -> tuple[Floats, Floats]:
        """Return the score that predicted rides make."""
        no_hard = dataclasses.replace(components, margins=components.margins[:, :0])
        objectives, constraints = PerRideObjectives.whole(self, no_hard)
        reserve, nose = np.split(components.margins, 2, axis=1)
        return _with_risk(objectives, ridden_risk(reserve, nose), self.rules), constraints


def graded_risk(study: Study) -> GradedRisk:
    """Return of what the objectives of the search by graded risk are made."""
    return GradedRisk(rules=own_rules(study), profiles=functools.partial(whole_profiles, study))
