"""Commands that look at a study's results."""

from typing import Annotated

import typer

from optimizer.cli.loading import loading
from optimizer.cli.options import AsJson, Folder, Which
from optimizer.study.limits import MOST_CANDIDATES


def front(
    folder: Folder,
    sort: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Column to sort by; -NAME: largest first."),
    ] = None,
    where: Annotated[
        list[str] | None,
        typer.Option(metavar="TEXT", help="Condition, such as 'level_error_deg<2.5'."),
    ] = None,
    limit: Annotated[
        int, typer.Option(min=1, max=MOST_CANDIDATES, metavar="N", help="Rows to show.")
    ] = 20,
    all_candidates: Annotated[
        bool, typer.Option("--all", help="All candidates, not the front alone.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Show the front as a table.

    Example: levelgain front my_board --where 'level_error_deg<2.5'
    """
    with loading():
        from optimizer.analysis.candidate_columns import candidate_columns, front_columns
        from optimizer.analysis.columns import n_rows, records, rows_of
        from optimizer.analysis.table_filters import filtered, named_columns, sorted_by
        from optimizer.cli.console import console, print_json, print_table
        from optimizer.cli.output.front import (
            FRONT_COLUMNS,
            print_comparison_note,
            print_pinned_ends,
        )
        from optimizer.cli.read_study import read_study

    out = console(as_json=as_json)
    results = read_study(folder, out)
    table = candidate_columns(results) if all_candidates else front_columns(results)
    table = sorted_by(filtered(table, where or ()), sort or ["weighted_cost_ratio"])
    shown = rows_of(table, slice(limit))
    if as_json:
        print_json(records(shown))
        return
    if not results.picks and not all_candidates:
        out.print(
            "No candidate meets every constraint. Next: levelgain front"
            f" {folder} --all --sort violation_ratio"
        )
        return
    noise = ("reevaluated",) if all_candidates else ()
    named = named_columns(where or (), sort or ())
    columns = list(dict.fromkeys((*FRONT_COLUMNS, *noise, *named)))
    print_table(out, {name: shown[name] for name in columns})
    out.print(f"{n_rows(shown)} of {n_rows(table)} shown, of {len(results)} ridden.")
    if all_candidates and results.reevaluated.any():
        out.print(
            "Re-evaluated candidates have their numbers on fresh noise, others in the search."
        )
    print_comparison_note(out, results)
    print_pinned_ends(out, results)


def show(folder: Folder, which: Which, as_json: AsJson = False) -> None:
    """Show one candidate.

    Its objectives, nose-down rates, handling, parameters, constraints, worst rides, and what a
    validation says of it.

    Example: levelgain show my_board balanced
    """
    with loading():
        from optimizer.analysis.candidate_numbers import candidate_numbers
        from optimizer.analysis.candidate_tables import candidate_tables
        from optimizer.analysis.columns import records
        from optimizer.analysis.known_verdict import known_verdict, verdict_facts
        from optimizer.analysis.results import candidate_number
        from optimizer.cli.console import console, print_json
        from optimizer.cli.output.results import print_candidate, ride_columns
        from optimizer.cli.read_study import read_study

    out = console(as_json=as_json)
    results = read_study(folder, out)
    number = candidate_number(results, which)
    if not as_json:
        print_candidate(out, results, number)
        return
    tables = candidate_tables(results, number)
    tables["worst_rides"] = ride_columns(tables["worst_rides"])
    print_json(
        {
            "number": number,
            "ridden_on": candidate_numbers(results, number).noise,
            "validation": verdict_facts(known_verdict(results, number)),
            "rides_ridden": int(results.rides_ridden[number]),
            **{name: records(table) for name, table in tables.items()},
        }
    )
