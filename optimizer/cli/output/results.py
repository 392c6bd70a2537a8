"""One candidate, printed; loads little, so that it shows at once."""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from rich.console import Console

from objectives import DESCRIPTOR_NAMES, RIDE_COSTS
from objectives.feel import MARKS, feel_in_words
from optimizer.analysis.candidate import (
    bound_marks,
    failures_of,
    why_not_scored,
)
from optimizer.analysis.candidate_numbers import (
    candidate_numbers,
    noise_in_words,
)
from optimizer.analysis.candidate_tables import candidate_tables
from optimizer.analysis.columns import Columns, without
from optimizer.analysis.known_verdict import known_verdict
from optimizer.analysis.nose_down_rates import objective_in_words
from optimizer.analysis.results import Results
from optimizer.cli.console import print_table
from optimizer.cli.output.front import print_comparison_note
from optimizer.search.evaluation import BASELINE

_RIDE_COLUMNS = (
    "ride",
    *RIDE_COSTS,
    "peak_current_a",
    "least_reserve_ratio",
    "least_nose_margin_ratio",
    "roll_back_ratio",
    "ended",
)


def ride_columns(table: Mapping[str, Any] | Any) -> dict[str, Any]:
    """Return the columns of a table of rides that fit a terminal."""
    return {name: table[name] for name in _RIDE_COLUMNS}


def _feel_line(results: Results, number: int) -> str:
    """Return how a candidate feels, in words and beside the baseline and what is wanted."""
    column = DESCRIPTOR_NAMES.index("feel_deg_per_mps2")
    own, base = results.descriptors[[number, BASELINE], column].tolist()
    wanted = results.study.wanted_feel
    found = "not measured"
    if not math.isnan(own):
        found = f"{feel_in_words(own)}, {own:.3g} deg of nose per m/s2"
    words = f"Feel: {found}; the baseline {base:.3g}"
    if wanted is not None:
        words += f"; wanted {wanted:g}, of weight {results.study.feel_weight:g}"
    marks = ", ".join(f"{mark} {value:g}" for mark, value in MARKS.items())
    return f"{words} ({marks})."


def _for_a_terminal(name: str, table: Columns) -> Columns:
    """Return a table of a candidate without the columns that say nothing more, or do not fit."""
    if name == "worst_rides":
        return ride_columns(table)
    if name == "objectives" and np.array_equal(
        table["baseline"], table["compared_with"], equal_nan=True
    ):
        return without(table, "compared_with")
    return without(table, "value") if name == "constraints" else table


def print_candidate(out: Console, results: Results, number: int) -> None:
    """Print all tables of a candidate, what it fails and which parameters sit at an end."""
    names = ", ".join(results.pick_names(number)) or "no pick"
    cost = candidate_numbers(results, number).weighted_cost
    found = why_not_scored(results, number) or f"weighted cost {cost:.3f}"
    out.print(f"Candidate {number} ({names}), {found}")
    out.print(noise_in_words(results, number))
    out.print(_feel_line(results, number))
    if results.reevaluated[number]:
        print_comparison_note(out, results)
    out.print()
    for name, table in candidate_tables(results, number).items():
        print_table(out, _for_a_terminal(name, table))
        if name == "nose_down_rates":
            out.print(objective_in_words(results.study))
        out.print()
    marks = bound_marks(results, number)
    if marks:
        out.print(
            f"At an end of the searched range: {', '.join(marks)}. Widen search.bounds for"
            " these in a new study, or keep the end on purpose."
        )
    out.print(known_verdict(results, number).text)
    for failed in failures_of(results, number):
        out.print(f"FAILS: {failed}")
