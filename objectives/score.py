"""From a batch of rides to objectives, constraints and descriptors of each candidate."""

import dataclasses
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives.constraints import (
    ending_constraints,
    feel_constraint,
    loop_constraints,
    rest_constraint,
    spread_constraint,
)
from objectives.descriptors import DESCRIPTOR_NAMES, describe
from objectives.portfolio import blend
from objectives.ride_scores import capped_cost, nose_down_risk, share_not_ridden
from objectives.rules import ScoreRules
from plant.loop import loop_gains, loop_margins
from plant.simulate import Rides

Floats: TypeAlias = NDArray[np.float64]

OBJECTIVES = ("level_error_deg", "excess_current_a", "nose_down_risk")

# Columns kept of every ride. Level error and counted peak current are as scored, with the penalty
# of an ended ride, and NaN where a ride has no such window; the others are as ridden.
RIDE_COLUMNS = (
    "level_error_deg",
    "peak_current_a",
    "nose_down_risk",
    "outcome",
    "ride_time_s",
    "least_reserve_ratio",
    "least_nose_margin_ratio",
    "feel_deg_per_mps2",
    "vibration_mps2",
    "energy_wh",
    "tail_effort_ratio",
    "start_jerk_mps3",
    "excess_current_a",
)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """What a search is told of each candidate.

    Attributes
    ----------
    objectives : (candidate, objective) float64
        In the order of `OBJECTIVES`; all are minimised.
    constraints : (candidate, constraint) float64
        In the order of `objectives.constraints.CONSTRAINT_NAMES`; met at 0 or below.
    per_ride : (candidate, ride, column) float32
        In the order of `RIDE_COLUMNS`.
    descriptors : (candidate, descriptor) float64
        In the order of `DESCRIPTOR_NAMES`.
    """

    objectives: Floats
    constraints: Floats
    per_ride: NDArray[np.float32]
    descriptors: Floats


def score(rides: Rides, profiles: Floats, rules: ScoreRules) -> Scores:
    """Score ridden candidates.

    Parameters
    ----------
    rides : Rides
        From `plant.simulate.simulate`.
    profiles : (candidate, parameter) float64
        The profiles that were ridden.
    rules : ScoreRules
        Of the same rides, in the same order.

    Raises
    ------
    ValueError
        Candidates or rides of the arguments differ in number.
    """
    expected = (len(profiles), len(rules.ride_weight))
    if rides.outcome.shape != expected:
        raise ValueError(f"rides: must be {expected} (candidate, ride), got {rides.outcome.shape}")
    level, current, risk = _ride_scores(rides, rules)
    descriptors = describe(
        rides.column, rides.outcome, level_error_deg=level, risk=risk, rules=rules
    )
    return Scores(
        objectives=_objectives(level, current, risk, rules=rules),
        constraints=_constraints(rides, profiles, descriptors, rules),
        per_ride=_per_ride(rides, level, current, risk, rules=rules),
        descriptors=descriptors,
    )


def _ride_scores(rides: Rides, rules: ScoreRules) -> tuple[Floats, Floats, Floats]:
    """Return level error, counted peak current and risk of each ride, (candidate, ride)."""
    outcome = rides.outcome
    not_ridden = share_not_ridden(rides.column("ride_time_s"), rules.ride_duration_s)
    frame, limit_a = rules.board.frame, rules.board.drive.phase_current_limit_a
    # A board held beyond its own contact angles is not held level at all.
    level_cap = max(frame.nose_contact_deg, frame.tail_contact_deg)
    level = rides.column("hold_pitch_rms_deg")
    current = rides.column("excess_current_a")
    risk = nose_down_risk(
        rides.column("least_reserve_ratio"),
        rides.column("least_nose_margin_ratio"),
        outcome,
        not_ridden,
    )
    return (
        capped_cost(level, outcome, not_ridden, cap=level_cap),
        capped_cost(current, outcome, not_ridden, cap=limit_a),
        risk,
    )


def _objectives(level: Floats, current: Floats, risk: Floats, *, rules: ScoreRules) -> Floats:
    everywhere = np.ones(len(rules.ride_weight), dtype=bool)
    counted = (
        (level, rules.counts_level),
        (current, rules.counts_current),
        (risk, everywhere),
    )
    return np.column_stack(
        [
            blend(
                values[:, counts],
                rules.ride_weight[counts],
                tail_share=rules.settings.tail_share,
                tail_weight=rules.settings.tail_weight,
            )
            for values, counts in counted
        ]
    )


def _constraints(rides: Rides, profiles: Floats, descriptors: Floats, rules: ScoreRules) -> Floats:
    settings = rules.settings
    margins = loop_margins(rules.loop, loop_gains(profiles))
    feel = descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    spread = descriptors[:, DESCRIPTOR_NAMES.index("rider_spread_ratio")]
    columns = (
        *ending_constraints(
            rides.outcome, rules.ride_weight, nose_down_share=settings.nose_down_share
        ),
        *loop_constraints(margins, settings),
        rest_constraint(rides.column("hold_pitch_rate_rms_deg_per_s"), rules),
        feel_constraint(feel, settings),
        spread_constraint(spread, settings),
    )
    return np.column_stack(columns)


def _per_ride(
    rides: Rides, level: Floats, current: Floats, risk: Floats, *, rules: ScoreRules
) -> NDArray[np.float32]:
    scored = {
        "level_error_deg": np.where(rules.counts_level, level, np.nan),
        "excess_current_a": np.where(rules.counts_current, current, np.nan),
        "nose_down_risk": risk,
        "outcome": rides.outcome,
    }
    columns = [scored[name] if name in scored else rides.column(name) for name in RIDE_COLUMNS]
    return np.stack(columns, axis=-1).astype(np.float32)
