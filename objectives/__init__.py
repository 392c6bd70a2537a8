"""From simulated rides to what a search minimises and must not violate."""

from objectives.constraints import CONSTRAINT_NAMES
from objectives.cost import weighted_cost
from objectives.descriptors import DESCRIPTOR_NAMES
from objectives.portfolio import blend, expected_shortfall
from objectives.ride_components import Parts, parts_of_rides, score_of_parts
from objectives.ride_scores import NOT_RIDDEN, RIDE_COLUMNS, outcome_codes, ride_columns
from objectives.score import OBJECTIVES, Scores, score, unridden_constraints
from objectives.score_settings import ScoreSettings
from objectives.scoring_context import ScoreRules, score_rules

__all__ = [
    "CONSTRAINT_NAMES",
    "DESCRIPTOR_NAMES",
    "NOT_RIDDEN",
    "OBJECTIVES",
    "RIDE_COLUMNS",
    "Parts",
    "ScoreRules",
    "ScoreSettings",
    "Scores",
    "blend",
    "expected_shortfall",
    "outcome_codes",
    "parts_of_rides",
    "ride_columns",
    "score",
    "score_of_parts",
    "score_rules",
    "unridden_constraints",
    "weighted_cost",
]
