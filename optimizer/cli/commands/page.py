"""Commands that write the page of a study, and serve it while the study runs."""

from pathlib import Path
from typing import Annotated

import typer

from optimizer.base.atomic_files import refuse_existing
from optimizer.base.errors import CandidateError
from optimizer.cli.loading import loading
from optimizer.cli.options import Folder, named
from optimizer.study.paths import PAGE_NAME, RESULTS_FOLDER

_MEGABYTE = 1e6


def page(
    folder: Folder,
    extra: Annotated[
        list[str] | None,
        typer.Option(
            "--with",
            metavar="CANDIDATE",
            help="A candidate to show in full, however large the page is.",
        ),
    ] = None,
    to: Annotated[
        Path | None,
        typer.Option(parser=named, metavar="FILE", help="Default: FOLDER/results/page.html."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the file named by --to.")] = False,
) -> None:
    """Write one page to choose a candidate from.

    It is one HTML file that needs no network.

    Example: levelgain page my_board
    """
    if to is not None and not force:
        refuse_existing([to], advice="give --force to replace it, or name another file")
    with loading():
        from optimizer.analysis.candidate import why_rejected_early
        from optimizer.analysis.results import candidate_number, read_results
        from optimizer.cli.console import console, print_cautions
        from optimizer.cli.stages_view import StagesView
        from optimizer.interface.studies import load_study
        from optimizer.reports.page import page_data, write_page

    path = folder / RESULTS_FOLDER / PAGE_NAME if to is None else to
    out = console()
    with StagesView(out) as stages:
        stages.begin("reading the study")
        results = read_results(load_study(folder))
        numbers = tuple(candidate_number(results, text) for text in extra or ())
        for number in numbers:
            if results.rejected_early[number]:
                why = why_rejected_early(results, number)
                raise CandidateError(
                    f"--with {number}: candidate {number} was {why};"
                    f" see `levelgain show {folder} {number}`"
                )
        stages.begin("tracing the worst rides")
        data = page_data(results, extra=numbers, advance=stages.reach)
        stages.begin("writing the page")
        n_bytes = write_page(path, data)
    n_detailed, n_traced = len(data["details"]["numbers"]), len(data["traces"])
    out.print(
        f"{path} written, {n_bytes / _MEGABYTE:.1f} MB: {n_detailed} candidates in detail,"
        f" {n_traced} of them with traces. Open it in a browser; it needs no network."
    )
    print_cautions(out)


def watch(
    folder: Folder,
    port: Annotated[
        int, typer.Option(min=0, max=65535, metavar="N", help="Port; 0: any that is free.")
    ] = 8411,
) -> None:
    """Serve the page of a study while it runs.

    On this machine only, beside `levelgain run` in a second terminal.

    Example: levelgain watch my_board
    """
    with loading():
        from http.server import HTTPServer

        from optimizer.cli.console import console
        from optimizer.reports.page import HOST, LiveStudy, serve

    live = LiveStudy(folder)
    out = console()

    def ready(server: HTTPServer) -> None:
        out.print(
            f"http://{HOST}:{server.server_port}/ shows the study as it grows; Ctrl-C ends it."
        )
        out.file.flush()

    serve(live, port=port, ready=ready)
