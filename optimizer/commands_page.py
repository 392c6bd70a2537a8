"""Commands that make the page of a study, and serve it while the study runs."""

from http.server import HTTPServer
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

from optimizer.files import refuse_existing
from optimizer.page import HOST, PAGE_NAME, LiveStudy, page_data, serve, write_page
from optimizer.printing import console, print_cautions
from optimizer.results import candidate_number, read_results
from optimizer.study_file import load_study
from optimizer.tables import RESULTS_FOLDER

_PORT = 8411
_MEGABYTE = 1e6

Folder = Annotated[Path, typer.Argument(help="Folder of the study.", show_default=False)]


def page(
    folder: Folder,
    extra: Annotated[
        list[str] | None,
        typer.Option("--with", help="A candidate to tell in full, whatever the room."),
    ] = None,
    to: Annotated[
        Path | None, typer.Option(help="File; default: FOLDER/results/page.html.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace the file named by --to.")] = False,
) -> None:
    """Write a study as one HTML page to choose a candidate from, offline.

    Example: levelgain page my_board
    """
    if to is not None and not force:
        refuse_existing([to], advice="give --force to replace it, or name another file")
    results = read_results(load_study(folder))
    numbers = tuple(candidate_number(results, text) for text in extra or ())
    out = console()
    with Progress(
        TextColumn("tracing the worst rides"),
        BarColumn(),
        MofNCompleteColumn(),
        console=out,
        disable=not out.is_terminal,
    ) as bar:
        task = bar.add_task("", total=None)
        told = page_data(
            results,
            extra=numbers,
            advance=lambda done, wanted: bar.update(task, completed=done, total=wanted),
        )
    path = folder / RESULTS_FOLDER / PAGE_NAME if to is None else to
    n_bytes = write_page(path, told)
    n_detailed, n_traced = len(told["details"]["numbers"]), len(told["traces"])
    out.print(
        f"{path} written, {n_bytes / _MEGABYTE:.1f} MB: {n_detailed} candidates in detail,"
        f" {n_traced} of them with traces. Open it in a browser; it needs no network."
    )
    print_cautions(out)


def watch(
    folder: Folder,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port on this machine; 0: any free one.")
    ] = _PORT,
) -> None:
    """Serve the same page while the study runs, on this machine only.

    Example: levelgain watch my_board, beside levelgain run my_board
    """
    live = LiveStudy(folder)
    out = console()

    def ready(server: HTTPServer) -> None:
        out.print(
            f"http://{HOST}:{server.server_port}/ shows the study as it grows; Ctrl-C ends it."
        )
        out.file.flush()

    serve(live, port=port, ready=ready)
