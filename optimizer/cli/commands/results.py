"""Commands that look at a study's results, and ride one profile."""

from pathlib import Path

import numpy as np
import pandas as pd
import typer

from objectives import CONSTRAINT_NAMES, OBJECTIVES, RIDE_COLUMNS
from optimizer.analysis.candidate import bound_marks, failures, why_spared
from optimizer.analysis.profile_source import chosen_profile
from optimizer.analysis.results import Results, candidate_number
from optimizer.analysis.table_filters import filtered, named_columns, sorted_by
from optimizer.analysis.tables import candidates_table, front_table
from optimizer.base.json_io import json_text
from optimizer.cli.console import console, print_table
from optimizer.cli.read_study import read_study
from optimizer.cli.stages_view import StagesView
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study
from optimizer.study.study import Study
from plant.kernel.outcomes import Outcome

_FRONT_COLUMNS = ("number", "picks", *OBJECTIVES, "weighted_cost_ratio", "feel_deg_per_mps2")
_SHOWN_COLUMNS = (
    *OBJECTIVES,
    "peak_current_a",
    "least_reserve_ratio",
    "least_nose_margin_ratio",
    "roll_back_ratio",
)
_WORST_RIDES = 5


def front(
    *,
    folder: Path,
    sort: list[str] | None,
    where: list[str] | None,
    limit: int,
    all_candidates: bool,
    as_json: bool,
) -> None:
    """Show the front as a table."""
    out = console(as_json=as_json)
    results = read_study(folder, out)
    table = candidates_table(results) if all_candidates else front_table(results)
    table = sorted_by(filtered(table, where or ()), sort or ["weighted_cost_ratio"])
    if as_json:
        typer.echo(json_text(table.head(limit).to_dict(orient="records")), nl=False)
        return
    if not results.picks and not all_candidates:
        out.print("No candidate meets every constraint; see --all --sort violation_ratio.")
        return
    columns = list(dict.fromkeys((*_FRONT_COLUMNS, *named_columns(where or (), sort or ()))))
    print_table(out, table[columns].head(limit))
    out.print(f"{min(limit, len(table))} of {len(table)} shown, of {len(results)} ridden.")


def show(
    *,
    folder: Path,
    which: str,
    as_json: bool,
) -> None:
    """Show one candidate: parameters, objectives, constraints and worst rides."""
    out = console(as_json=as_json)
    results = read_study(folder, out)
    number = candidate_number(results, which)
    parameters = _parameters(results, number)
    objectives = _against_baseline(results, number)
    constraints = pd.DataFrame(
        {"constraint": CONSTRAINT_NAMES, "value": results.history.constraints[number]}
    )
    constraints["met"] = constraints["value"] <= 0.0
    worst = _worst(results, number)
    if as_json:
        tables = {
            "objectives": objectives,
            "parameters": parameters,
            "constraints": constraints,
            "worst_rides": worst,
        }
        told = {name: table.to_dict(orient="records") for name, table in tables.items()}
        ridden = int(results.rides_ridden[number])
        typer.echo(json_text({"number": number, "rides_ridden": ridden, **told}), nl=False)
        return
    names = ", ".join(results.pick_names(number)) or "no pick"
    cost = results.weighted_cost[number]
    found = why_spared(results, number) if results.spared[number] else f"weighted cost {cost:.3f}"
    out.print(f"Candidate {number} ({names}), {found}\n")
    for table in (objectives, parameters, constraints, worst):
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


def ride(
    *,
    folder: Path,
    candidate: str | None,
    profile: Path | None,
    jobs: int,
    as_json: bool,
) -> None:
    """Ride one profile over all rides of a study; the baseline when none is named."""
    out = console(as_json=as_json)
    with StagesView(out) as stages:
        stages.begin("reading the study")
        study = load_study(folder)
        rules = rules_of(study)
        values, called, _ = chosen_profile(study, candidate, profile)
        stages.begin("riding")
        scores, rides = ride_portfolio(study, values[None, :], rules=rules, n_jobs=jobs)
    table = _ride_table(study, rides[0])
    if as_json:
        typer.echo(json_text(table.to_dict(orient="records")), nl=False)
        return
    print_table(out, table)
    told = ", ".join(
        f"{name} {value:.4g}" for name, value in zip(OBJECTIVES, scores.objectives[0], strict=True)
    )
    out.print(f"\n{called}: {told}")
    for failed in failures(scores.constraints[0]):
        out.print(f"FAILS: {failed}")


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
    table = _ride_table(results.study, results.rides[number]).dropna(subset="ended")
    return table.sort_values("nose_down_risk", ascending=False, kind="stable").head(_WORST_RIDES)


def _ride_table(study: Study, rides: np.ndarray) -> pd.DataFrame:
    """Return one candidate's rides, (ride, column), as a table with reasons in words.

    A ride that was not ridden has none.
    """
    columns = {name: rides[:, RIDE_COLUMNS.index(name)].astype(float) for name in _SHOWN_COLUMNS}
    outcome = rides[:, RIDE_COLUMNS.index("outcome")]
    return pd.DataFrame(
        {
            "ride": [ride.name for ride in study.rides],
            **columns,
            "ended": [None if np.isnan(code) else Outcome(int(code)).message for code in outcome],
        }
    )
