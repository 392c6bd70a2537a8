"""The command that serves the page of a study while it runs."""

from http.server import HTTPServer
from pathlib import Path

from optimizer.cli.console import console
from optimizer.reports.page import HOST, LiveStudy, serve


def watch(
    *,
    folder: Path,
    port: int,
) -> None:
    """Serve the same page while the study runs, on this machine only."""
    live = LiveStudy(folder)
    out = console()

    def ready(server: HTTPServer) -> None:
        out.print(
            f"http://{HOST}:{server.server_port}/ shows the study as it grows; Ctrl-C ends it."
        )
        out.file.flush()

    serve(live, port=port, ready=ready)
