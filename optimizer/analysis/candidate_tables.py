"""One candidate as tables: what it is, what it scores, and the rides that are worst for it."""

import numpy as np

from objectives import OBJECTIVES
from optimizer.analysis.candidate_numbers import candidate_numbers
from optimizer.analysis.columns import Columns, rows_of, texts
from optimizer.analysis.constraint_facts import constraints_table, facts_of_candidates
from optimizer.analysis.handling_tables import handling_tables
from optimizer.analysis.nose_down_rates import rates_of_candidates
from optimizer.analysis.results import Results
from optimizer.analysis.rides_columns import rides_columns
from optimizer.search.evaluation import BASELINE

WORST_RIDES = 5


def candidate_tables(results: Results, number: int) -> dict[str, Columns]:
    """Return what there is to know of a candidate, as tables by name.

    Parameters
    ----------
    results : Results
    number : int
        Of the candidate.

    Returns
    -------
    dict of str to Columns
        "objectives" and "parameters" stand beside the baseline's, on the candidate's noise; see
        `optimizer.analysis.candidate_numbers`. "nose_down_rates" are over all riders and for each;
        "handling" is for the lightest and the heaviest; "constraints" say what was found and what
        is asked, and their value is met at 0 or below; "worst_rides" are those nearest to a
        nose-down, the nearest first.
    """
    [facts] = facts_of_candidates(results, [number])
    return {
        "objectives": _against_baseline(results, number),
        "nose_down_rates": rates_of_candidates(results, [number])[0],
        "handling": handling_tables(results, [number])[0],
        "parameters": _parameters(results, number),
        "constraints": constraints_table(facts),
        "worst_rides": _worst(results, number),
    }


def _parameters(results: Results, number: int) -> Columns:
    space, values = results.study.space, results.history.values
    return {
        "parameter": texts(space.names),
        "value": values[number],
        "baseline": values[BASELINE],
        "low": space.low,
        "high": space.high,
    }


def _against_baseline(results: Results, number: int) -> Columns:
    found = candidate_numbers(results, number)
    return {
        "objective": texts(OBJECTIVES),
        "value": found.objectives,
        "baseline": found.baseline,
        "compared_with": found.compared_with,
        "change_percent": found.change_percent,
    }


def _worst(results: Results, number: int) -> Columns:
    rides = rides_columns(results.study, results.rides[number])
    ridden = rows_of(rides, ~np.isnan(results.ride_column("outcome", number)))
    order = np.argsort(-ridden["nose_down_risk"], kind="stable")
    return rows_of(ridden, order[:WORST_RIDES])
