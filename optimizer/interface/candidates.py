"""One candidate of a study's results as tables."""

import pandas as pd

from optimizer.analysis.candidate_tables import candidate_tables
from optimizer.analysis.results import Results, candidate_number


def candidate(results: Results, which: int | str = "balanced") -> dict[str, pd.DataFrame]:
    """Return what there is to know of a candidate, as tables by name.

    Parameters
    ----------
    results : Results
    which : int or str
        A candidate's number, or the name of a pick.

    Returns
    -------
    dict of str to DataFrame
        "objectives" and "parameters" stand beside the baseline's; "nose_down_rates" are over all
        riders and for each, with an interval of 95 %; "handling" is measured over defined rides,
        for the lightest and the heaviest rider; "constraints" are met at 0 or below; "worst_rides"
        are those nearest to a nose-down, the nearest first. Units end the names.

    Raises
    ------
    CandidateError
        There is no such candidate or pick.
    """
    tables = candidate_tables(results, candidate_number(results, str(which)))
    return {name: pd.DataFrame(columns) for name, columns in tables.items()}
