"""Tables of candidates and of their rides."""

import numpy as np
import pandas as pd
from rich.console import Console

from objectives import CONSTRAINT_NAMES, OBJECTIVES, RIDE_COLUMNS
from optimizer.analysis.candidate import bound_marks, failures, why_rejected_early
from optimizer.analysis.results import Results
from optimizer.cli.console import print_table
from optimizer.search.evaluation import BASELINE
from optimizer.study.study import Study
from plant.kernel.outcomes import Outcome

FRONT_COLUMNS = ("number", "picks", *OBJECTIVES, "weighted_cost_ratio", "feel_deg_per_mps2")
_RIDE_COLUMNS = (
    *OBJECTIVES,
    "peak_current_a",
    "least_reserve_ratio",
    "least_nose_margin_ratio",
    "roll_back_ratio",
)
_WORST_RIDES = 5


def candidate_tables(results: Results, number: int) -> dict[str, pd.DataFrame]:
    """Return objectives, parameters, constraints and worst rides of a candidate, by name."""
    constraints = pd.DataFrame(
        {"constraint": CONSTRAINT_NAMES, "value": results.history.constraints[number]}
    )
    constraints["met"] = constraints["value"] <= 0.0
    return {
        "objectives": _against_baseline(results, number),
        "parameters": _parameters(results, number),
        "constraints": constraints,
        "worst_rides": _worst(results, number),
    }


def print_candidate(out: Console, results: Results, number: int) -> None:
    """Print all tables of a candidate, what it fails and which parameters sit at an end."""
    names = ", ".join(results.pick_names(number)) or "no pick"
    cost = results.weighted_cost[number]
    found = (
        why_rejected_early(results, number)
        if results.rejected_early[number]
        else f"weighted cost {cost:.3f}"
    )
    out.print(f"Candidate {number} ({names}), {found}\n")
    for table in candidate_tables(results, number).values():
        print_table(out, table)
        out.print()
    marks = bound_marks(results, number)
    if marks:
        out.print(
            f"At an end of the searched range: {', '.join(marks)}. Widen search.bounds for"
            " these in a new study, or keep the end on purpose."
        )
    for failed in failures(results.history.constraints[number]):
        out.print(f"FAILS: {failed}")


def ride_table(study: Study, rides: np.ndarray) -> pd.DataFrame:
    """Return one candidate's rides, (ride, column), as a table with reasons in words.

    A ride that was not ridden has none.
    """
    columns = {name: rides[:, RIDE_COLUMNS.index(name)].astype(float) for name in _RIDE_COLUMNS}
    outcome = rides[:, RIDE_COLUMNS.index("outcome")]
    return pd.DataFrame(
        {
            "ride": [ride.name for ride in study.rides],
            **columns,
            "ended": [None if np.isnan(code) else Outcome(int(code)).message for code in outcome],
        }
    )


def _parameters(results: Results, number: int) -> pd.DataFrame:
    space, values = results.study.space, results.history.values
    return pd.DataFrame(
        {
            "parameter": space.names,
            "value": values[number],
            "baseline": values[BASELINE],
            "low": space.low,
            "high": space.high,
        }
    )


def _against_baseline(results: Results, number: int) -> pd.DataFrame:
    objectives = results.history.objectives
    return pd.DataFrame(
        {
            "objective": OBJECTIVES,
            "value": objectives[number],
            "baseline": objectives[BASELINE],
            "change_percent": 100.0 * (objectives[number] / objectives[BASELINE] - 1.0),
        }
    )


def _worst(results: Results, number: int) -> pd.DataFrame:
    table = ride_table(results.study, results.rides[number]).dropna(subset="ended")
    return table.sort_values("nose_down_risk", ascending=False, kind="stable").head(_WORST_RIDES)
