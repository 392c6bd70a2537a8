"""Commands that start a study from another, and write a study's tables and figures again."""

from pathlib import Path

from rich.console import Console

from optimizer.catalogue import STUDY_FILE
from optimizer.figures import write_figures
from optimizer.fork import START_FILE, fork
from optimizer.printing import console
from optimizer.results import Results, read_results
from optimizer.study_file import load_study
from optimizer.tables import write_tables


def fork_study(*, folder: Path, new_folder: Path, profiles: int) -> None:
    """Make a new study that starts from the front of another."""
    taken = fork(read_results(load_study(folder)), new_folder, n_profiles=profiles)
    console().print(
        f"{new_folder / STUDY_FILE} and {START_FILE} written: {taken} profiles to start from."
        f" Change board, riders, courses or bounds, then: levelgain run {new_folder}"
    )


def report(*, folder: Path) -> None:
    """Write the tables and figures of a study again, from its store."""
    write_results(console(), read_results(load_study(folder)))


def write_results(out: Console, results: Results) -> None:
    """Write every table and figure of a study, and say where."""
    written = [*write_tables(results), *write_figures(results)]
    out.print(f"{len(written)} tables and figures in {written[0].parent}.")
