"""Descriptors of a profile beyond the objectives, one row for each candidate.

Of a candidate that did not ride all rides, means and peaks are NaN; the rest is of those it rode.
"""

import numpy as np

from objectives.handling import HANDLING_NAMES
from objectives.portfolio import weighted_sum
from objectives.ride_scores import (
    NOT_RIDDEN,
    RIDE_COLUMNS,
    Codes,
    ended_early,
    outcome_codes,
)
from objectives.scoring_context import ScoreRules
from plant.arrays import Floats

DESCRIPTOR_NAMES = (
    "feel_deg_per_mps2",  # see `objectives.handling`, mean of lightest and heaviest rider, as next
    "braking_feel_deg_per_mps2",
    "grade_dip_deg",
    "bend_lift_deg",
    "stiffness_nm_per_deg",
    "climb_speed_ratio",  # over all riders
    "rider_spread_ratio",  # level error of lightest and heaviest rider, larger over smaller
    "rides_ended",  # number of rides
    "vibration_mps2",  # weighted mean
    "energy_wh",  # weighted mean
    "warned_ratio",  # weighted mean: share of time with a warning that a rider perceives
    "mosfet_rise_k",  # largest: what the profile adds to the temperature at the start
    "tail_effort_ratio",  # largest
    "start_jerk_mps3",  # largest of the rides that start tail-down; NaN where none does
    "traction_peak_ratio",  # largest
    "worst_ride",  # index of the ride of the highest nose-down risk
)
_LEAST_ERROR_DEG = 0.01  # assumed: no rider feels less
_HANDLING = DESCRIPTOR_NAMES[:6]
_MEANS = ("vibration_mps2", "energy_wh", "warned_ratio")
_PEAKS = ("mosfet_rise_k", "tail_effort_ratio", "start_jerk_mps3", "traction_peak_ratio")


def rider_spread(level_error_deg: Floats, rules: ScoreRules) -> Floats:
    """Return how unlike the lightest and the heaviest rider are held level, (candidate,).

    The ratio of their weighted mean level errors over the courses that both ride, larger over
    smaller; NaN without such a course, or where both rode none.

    Parameters
    ----------
    level_error_deg : (candidate, ride) float64
        NaN where a ride was not ridden.
    rules : ScoreRules
    """
    light, heavy = rules.spread_pairs.T
    if len(light) == 0:
        return np.full(len(level_error_deg), np.nan)
    weight = rules.ride_weight[light]
    lights, heavies = level_error_deg[:, light], level_error_deg[:, heavy]
    unpaired = np.isnan(lights + heavies)
    by_light, by_heavy = (
        np.maximum(_mean_of(np.where(unpaired, np.nan, level), weight), _LEAST_ERROR_DEG)
        for level in (lights, heavies)
    )
    spread: Floats = np.maximum(by_light / by_heavy, by_heavy / by_light)
    return spread


def describe(own: Floats, numbers: Floats, rules: ScoreRules) -> Floats:
    """Return the descriptors, (candidate, descriptor), in the order of `DESCRIPTOR_NAMES`.

    Parameters
    ----------
    own : (candidate, ride, column) float64
        From `objectives.ride_scores.ride_columns`, of the study's own rides; NaN where one was not
        ridden.
    numbers : (candidate, number, rider) float64
        From `objectives.handling.handling_numbers`.
    rules : ScoreRules
    """

    def column(name: str) -> Floats:
        values: Floats = own[:, :, RIDE_COLUMNS.index(name)]
        return values

    outcome = outcome_codes(own)
    weight = rules.ride_weight / rules.ride_weight.sum()
    values = {name: numbers[:, HANDLING_NAMES.index(name), -1] for name in _HANDLING}
    values |= {
        "rider_spread_ratio": rider_spread(column("level_error_deg"), rules),
        "rides_ended": np.count_nonzero(ended_early(outcome), axis=1),
        "worst_ride": np.nanargmax(column("nose_down_risk"), axis=1),
    }
    values |= {name: weighted_sum(column(name), weight) for name in _MEANS}
    values |= {name: _peak(column(name), outcome) for name in _PEAKS}
    return np.column_stack([values[name] for name in DESCRIPTOR_NAMES]).astype(np.float64)


def _peak(values: Floats, outcome: Codes) -> Floats:
    """Return the largest of what rides have to measure, (candidate,).

    NaN where a ride was not ridden, or where no ride has anything to measure.
    """
    nothing = np.isnan(values) & (outcome != NOT_RIDDEN)
    largest: Floats = np.where(nothing, -np.inf, values).max(axis=1)
    return np.where(largest == -np.inf, np.nan, largest)


def _mean_of(values: Floats, weight: Floats) -> Floats:
    """Return the weighted mean of what is known, (candidate,); NaN where nothing is."""
    known = ~np.isnan(values)
    total = weighted_sum(known, weight)
    mean: Floats = weighted_sum(np.where(known, values, 0.0), weight)
    return mean / np.where(total > 0.0, total, np.nan)
