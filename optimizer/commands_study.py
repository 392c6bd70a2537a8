"""Commands that make, check and run a study."""

import json
import os
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from optimizer.candidate import failed_constraints
from optimizer.catalogue import STUDIES_FOLDER
from optimizer.figures import write_figures
from optimizer.files import make_folder, refuse_existing, write_whole
from optimizer.fork import START_FILE, fork
from optimizer.machines import Machines
from optimizer.printing import console, print_bounds, print_cautions, print_picks, print_second_look
from optimizer.progress import SearchView
from optimizer.results import Results, gathered, read_results, store_path
from optimizer.riding import ride_portfolio, rules_of
from optimizer.running import (
    look_again_at_front,
    refuse_not_started,
    refuse_started,
    run_study,
    stopping_on_interrupt,
)
from optimizer.search import whole_generations
from optimizer.store import read_table
from optimizer.study import Study
from optimizer.study_file import STUDY_FILE, load_study
from optimizer.study_template import write_template
from optimizer.tables import write_tables
from plant.compile import CACHE_FOLDER
from plant.errors import UserInputError
from plant.profile_array import profile_to_array

INTERRUPTED = 130  # exit code of a command ended by Ctrl-C
_TIMED_CANDIDATES = 16

Folder = Annotated[Path, typer.Argument(help="Folder of the study.", show_default=False)]
Candidates = Annotated[
    int | None, typer.Option(min=1, help="Candidates to ride in all; default: study.toml's.")
]
Jobs = Annotated[int | None, typer.Option(min=1, help="Threads; default: all cores.")]
Database = Annotated[
    str | None,
    typer.Option(
        help="postgresql:// address at which machines share the study; default: study.toml's."
    ),
]
Cluster = Annotated[
    str | None, typer.Option(help="tcp:// address of a Dask scheduler whose workers ride.")
]


def new(
    folder: Folder,
    example: Annotated[
        str | None, typer.Option(help="Copy a packaged example, such as hill_town.")
    ] = None,
) -> None:
    """Make a new study folder.

    Example: levelgain new my_board
    """
    path = write_template(folder) if example is None else _copy_example(folder, example)
    console().print(f"{path} written. Edit it, then: levelgain check {folder}")


def check(
    folder: Folder,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Check a study file and this machine, and say how long the study will take.

    Example: levelgain check my_board
    """
    study = load_study(folder)
    rules = rules_of(study)
    baseline = profile_to_array(study.baseline)
    jobs = available_cores()
    scores, _ = ride_portfolio(study, baseline[None, :], rules=rules, n_jobs=jobs)
    started = time.perf_counter()
    batch = np.repeat(baseline[None, :], _TIMED_CANDIDATES, axis=0)
    ride_portfolio(study, batch, rules=rules, n_jobs=jobs)
    per_candidate_s = (time.perf_counter() - started) / _TIMED_CANDIDATES
    wanted = whole_generations(study.n_candidates, population=study.population)
    failed = list(failed_constraints(scores.constraints[0]))
    found = {
        "title": study.title,
        "board": study.board_name,
        "riders": list(study.riders),
        "courses": list(study.courses),
        "rides": len(study.rides),
        "searched_parameters": len(study.space.names),
        "candidates": wanted,
        "baseline_fails": failed,
        "cores": jobs,
        "free_disk_mb": shutil.disk_usage(folder).free // 1_000_000,
        "kernel_cache": str(CACHE_FOLDER),
        "candidate_s": round(per_candidate_s, 4),
        "expected_s": round(per_candidate_s * wanted),
    }
    if as_json:
        typer.echo(json.dumps(found, indent=2))
        return
    out = console()
    out.print(f"{study.title}: the study file is in order.")
    out.print(
        f"{len(study.riders)} riders over {len(study.courses)} courses: {len(study.rides)} rides;"
        f" {len(study.space.names)} parameters searched; board {study.board_name}."
    )
    out.print(
        f"{jobs} cores, {found['free_disk_mb']} MB free, kernel compiled."
        f" {wanted} candidates will take about {found['expected_s']} s."
    )
    out.print(
        f"The baseline fails: {', '.join(failed)}; the search starts from it all the same."
        if failed
        else "The baseline meets every constraint."
    )


def run(
    folder: Folder,
    candidates: Candidates = None,
    jobs: Jobs = None,
    database: Database = None,
    cluster: Cluster = None,
) -> None:
    """Ride candidates, search the trade-off and write the results.

    A folder that does not exist and has the name of a packaged example is made from it.
    Ctrl-C stops after the generation that is being ridden; `levelgain resume` goes on.

    Example: levelgain run my_board --candidates 6000
    """
    if not folder.exists() and (STUDIES_FOLDER / folder.name / STUDY_FILE).is_file():
        _copy_example(folder, folder.name)
    study = load_study(folder)
    refuse_started(study)
    _search(study, candidates, jobs, _machines(study, database, cluster))


def resume(
    folder: Folder,
    candidates: Candidates = None,
    jobs: Jobs = None,
    database: Database = None,
    cluster: Cluster = None,
) -> None:
    """Go on with a study that was stopped or killed, or extend a finished one.

    Example: levelgain resume my_board --candidates 12000
    """
    study = load_study(folder)
    refuse_not_started(study)
    _search(study, candidates, jobs, _machines(study, database, cluster))


def fork_study(
    folder: Folder,
    new_folder: Annotated[Path, typer.Argument(help="Folder to make.", show_default=False)],
    profiles: Annotated[int, typer.Option(min=1, help="Most profiles to start from.")] = 24,
) -> None:
    """Make a new study that starts from the front of another, to change and to run.

    Example: levelgain fork my_board my_other_motor
    """
    taken = fork(read_results(load_study(folder)), new_folder, n_profiles=profiles)
    console().print(
        f"{new_folder / STUDY_FILE} and {START_FILE} written: {taken} profiles to start from."
        f" Change board, riders, courses or bounds, then: levelgain run {new_folder}"
    )


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
    _write_results(out, results)
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
    with Progress(
        TextColumn("second look at the front"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=out,
        disable=not out.is_terminal,
    ) as bar:
        task = bar.add_task("", total=None)
        return look_again_at_front(
            study,
            n_jobs=n_jobs,
            advance=lambda done, total: bar.update(task, completed=done, total=total),
            stop=stop,
            machines=machines,
        )


def report(folder: Folder) -> None:
    """Write the tables and figures of a study again, from its store.

    Example: levelgain report my_board
    """
    _write_results(console(), read_results(load_study(folder)))


def _write_results(out: Console, results: Results) -> None:
    written = [*write_tables(results), *write_figures(results)]
    out.print(f"{len(written)} tables and figures in {written[0].parent}.")


def _copy_example(folder: Path, name: str) -> Path:
    source = STUDIES_FOLDER / name
    if not (source / STUDY_FILE).is_file():
        found = sorted(
            path.parent.name
            for path in STUDIES_FOLDER.glob(f"*/{STUDY_FILE}")
            if path.parent.name != "template"
        )
        raise UserInputError(
            f"--example: there is no example {name!r}; there are {', '.join(found)}"
        )
    files = sorted(path for path in source.iterdir() if path.suffix in (".toml", ".gpx", ".csv"))
    make_folder(folder)
    refuse_existing([folder / path.name for path in files], advice="name a new folder")
    for path in files:
        write_whole(folder / path.name, path.read_bytes())
    return folder / STUDY_FILE


def available_cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
