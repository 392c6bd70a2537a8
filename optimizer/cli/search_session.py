"""A search from the command line: it is run with a bar; its results are written and printed."""

from pathlib import Path
from typing import Any

import typer
from rich.console import Console

from optimizer.analysis.candidate import bound_marks
from optimizer.analysis.front_so_far import found_latest
from optimizer.analysis.results import Results
from optimizer.base.errors import NotStartedError
from optimizer.cli.console import console, print_cautions, print_json
from optimizer.cli.exit_codes import INTERRUPTED
from optimizer.cli.output.run import (
    picks_table,
    print_bounds,
    print_early_rejections,
    print_latest_gain,
    print_picks,
    print_reevaluation,
    saved_ratio,
)
from optimizer.cli.output.study import print_written, write_results
from optimizer.cli.search_view import SearchView
from optimizer.execution.run import stopping_on_interrupt
from optimizer.interface.progress import Progress
from optimizer.interface.studies import run
from optimizer.study.study import Study
from plant.device import Device

_STOPPING = "Stopping after this generation; Ctrl-C again stops at once."


def search(
    study: Study,
    *,
    candidates: int | None,
    minutes: float | None,
    until_gain_percent: float | None,
    jobs: int | None,
    database: str | None,
    cluster: str | None,
    device: Device | None,
    as_json: bool,
) -> None:
    """Search, write the results and print them; say so where the search was stopped.

    Parameters
    ----------
    study : Study
    candidates, minutes, until_gain_percent, jobs, database, cluster, device : optional
        As of `optimizer.interface.studies.run`.
    as_json : bool
        Whether JSON is printed.

    Raises
    ------
    typer.Exit
        The search was stopped before all was done.
    """
    out = console(as_json=as_json)

    def on_interrupt() -> None:
        out.print(_STOPPING)

    with stopping_on_interrupt(on_interrupt) as stop, SearchView(out) as view:
        try:
            results = run(
                study,
                candidates=candidates,
                minutes=minutes,
                until_gain_percent=until_gain_percent,
                jobs=jobs,
                on_progress=view.show,
                notice=out.print,
                stop=stop,
                database=database,
                cluster=cluster,
                device=device,
            )
        except NotStartedError:
            out.print(f"Nothing is ridden yet. Start again with: levelgain resume {study.folder}")
            raise typer.Exit(INTERRUPTED) from None
    written = write_results(out, results)
    if as_json:
        print_json(_search_facts(results, view, written))
    else:
        print_picks(out, results)
        print_bounds(out, results)
        print_reevaluation(out, results)
        print_early_rejections(out, results)
        print_latest_gain(out, results)
        print_written(out, written)
    _print_next(out, results, view, as_json=as_json)


def run_seed(study: Study, out: Console, *, jobs: int | None, device: Device | None) -> Results:
    """Return the results of one of several seeds, run with a bar to its number of candidates.

    Raises
    ------
    typer.Exit
        It was stopped before all was done.
    """

    def on_interrupt() -> None:
        out.print(_STOPPING)

    out.print(f"Seed {study.seed}, in {study.folder}:")
    with stopping_on_interrupt(on_interrupt) as stop, SearchView(out) as view:
        try:
            results = run(
                study,
                candidates=study.n_candidates,
                jobs=jobs,
                on_progress=view.show,
                notice=out.print,
                stop=stop,
                device=device,
            )
        except NotStartedError:
            out.print("Stopped before anything was ridden. The same command goes on.")
            raise typer.Exit(INTERRUPTED) from None
    if not view.finished:
        out.print(f"Stopped {_how_far(view.searched)}. The same command goes on.")
        raise typer.Exit(INTERRUPTED)
    return results


def _print_next(out: Console, results: Results, view: SearchView, *, as_json: bool) -> None:
    """Print what to do next; leave with another exit code where the search was stopped."""
    folder = results.study.folder
    if not view.finished:
        out.print(f"Stopped {_how_far(view.searched)}. Go on with: levelgain resume {folder}")
        raise typer.Exit(INTERRUPTED)
    if not as_json:
        then = "validate" if results.picks else "show"
        named = "lowest_cost" if results.picks else "nearest_1"
        out.print(f"Next: levelgain page {folder}; then levelgain {then} {folder} {named}")
        print_cautions(out)


def _how_far(searched: Progress) -> str:
    if searched.done == searched.total:
        return "before the re-evaluation of the front was finished"
    return f"at {searched.done:g} of {searched.total:g} candidates, none lost"


def _search_facts(results: Results, view: SearchView, written: list[Path]) -> dict[str, Any]:
    """Return what a search found and wrote, for JSON."""
    gain = found_latest(results)
    return {
        "folder": str(results.study.folder),
        "finished": view.finished,
        "candidates": len(results),
        "wanted_candidates": view.searched.total,
        "feasible_candidates": int(results.feasible.sum()),
        "front_candidates": int(results.on_front.sum()),
        "rejected_early_candidates": int(results.rejected_early.sum()),
        "saved_ride_time_ratio": saved_ratio(results),
        "latest_gain_percent": None if gain is None else gain.percent,
        "picks": picks_table(results).to_dict(orient="records"),
        "parameters_at_bounds": {
            name: bound_marks(results, number) for name, number in results.picks.items()
        },
        "device": results.study.device,
        "files": [str(path) for path in written],
    }
