"""How profiles handle, as tables."""

from collections.abc import Sequence

import numpy as np

from objectives.handling import HANDLING_NAMES, HANDLING_RIDERS
from objectives.handling_constraints import handling_met
from objectives.score import handling_of
from optimizer.analysis.columns import Columns, texts
from optimizer.analysis.results import Results
from optimizer.execution.baseline_handling import baseline_handling
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.search.evaluation import BASELINE
from plant.arrays import Floats

_LIGHTEST, _HEAVIEST, _ALL = range(len(HANDLING_RIDERS))


def handling_tables(results: Results, numbers: Sequence[int]) -> list[Columns]:
    """Return how candidates handle beside the baseline, a table each, a row for each number.

    Parameters
    ----------
    results : Results
    numbers : sequence of int
        Of the candidates.

    Returns
    -------
    list of Columns
        The number's name; its value for the lightest and the heaviest rider, and for all; the
        heaviest rider's less the lightest's; the baseline's for both riders, on the candidate's
        noise. NaN where it was not measured. Last, whether it is as the study asks.
    """
    rows = [BASELINE, *numbers]
    profiles = whole_profiles(results.study, results.history.values[rows])
    again, *found = handling_of(
        results.rides[rows], results.handling[rows], profiles, rules_of(results.study)
    )
    searched = baseline_handling(results.study)
    settings = results.study.settings
    compared = [again if results.reevaluated[number] else searched for number in numbers]
    return [
        {**_table(each, base), "as_asked": handling_met(each, base, settings)}
        for each, base in zip(found, compared, strict=True)
    ]


def _table(numbers: Floats, baseline: Floats) -> Columns:
    return {
        "handling": texts(HANDLING_NAMES),
        **dict(zip(HANDLING_RIDERS, numbers.T, strict=True)),
        "difference": numbers[:, _HEAVIEST] - numbers[:, _LIGHTEST],
        "baseline_lightest": baseline[:, _LIGHTEST],
        "baseline_heaviest": baseline[:, _HEAVIEST],
    }


def handling_of_profiles(names: Sequence[str], handling: Floats) -> Columns:
    """Return how profiles handle, two rows for each number: lightest and heaviest rider.

    Parameters
    ----------
    names : sequence of str
        What to call each profile.
    handling : (profile, number, rider) float64
    """
    ends = handling[:, :, : _HEAVIEST + 1]
    flat = np.reshape(ends, (len(names), -1))
    riders = HANDLING_RIDERS[: _HEAVIEST + 1]
    return {
        "handling": np.repeat(texts(HANDLING_NAMES), len(riders)),
        "rider": texts(list(riders) * len(HANDLING_NAMES)),
        **dict(zip(names, flat, strict=True)),
    }
