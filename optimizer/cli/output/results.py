"""One candidate and its rides, printed."""

import pandas as pd
from rich.console import Console

from objectives import OBJECTIVES, RIDE_COSTS
from optimizer.analysis.candidate import (
    bound_marks,
    failures,
    unfinished_rides,
    why_not_scored,
)
from optimizer.analysis.candidate_tables import candidate_tables
from optimizer.analysis.nose_down_rates import objective_in_words
from optimizer.analysis.results import Results
from optimizer.cli.console import print_table

FRONT_COLUMNS = ("number", "picks", *OBJECTIVES, "weighted_cost_ratio", "feel_deg_per_mps2")
_RIDE_COLUMNS = (
    "ride",
    *RIDE_COSTS,
    "peak_current_a",
    "least_reserve_ratio",
    "least_nose_margin_ratio",
    "roll_back_ratio",
    "ended",
)


def ride_columns(table: pd.DataFrame) -> pd.DataFrame:
    """Return the columns of a table of rides that fit a terminal."""
    return table[[*_RIDE_COLUMNS]]


def print_candidate(out: Console, results: Results, number: int) -> None:
    """Print all tables of a candidate, what it fails and which parameters sit at an end."""
    names = ", ".join(results.pick_names(number)) or "no pick"
    cost = results.weighted_cost[number]
    found = why_not_scored(results, number) or f"weighted cost {cost:.3f}"
    out.print(f"Candidate {number} ({names}), {found}\n")
    for name, table in candidate_tables(results, number).items():
        print_table(out, ride_columns(table) if name == "worst_rides" else table)
        if name == "nose_down_rates":
            out.print(objective_in_words(results.study))
        out.print()
    marks = bound_marks(results, number)
    if marks:
        out.print(
            f"At an end of the searched range: {', '.join(marks)}. Widen search.bounds for"
            " these in a new study, or keep the end on purpose."
        )
    unfinished = unfinished_rides(results.study, results.handling[number])
    for failed in [*failures(results.history.constraints[number]), *unfinished]:
        out.print(f"FAILS: {failed}")
