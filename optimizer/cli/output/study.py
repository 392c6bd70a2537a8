"""The tables and figures of a study, written with a bar."""

from pathlib import Path

from rich.console import Console

from optimizer.analysis.results import Results
from optimizer.analysis.tables import write_tables
from optimizer.cli.stages_view import StagesView
from optimizer.reports.figures import write_figures
from optimizer.reports.lookups import keep_lookups


def write_results(out: Console, results: Results) -> list[Path]:
    """Write every table and figure of a study, with a bar; return the files."""
    with StagesView(out) as stages:
        stages.begin("writing tables")
        written = write_tables(results)
        written += write_figures(results, stages=stages)
        stages.begin("keeping what lookups need")
        keep_lookups(results)
    return written


def print_written(out: Console, written: list[Path]) -> None:
    """Say where the tables and figures are."""
    out.print(f"{len(written)} tables and figures in {written[0].parent}.")
