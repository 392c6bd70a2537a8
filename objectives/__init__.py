"""From simulated rides to what a search minimises and must not violate."""

from objectives.constraints import CONSTRAINT_NAMES
from objectives.cost import weighted_cost
from objectives.descriptors import DESCRIPTOR_NAMES
from objectives.portfolio import blend, expected_shortfall
from objectives.ride_components import Components, components_of_rides, score_of_components
from objectives.ride_scores import NOT_RIDDEN, RIDE_COLUMNS, RIDE_COSTS, outcome_codes, ride_columns
from objectives.score import OBJECTIVES, Scores, meet_simulation_free, score
from objectives.score_settings import ScoreSettings
from objectives.scoring_context import ScoreRules, score_rules

__all__ = [
    "CONSTRAINT_NAMES",
    "DESCRIPTOR_NAMES",
    "NOT_RIDDEN",
    "OBJECTIVES",
    "RIDE_COLUMNS",
    "RIDE_COSTS",
    "Components",
    "ScoreRules",
    "ScoreSettings",
    "Scores",
    "blend",
    "components_of_rides",
    "expected_shortfall",
    "meet_simulation_free",
    "outcome_codes",
    "ride_columns",
    "score",
    "score_of_components",
    "score_rules",
    "weighted_cost",
]
