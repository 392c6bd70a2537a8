"""A search from the command line: it is run with a bar; its results are written and printed."""

import dataclasses
from pathlib import Path
from typing import Any

import joblib
import typer
from rich.console import Console

from optimizer.analysis.candidate import bound_marks
from optimizer.analysis.results import Results, gathered
from optimizer.cli.console import console, print_cautions, print_json
from optimizer.cli.exit_codes import INTERRUPTED
from optimizer.cli.output.run import (
    picks_table,
    print_bounds,
    print_early_rejections,
    print_picks,
    print_reevaluation,
    saved_ratio,
)
from optimizer.cli.output.study import print_written, write_results
from optimizer.cli.search_view import SearchView
from optimizer.cli.stages_view import StagesView
from optimizer.execution.backends import Machines
from optimizer.execution.run import reevaluate_front, run_study, stopping_on_interrupt
from optimizer.execution.store import read_table
from optimizer.search.loop import Progress
from optimizer.study.paths import store_path
from optimizer.study.study import Study


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class SearchPlan:
    """A study, how far it is searched, and the machines that ride."""

    study: Study
    n_candidates: int
    n_jobs: int
    machines: Machines

    @staticmethod
    def of(
        study: Study,
        *,
        candidates: int | None,
        jobs: int | None,
        database: str | None,
        cluster: str | None,
    ) -> "SearchPlan":
        """Return the plan; what was not given is the study's or this machine's."""
        return SearchPlan(
            study=study,
            n_candidates=study.n_candidates if candidates is None else candidates,
            n_jobs=joblib.cpu_count() if jobs is None else jobs,
            machines=Machines(
                database=study.database if database is None else database, cluster=cluster
            ),
        )


def search(plan: SearchPlan, *, as_json: bool) -> None:
    """Search, write the results and print them; say so where the search was stopped."""
    out = console(as_json=as_json)
    folder = plan.study.folder
    progress, finished = _ride(plan, out)
    if not progress.n_done:
        out.print(f"Nothing is ridden yet. Start again with: levelgain resume {folder}")
        raise typer.Exit(INTERRUPTED)
    results = gathered(plan.study, read_table(store_path(plan.study.folder)))
    written = write_results(out, results)
    if as_json:
        print_json(_search_facts(results, progress, written, finished=finished))
    else:
        print_picks(out, results)
        print_bounds(out, results)
        print_reevaluation(out, results)
        print_early_rejections(out, results)
        print_written(out, written)
    if not finished:
        how_far = (
            "before the re-evaluation of the front was finished"
            if progress.n_done >= progress.n_wanted
            else f"at {progress.n_done} of {progress.n_wanted} candidates, none lost"
        )
        out.print(f"Stopped {how_far}. Go on with: levelgain resume {folder}")
        raise typer.Exit(INTERRUPTED)
    if not as_json:
        out.print(f"Next: levelgain front {folder}; levelgain show {folder} balanced")
        print_cautions(out)


def _ride(plan: SearchPlan, out: Console) -> tuple[Progress, bool]:
    """Search and re-evaluate the front; return how far the search came, and whether all is done."""

    def on_interrupt() -> None:
        out.print("Stopping after this generation; Ctrl-C again stops at once.")

    with stopping_on_interrupt(on_interrupt) as stop:
        with SearchView(plan.study, out) as view:
            progress = run_study(
                plan.study,
                n_candidates=plan.n_candidates,
                n_jobs=plan.n_jobs,
                on_generation=view.update,
                stop=stop,
                notice=out.print,
                machines=plan.machines,
            )
        if progress.n_done < progress.n_wanted:
            return progress, False
        with StagesView(out) as stages:
            stages.begin("re-evaluating the front")
            return progress, reevaluate_front(
                plan.study,
                n_jobs=plan.n_jobs,
                advance=stages.reach,
                stop=stop,
                machines=plan.machines,
            )


def _search_facts(
    results: Results, progress: Progress, written: list[Path], *, finished: bool
) -> dict[str, Any]:
    """Return what a search found and wrote, for JSON."""
    return {
        "folder": str(results.study.folder),
        "finished": finished,
        "candidates": progress.n_done,
        "wanted_candidates": progress.n_wanted,
        "feasible_candidates": int(results.feasible.sum()),
        "front_candidates": int(results.on_front.sum()),
        "spared_candidates": int(results.rejected_early.sum()),
        "spared_ratio": saved_ratio(results),
        "picks": picks_table(results).to_dict(orient="records"),
        "parameters_at_bounds": {
            name: bound_marks(results, number) for name, number in results.picks.items()
        },
        "files": [str(path) for path in written],
    }
