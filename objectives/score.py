"""From what is kept of a batch of rides to objectives, constraints and descriptors."""

import dataclasses
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from objectives.constraints import (
    NOT_ASKED,
    ending_constraints,
    feel_constraint,
    loop_constraints,
    rest_constraint,
    spread_constraint,
)
from objectives.descriptors import DESCRIPTOR_NAMES, describe
from objectives.handling import handling_numbers
from objectives.handling_constraints import handling_constraints
from objectives.nose_down_rate import blended_rate, margin_widths, nearness
from objectives.portfolio import blend
from objectives.ride_scores import NOT_RIDDEN, RIDE_COLUMNS, Codes, outcome_codes
from objectives.scoring_context import ScoreRules
from plant.arrays import Floats
from plant.linear.balance_loop import LoopPlant, loop_gains, loop_margins

OBJECTIVES = ("level_error_deg", "excess_current_a", "nose_downs_per_1000_km")


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """What is known of each candidate.

    Attributes
    ----------
    objectives : (candidate, objective) float64
        In the order of `OBJECTIVES`; all are minimised. NaN where not all rides of an objective
        were ridden, or a study has no hard rides.
    constraints : (candidate, constraint) float64
        In the order of `objectives.constraints.CONSTRAINT_NAMES`; met at 0 or below.
    descriptors : (candidate, descriptor) float64
        In the order of `DESCRIPTOR_NAMES`.
    handling : (candidate, number, rider) float64
        See `objectives.handling.handling_numbers`.
    """

    objectives: Floats
    constraints: Floats
    descriptors: Floats
    handling: Floats


def score(columns: Floats, profiles: Floats, rules: ScoreRules) -> Scores:
    """Score ridden candidates.

    Parameters
    ----------
    columns : (candidate, ride, column) float64
        From `objectives.ride_scores.ride_columns`: the study's own rides, those of handling, and
        the hard ones; all NaN where a candidate did not ride a ride. Its constraints are then those
        of the rides it rode: what asks about rides that it did not ride is not asked, and its early
        ends are so many and perhaps more.
    profiles : (candidate, parameter) float64
        The profiles that were ridden.
    rules : ScoreRules
        Of the same rides, in the same order.

    Raises
    ------
    ValueError
        Candidates or rides of the arguments differ in number.
    """
    expected = (len(profiles), rules.n_rides)
    if columns.shape[:2] != expected:
        raise ValueError(f"columns: must be {expected} (candidate, ride), got {columns.shape[:2]}")
    own, handling, hard = rules.parts(columns)

    def column(name: str) -> Floats:
        values: Floats = own[:, :, RIDE_COLUMNS.index(name)]
        return values

    outcome = outcome_codes(own)
    level, current = column("level_error_deg"), column("excess_current_a")
    numbers = handling_of(own, handling, profiles, rules)
    descriptors = describe(own, numbers, rules)
    held = blended(level[:, rules.counts_level], current[:, rules.counts_current], rules)
    held[(outcome == NOT_RIDDEN).any(axis=1)] = np.nan
    objectives = np.column_stack([held, nose_down_rate(hard, rules)])
    return Scores(
        objectives=objectives,
        constraints=np.column_stack(
            [
                *_constraints(column, outcome, profiles, descriptors, rules=rules),
                *handling_constraints(
                    numbers,
                    handling,
                    all_ridden=~(outcome == NOT_RIDDEN).any(axis=1),
                    rules=rules.handling,
                    settings=rules.settings,
                ),
                np.full(len(profiles), NOT_ASKED),  # drawn boards and riders are ridden elsewhere
            ]
        ),
        descriptors=descriptors,
        handling=numbers,
    )


def handling_of(own: Floats, handling: Floats, profiles: Floats, rules: ScoreRules) -> Floats:
    """Return how profiles handle, (candidate, number, rider), from their rides' columns.

    See `objectives.handling.handling_numbers`.
    """
    return handling_numbers(
        own,
        handling,
        profiles,
        rules.handling,
        ride_weight=rules.ride_weight,
        kv_rpm_per_v=rules.board.motor.kv_rpm_per_v,
    )


