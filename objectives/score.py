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
    loop_limits,
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
from plant.linear.balance_loop import loop_gains, loop_margins, margins_of
from plant.linear.loop_limits import Judged, judged_loops

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
    margins = loop_margins(rules.loop, loop_gains(profiles))
    return np.column_stack(loop_constraints(margins, rules.settings))


def meet_simulation_free(profiles: Floats, rules: ScoreRules) -> NDArray[np.bool_]:
    """Say which profiles meet all `simulation_free_constraints`, (candidate,).

    The heaviest riders come first, with whom nearly all that fail do. Where bounds do not say
    whether the loops keep their margins, the constraints do.
    """
    gains, loop = loop_gains(profiles), rules.loop_heaviest_first
    judged = judged_loops(loop, gains, loop_limits(rules.settings))
    meet: NDArray[np.bool_] = (judged != Judged.BREAKS).all(axis=(1, 2))
    open_loops = np.array(np.nonzero((judged == Judged.OPEN) & meet[:, None, None]))
    constraints = loop_constraints(margins_of(loop, gains, open_loops), rules.settings)
    meet[open_loops[0, (np.column_stack(constraints) > 0.0).any(axis=1)]] = False
    return meet


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
