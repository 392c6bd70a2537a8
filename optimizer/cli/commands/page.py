"""The command that makes the page of a study."""

from pathlib import Path

from optimizer.analysis.candidate import why_spared
from optimizer.analysis.results import Results, candidate_number, read_results
from optimizer.base.atomic_files import refuse_existing
from optimizer.base.errors import UserInputError
from optimizer.cli.console import console, print_cautions
from optimizer.cli.stages_view import StagesView
from optimizer.reports.page import page_data, write_page
from optimizer.study.load import load_study
from optimizer.study.paths import PAGE_NAME, RESULTS_FOLDER

_MEGABYTE = 1e6


def page(
    *,
    folder: Path,
    extra: list[str] | None,
    to: Path | None,
    force: bool,
) -> None:
    """Write a study as one HTML page to choose a candidate from, offline."""
    if to is not None and not force:
        refuse_existing([to], advice="give --force to replace it, or name another file")
    path = folder / RESULTS_FOLDER / PAGE_NAME if to is None else to
    out = console()
    with StagesView(out) as stages:
        stages.begin("reading the study")
        results = read_results(load_study(folder))
        numbers = tuple(candidate_number(results, text) for text in extra or ())
        _refuse_spared(results, numbers)
        stages.begin("tracing the worst rides")
        told = page_data(results, extra=numbers, advance=stages.reach)
        stages.begin("writing the page")
        n_bytes = write_page(path, told)
    n_detailed, n_traced = len(told["details"]["numbers"]), len(told["traces"])
    out.print(
        f"{path} written, {n_bytes / _MEGABYTE:.1f} MB: {n_detailed} candidates in detail,"
        f" {n_traced} of them with traces. Open it in a browser; it needs no network."
    )
    print_cautions(out)


def _refuse_spared(results: Results, numbers: tuple[int, ...]) -> None:
    """Refuse candidates of which there is nothing to draw."""
    for number in numbers:
        if results.spared[number]:
            raise UserInputError(
                f"--with {number}: candidate {number} was {why_spared(results, number)};"
                f" see `levelgain show {results.study.folder} {number}`"
            )
