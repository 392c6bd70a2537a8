"""How often a profile puts the nose down, over all riders and for each, with intervals."""

from collections.abc import Sequence

import numpy as np

from objectives.event_rate import CONFIDENCE
from objectives.nose_down_rate import RateEstimate, nearness, overall_rate, rider_rates
from objectives.score import hard_margins
from optimizer.analysis.candidate import study_as_scored
from optimizer.analysis.columns import Columns, texts
from optimizer.analysis.kept_facts import Kind, facts
from optimizer.analysis.results import Results
from optimizer.execution.evaluate import day_rules
from optimizer.study.study import Study
from plant.arrays import Floats

ALL_RIDERS = "all riders"
CONFIDENCE_PERCENT = round(100.0 * CONFIDENCE)
_ENDS = ("rate", "low", "high")


def nose_down_rates(study: Study, hard: Floats) -> Columns:
    """Return the nose-down rate of one profile over all riders and for each, one row each.

    Parameters
    ----------
    study : Study
        With its hard rides.
    hard : (hard ride, column) float64
        What the profile did on them, in the order of `objectives.RIDE_COLUMNS`.

    Returns
    -------
    Columns
        The rider, first `ALL_RIDERS`; nose-downs per 1,000 km; the ends of an interval of 95 %.
        NaN where the profile did not ride the hard rides.

    Raises
    ------
    ValueError
        The study has no hard rides yet.
    """
    (found,) = _estimates(study, hard[np.newaxis])
    return _columns(study, found)


def rates_of_candidates(results: Results, numbers: Sequence[int]) -> list[Columns]:
    """Return the nose-down rates of candidates, as `nose_down_rates` has them, a table each."""
    return [_columns(results.study, found) for found in facts(RATES, results, numbers)]


def _found(results: Results, numbers: Sequence[int]) -> list[list[RateEstimate]]:
    return [
        _estimates(study_as_scored(results, number), results.hard[number : number + 1])[0]
        for number in numbers
    ]


RATES = Kind(
    name="nose_down_rates",
    find=_found,
    read=lambda kept: [RateEstimate(**each) for each in kept],
)


def _columns(study: Study, found: Sequence[RateEstimate]) -> Columns:
    return {
        "rider": texts(rated_riders(study)),
        **{f"{end}_per_1000_km": np.array([getattr(each, end) for each in found]) for end in _ENDS},
    }


def rates_of_profiles(study: Study, names: Sequence[str], hard: Floats) -> Columns:
    """Return the nose-down rates of several profiles, one row each.

    Parameters
    ----------
    study : Study
        With its hard rides.
    names : sequence of str
        What to call each profile.
    hard : (profile, hard ride, column) float64
        In the order of `objectives.RIDE_COLUMNS`.

    Returns
    -------
    Columns
        The name, nose-downs per 1,000 km over all riders, the ends of an interval of 95 %, and
        the rate and the ends for each rider, whose name heads the column's.

    Raises
    ------
    ValueError
        The study has no hard rides yet.
    """
    rows = _estimates(study, hard)
    columns = {
        f"{'' if rider == ALL_RIDERS else rider + '_'}{end}_per_1000_km": np.array(
            [getattr(row[place], end) for row in rows]
        )
        for place, rider in enumerate(rated_riders(study))
        for end in _ENDS
    }
    return {"profile": texts(list(names)), **columns}


def rated_riders(study: Study) -> list[str]:
    """Return whose rates are estimated: `ALL_RIDERS`, then each rider of the study."""
    return [ALL_RIDERS, *study.riders]


def objective_in_words(study: Study) -> str:
    """Return how the objective follows from the rates, for beside a table of them."""
    weight = study.settings.worst_rider_weight
    return (
        f"Nose-downs per 1,000 km, with an interval of {CONFIDENCE_PERCENT} %, whose upper end"
        " allows for roads that the hard rides did not show. The objective"
        f" nose_downs_per_1000_km is {1.0 - weight:g} of the rate of all riders plus {weight:g}"
        " of the worst rider's."
    )


def _estimates(study: Study, hard: Floats) -> list[list[RateEstimate]]:
    """Return estimates of each profile, in the order of `rated_riders`."""
    if study.hard is None:
        raise ValueError("study: must have its hard rides, got none")
    day = day_rules(study.hard, study.settings)
    near = nearness(hard_margins(hard))
    return [[overall_rate(row, day), *rider_rates(row, day)] for row in near]
