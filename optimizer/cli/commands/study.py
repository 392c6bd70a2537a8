"""Commands that start a study from another, and write a study's tables and figures again."""

from pathlib import Path

from rich.console import Console

from optimizer.analysis.fork import fork
from optimizer.analysis.results import Results
from optimizer.analysis.tables import write_tables
from optimizer.cli.console import console
from optimizer.cli.read_study import read_study
from optimizer.cli.stages_view import StagesView
from optimizer.reports.figures import write_figures
from optimizer.study.paths import STUDY_FILE


def fork_study(*, folder: Path, new_folder: Path, profiles: int | None) -> None:
    """Make a new study from another's candidates."""
    out = console()
    taken = fork(read_study(folder, out), new_folder, n_profiles=profiles)
    out.print(
        f"{new_folder / STUDY_FILE} written, with {taken} profiles to start from and their rides."
        f" Change riders, courses, bounds or constraints in it, then: levelgain run {new_folder}"
    )


def report(*, folder: Path) -> None:
    """Write the tables and figures of a study again, from its store."""
    out = console()
    print_written(out, write_results(out, read_study(folder, out)))


def write_results(out: Console, results: Results) -> list[Path]:
    """Write every table and figure of a study, with a bar; return the files."""
    with StagesView(out) as stages:
        stages.begin("writing tables")
        written = write_tables(results)
        written += write_figures(results, stages=stages)
    return written


def print_written(out: Console, written: list[Path]) -> None:
    """Say where the tables and figures are."""
    out.print(f"{len(written)} tables and figures in {written[0].parent}.")
