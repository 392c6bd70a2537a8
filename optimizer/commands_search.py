"""The commands that run a study, go on with one, or extend it."""

from collections.abc import Callable
from pathlib import Path

import typer
from rich.console import Console

from optimizer.catalogue import STUDIES_FOLDER, STUDY_FILE
from optimizer.commands_study import write_results
from optimizer.cores import available_cores
from optimizer.exit_codes import INTERRUPTED
from optimizer.machines import Machines
from optimizer.printing import console, print_bounds, print_cautions, print_picks, print_second_look
from optimizer.progress import SearchView
from optimizer.results import gathered, store_path
from optimizer.running import (
    look_again_at_front,
    refuse_not_started,
    refuse_started,
    run_study,
    stopping_on_interrupt,
)
from optimizer.stages_view import StagesView
from optimizer.store import read_table
from optimizer.study import Study
from optimizer.study_file import load_study
from optimizer.study_template import write_example


def run(
    *,
    folder: Path,
    candidates: int | None,
    jobs: int | None,
    database: str | None,
    cluster: str | None,
) -> None:
    """Ride candidates, search the trade-off and write the results."""
    if not folder.exists() and (STUDIES_FOLDER / folder.name / STUDY_FILE).is_file():
        write_example(folder, folder.name)
    study = load_study(folder)
    refuse_started(study)
    _search(study, candidates, jobs, _machines(study, database, cluster))


def resume(
    *,
    folder: Path,
    candidates: int | None,
    jobs: int | None,
    database: str | None,
    cluster: str | None,
) -> None:
    """Go on with a study that was stopped or killed, or extend a finished one."""
    study = load_study(folder)
    refuse_not_started(study)
    _search(study, candidates, jobs, _machines(study, database, cluster))


def _machines(study: Study, database: str | None, cluster: str | None) -> Machines:
    return Machines(database=study.database if database is None else database, cluster=cluster)


def _search(study: Study, candidates: int | None, jobs: int | None, machines: Machines) -> None:
    out = console()
    wanted = study.n_candidates if candidates is None else candidates

    def tell() -> None:
        out.print("Stopping after this generation; Ctrl-C again stops at once.")

    n_jobs = available_cores() if jobs is None else jobs
    with stopping_on_interrupt(tell) as stop:
        with SearchView(study, out) as view:
            progress = run_study(
                study,
                n_candidates=wanted,
                n_jobs=n_jobs,
                on_generation=view.update,
                stop=stop,
                notice=out.print,
                machines=machines,
            )
        searched = progress.n_done >= progress.n_wanted
        looked = searched and _look_again(study, out, n_jobs=n_jobs, stop=stop, machines=machines)
    if not progress.n_done:
        out.print(f"Nothing is ridden yet. Start again with: levelgain resume {study.folder}")
        raise typer.Exit(INTERRUPTED)
    results = gathered(study, read_table(store_path(study)))
    print_picks(out, results)
    print_bounds(out, results)
    print_second_look(out, results)
    write_results(out, results)
    if searched and not looked:
        out.print(
            "Stopped before the second look at the front was finished."
            f" Go on with: levelgain resume {study.folder}"
        )
        raise typer.Exit(INTERRUPTED)
    if not searched:
        out.print(
            f"Stopped at {progress.n_done} of {progress.n_wanted} candidates, none lost."
            f" Go on with: levelgain resume {study.folder}"
        )
        raise typer.Exit(INTERRUPTED)
    out.print(f"Next: levelgain front {study.folder}; levelgain show {study.folder} balanced")
    print_cautions(out)


def _look_again(
    study: Study, out: Console, *, n_jobs: int, stop: Callable[[], bool], machines: Machines
) -> bool:
    """Ride the front again on fresh noise, with a bar."""
    with StagesView(out) as stages:
        stages.begin("second look at the front")
        return look_again_at_front(
            study,
            n_jobs=n_jobs,
            advance=stages.reach,
            stop=stop,
            machines=machines,
        )