def nose_down_rate(hard: Floats, rules: ScoreRules) -> Floats:
    """Return nose-downs per 1,000 km, (candidate,); NaN where not all hard rides were ridden.

    Parameters
    ----------
    hard : (candidate, hard ride, column) float64
        From `objectives.ride_scores.ride_columns`.
    rules : ScoreRules
    """
    if rules.day is None:
        return np.full(len(hard), np.nan)
    return blended_rate(nearness(hard_margins(hard)), rules.day)


def hard_margins(hard: Floats) -> Floats:
    """Return the least margins of hard rides, (candidate, margin), from their columns.

    See `objectives.nose_down_rate.margin_widths`.
    """
    return margin_widths(
        hard[:, :, RIDE_COLUMNS.index("least_reserve_ratio")],
        hard[:, :, RIDE_COLUMNS.index("least_nose_margin_ratio")],
        outcome_codes(hard),
    )


def blended(level: Floats, current: Floats, rules: ScoreRules) -> Floats:
    """Return level error and current, (candidate, 2), of the rides that count for each.

    Parameters
    ----------
    level : (candidate, ride that counts for level) float64
    current : (candidate, ride that counts for current) float64
    rules : ScoreRules
    """
    weight = rules.ride_weight
    counted = (
        (level, weight[rules.counts_level]),
        (current, weight[rules.counts_current]),
    )
    return np.column_stack(
        [
            blend(
                values,
                weights,
                tail_share=rules.settings.tail_share,
                tail_weight=rules.settings.tail_weight,
            )
            for values, weights in counted
        ]
    )


def simulation_free_constraints(profiles: Floats, rules: ScoreRules) -> Floats:
    """Return the constraints that need no ride, those of the linearised loop.

    Parameters
    ----------
    profiles : (candidate, parameter) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    rules : ScoreRules

    Returns
    -------
    (candidate, constraint) float64
        Met at 0 or below.
    """
    return _loop_constraints(profiles, rules.loop, rules)


def meet_simulation_free(profiles: Floats, rules: ScoreRules) -> NDArray[np.bool_]:
    """Say which profiles meet all `simulation_free_constraints`, (candidate,).

    The heaviest riders come first, and the next are looked at for what is left: where four in five
    profiles failed, all but few of these did with the heaviest rider alone.
    """
    meet = np.ones(len(profiles), dtype=np.bool_)
    n_speeds = rules.loop.n_speeds
    masses_kg = np.array([rider.body.mass_kg for rider in rules.loop_riders] * n_speeds)
    for mass_kg in np.unique(masses_kg)[::-1]:
        left = np.flatnonzero(meet)
        loop = rules.loop.only(np.flatnonzero(masses_kg == mass_kg))
        constraints = _loop_constraints(profiles[left], loop, rules)
        meet[left] = (constraints <= 0.0).all(axis=1)
    return meet


def _loop_constraints(profiles: Floats, loop: LoopPlant, rules: ScoreRules) -> Floats:
    margins = loop_margins(loop, loop_gains(profiles))
    return np.column_stack(loop_constraints(margins, rules.settings))


def _constraints(
    column: Callable[[str], Floats],
    outcome: Codes,
    profiles: Floats,
    descriptors: Floats,
    *,
    rules: ScoreRules,
) -> tuple[Floats, ...]:
    settings = rules.settings
    feel = descriptors[:, DESCRIPTOR_NAMES.index("feel_deg_per_mps2")]
    spread = descriptors[:, DESCRIPTOR_NAMES.index("rider_spread_ratio")]
    return (
        *ending_constraints(outcome, rules.ride_weight, nose_down_share=settings.nose_down_share),
        *simulation_free_constraints(profiles, rules).T,
        rest_constraint(column("hold_pitch_rate_rms_deg_per_s"), rules),
        feel_constraint(feel, (outcome != NOT_RIDDEN).all(axis=1), settings),
        spread_constraint(spread, settings),
    )
