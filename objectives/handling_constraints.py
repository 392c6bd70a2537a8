"""What a profile must keep of its handling, each as a number that is met at 0 or below."""

from collections.abc import Iterator

import numpy as np

from objectives.constraints import NOT_ASKED, NOT_MEASURED, asked
from objectives.handling import HANDLING_NAMES, HandlingRules, least_warning_s
from objectives.ride_scores import ended_early, outcome_codes
from objectives.score_settings import ScoreSettings
from plant.arrays import Flags, Floats

_MANY_TIMES = 4.0  # a limit passed so many times is passed altogether
_ALL = 2  # place of all riders
# What of each number nobody feels, assumed: a percentage of less than this is one of this.
_FELT = {
    "feel_deg_per_mps2": 0.5,
    "braking_feel_deg_per_mps2": 0.5,
    "grade_dip_deg": 2.0,
    "bend_lift_deg": 2.0,
    "stiffness_nm_per_deg": 0.5,
    "tail_effort_ratio": 0.1,
    "warned_ratio": 0.05,
    "climb_speed_ratio": 0.2,
}


def handling_constraints(
    numbers: Floats,
    handling: Floats,
    *,
    all_ridden: Flags,
    rules: HandlingRules,
    settings: ScoreSettings,
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return the constraints on warnings, climbs, late warnings, early ends and handling.

    Each is (candidate,).

    Parameters
    ----------
    numbers : (candidate, number, rider) float64
        From `objectives.handling.handling_numbers`.
    handling : (candidate, handling ride, column) float64
        From `objectives.ride_scores.ride_columns`.
    all_ridden : (candidate,) bool
        Every ride was ridden. Where not, what is not known is not asked; where all were, a
        number that is asked and was nowhere to be measured breaks its constraint.
    rules : HandlingRules
        Without the baseline's numbers, what compares with it is not asked.
    settings : ScoreSettings
    """
    ones = np.ones(len(numbers))
    warned, climb, late = (NOT_ASKED * ones for _ in range(3))
    base = rules.baseline
    if settings.more_warned_limit is not None and base is not None:
        row = HANDLING_NAMES.index("warned_ratio")
        more = (numbers[:, row, _ALL] - base[row, _ALL]) / settings.more_warned_limit
        warned = asked(np.minimum(more, _MANY_TIMES) - 1.0)
    if settings.climb_speed_loss_limit is not None and base is not None:
        row = HANDLING_NAMES.index("climb_speed_ratio")
        if base[row, _ALL] > 0.0:  # a baseline that gets no way up has no speed to lose
            lost = 1.0 - numbers[:, row, _ALL] / base[row, _ALL]
            climb = asked(np.minimum(lost / settings.climb_speed_loss_limit, _MANY_TIMES) - 1.0)
    if settings.least_warning_s and rules.lean_places:
        shortest = least_warning_s(handling, rules) / settings.least_warning_s
        late = asked(np.maximum(1.0 - shortest, NOT_ASKED))
    n_ended = (ended_early(outcome_codes(handling)) & rules.to_finish).sum(axis=1)
    worst = NOT_ASKED * ones
    # Without handling rides, a portfolio is scored alone: nothing of handling is asked.
    for _, beyond in _beyond(numbers, base, settings) if rules.n_rides else ():
        unknown = np.isnan(beyond) & all_ridden[:, np.newaxis]
        each = asked(np.where(unknown, NOT_MEASURED, np.minimum(beyond, _MANY_TIMES)))
        worst = np.maximum(worst, each.max(axis=1))
    return warned, climb, late, np.where(n_ended > 0, n_ended, NOT_ASKED), worst


def handling_met(numbers: Floats, base: Floats | None, settings: ScoreSettings) -> Flags:
    """Return which numbers of one profile are as asked, (number,); true where nothing is asked.

    Parameters
    ----------
    numbers : (number, rider) float64
        From `objectives.handling.handling_numbers`.
    base : (number, rider) float64, optional
        The baseline's.
    settings : ScoreSettings
    """
    met = np.ones(len(HANDLING_NAMES), dtype=np.bool_)
    for name, beyond in _beyond(numbers[np.newaxis], base, settings):
        met[HANDLING_NAMES.index(name)] &= bool((beyond <= 0.0).all())
    return met


def _beyond(
    numbers: Floats, base: Floats | None, settings: ScoreSettings
) -> Iterator[tuple[str, Floats]]:
    """Yield each number that is asked for, and how far it lies outside.

    The latter is (candidate, 1 or 2 riders), in units of the band's width or of what is allowed.
    """
    for name, (low, high) in settings.handling.items():
        if np.isinf(low) and np.isinf(high):
            continue  # a band of two open ends does not ask to be measured either
        value = numbers[:, HANDLING_NAMES.index(name), :_ALL]
        width = high - low if np.isfinite(high - low) else _FELT[name]
        yield name, np.maximum(low - value, value - high) / width
    for name, most in settings.rider_difference.items():
        light, heavy = numbers[:, HANDLING_NAMES.index(name), :_ALL].T
        yield name, (np.abs(heavy - light) / most - 1.0)[:, np.newaxis]
    if settings.like_baseline_percent is None or base is None:
        return
    for row, name in enumerate(HANDLING_NAMES):
        if np.isfinite(base[row, :_ALL]).all():
            allowed = np.maximum(np.abs(base[row, :_ALL]), _FELT[name])
            allowed = allowed * (settings.like_baseline_percent / 100.0)
            yield name, np.abs(numbers[:, row, :_ALL] - base[row, :_ALL]) / allowed - 1.0
