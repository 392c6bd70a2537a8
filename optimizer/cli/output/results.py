"""One candidate and its rides, printed."""

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd
from rich.console import Console

from objectives import DESCRIPTOR_NAMES, OBJECTIVES, RIDE_COSTS
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
from optimizer.analysis.comparison import Comparison
from optimizer.analysis.known_verdict import known_verdict
from optimizer.analysis.nose_down_rates import nose_down_rates, objective_in_words
from optimizer.analysis.results import Results
from optimizer.cli.console import print_table
from optimizer.cli.output.front import print_comparison_note
from optimizer.search.evaluation import BASELINE
from plant.kernel.outcomes import Outcome

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


def hardest(rides: pd.DataFrame) -> str:
    """Return the name of the ride that came nearest to a nose-down."""
    return str(rides.nlargest(1, "nose_down_risk")["ride"].item())


def ridden_facts(rides: pd.DataFrame, *, changes: Sequence[str] | None) -> Any:
    """Return what one profile does on every ride, for JSON, with what is otherwise if asked."""
    records = ride_columns(rides).to_dict(orient="records")
    return records if changes is None else {"changes": list(changes), "rides": records}


def print_ridden(
    out: Console,
    rides: pd.DataFrame,
    *,
    called: str,
    found: Comparison | None,
    changes: Sequence[str],
) -> None:
    """Print what one profile does on every ride.

    Parameters
    ----------
    out : Console
    rides : DataFrame
        From `optimizer.analysis.tables.rides_table`.
    called : str
        What to call the profile.
    found : Comparison or None
        Its scores; None for rides that the study does not hold.
    changes : sequence of str
        What is otherwise in those.
    """
    print_table(out, ride_columns(rides))
    out.print()
    if found is not None:
        _print_scores(out, found)
        return
    for line in changes:
        out.print(line)
    n_ended = int((rides["ended"] != Outcome.RIDDEN.message).sum())
    how_many = f"{n_ended or 'none'} of {len(rides)}"
    out.print(f"{called}: {how_many} ended early. Nothing is stored.")


def _print_scores(out: Console, found: Comparison) -> None:
    """Print the nose-down rates and the scores of the one profile of a comparison."""
    print_table(out, nose_down_rates(found.study, found.hard[0]))
    out.print(objective_in_words(found.study))
    scores = ", ".join(
        f"{name} {value:.4g}" for name, value in zip(OBJECTIVES, found.objectives[0], strict=True)
    )
    out.print(f"\n{found.names[0]}: {scores}, on the noise of the re-evaluation")
    for failed in found.fails[0]:
        out.print(f"FAILS: {failed}")


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


def _for_a_terminal(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Return a table of a candidate without the columns that say nothing more, or do not fit."""
    if name == "worst_rides":
        return ride_columns(table)
    if name == "objectives" and table["baseline"].equals(table["compared_with"]):
        return table.drop(columns="compared_with")
    if name == "constraints":
        return table.drop(columns="value")
    return table


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
