"""The page of a running study, served on this machine only."""

import contextlib
import http.server
import json
import re
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from optimizer.analysis.candidate import worst_places
from optimizer.analysis.results import Results, read_results
from optimizer.base.errors import UserInputError
from optimizer.execution.asked_candidates import ASKED
from optimizer.execution.store import how_far, started_with
from optimizer.reports.page.bounded_server import BoundedHandler, BoundedServer
from optimizer.reports.page.details import candidate_traces, rides_and_loops
from optimizer.reports.page.document import page_data, page_document, waiting_document
from optimizer.reports.page.pace import Pace
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from optimizer.study.study import Study

HOST: Final = "127.0.0.1"
_NAMES = (HOST, "localhost")
_CANDIDATE = re.compile(r"/candidate/([0-9]{1,9})\.json")
_RIDE = re.compile(r"/ride/([0-9]{1,9})/([0-9]{1,9})\.json")
_HEADERS = {
    "Cache-Control": "no-store",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
_ASK_AGAIN_S = 2
_OWN_QUESTIONS = (None, "same-origin", "none")  # of another page: "cross-site" or "same-site"
_MOST_WAIT_S = 20.0  # behind other rides, before a question is told to come again


class BusyError(Exception):
    """Rides asked for before take longer than a question waits."""


class LiveStudy:
    """A study whose store is read again when it has grown.

    Parameters
    ----------
    folder : Path
        The study's folder.

    Raises
    ------
    UserInputError
        The study file can not be read.
    """

    def __init__(self, folder: Path) -> None:
        self._study: Study = load_study(folder)
        self._lock = threading.Lock()
        self._riding = threading.Lock()
        self._pace = Pace()
        self._read: tuple[str, Results, dict[str, Any]] | None = None

    @property
    def version(self) -> str:
        """What changes whenever the store does."""
        path = store_path(self._study.folder)
        found = []
        for part in (path, path.with_name(path.name + "-wal")):
            with contextlib.suppress(FileNotFoundError):
                found.append(part.stat())
        return "-".join(f"{one.st_size}.{one.st_mtime_ns}" for one in found)

    def payload(self) -> dict[str, Any]:
        """Return what the page gets now.

        Raises
        ------
        UserInputError
            No generation is finished yet, or the store can not be read.
        """
        return self._current()[1]

    def candidate(self, number: int) -> dict[str, Any] | None:
        """Return a candidate's details and worst rides; None if there is none on the page."""
        results = self._current()[0]
        if not 0 <= number < len(results) or results.rejected_early[number]:
            return None
        places = worst_places(results, number)
        return {
            "details": rides_and_loops(results, [number]),
            **self._traces(results, number, places),
        }

    def ride(self, number: int, place: int) -> dict[str, Any] | None:
        """Return a candidate and the baseline on one ride; None if there is none of these.

        Raises
        ------
        BusyError
            Rides that were asked for before take too long.
        """
        results = self._current()[0]
        if not (0 <= number < len(results) and 0 <= place < len(results.study.rides)):
            return None
        return self._traces(results, number, [place])

    def progress(self) -> dict[str, Any]:
        """Return how far the search has come, in words and numbers, and what it takes yet.

        Raises
        ------
        UserInputError
            The store can not be read.
        """
        path = store_path(self._study.folder)
        asked = started_with(path, ASKED)
        n_wanted = int(asked) if asked else self._study.n_candidates
        return self._pace.seen(*how_far(path), n_wanted=n_wanted)

    def _traces(self, results: Results, number: int, places: list[int]) -> dict[str, Any]:
        """Simulate rides, one question at a time."""
        if not self._riding.acquire(timeout=_MOST_WAIT_S):
            raise BusyError
        try:
            return {
                "own": candidate_traces(results, number, places),
                "base": candidate_traces(results, BASELINE, places),
            }
        finally:
            self._riding.release()

    def _current(self) -> tuple[Results, dict[str, Any]]:
        with self._lock:
            version = self.version
            if self._read is None or self._read[0] != version:
                results = read_results(self._study)
                payload = page_data(results, live=True) | {"version": version}
                self._read = (version, results, payload)
            return self._read[1], self._read[2]


class _Handler(BoundedHandler):
    """Answers the page's own questions and no others."""

    server: "_Server"

    def answer(self) -> None:
        """Answer a question from a page that was asked for by this machine's own name."""
        port = self.server.server_address[1]
        if self.headers.get("Host") not in {f"{name}:{port}" for name in _NAMES}:
            self._say(403, "text/plain", "This page is for this machine only.\n")
            return
        if self.headers.get("Sec-Fetch-Site") not in _OWN_QUESTIONS and self.path != "/":
            self._say(403, "text/plain", "Only this page itself may ask.\n")
            return
        try:
            self._answer(self.path)
        except BusyError:
            self._say(503, "text/plain", "Other rides are simulated; ask again.\n")
        except UserInputError as error:
            self._say(503, "text/html", waiting_document(str(error), again_s=_ASK_AGAIN_S))

    def say_failure(self) -> None:
        """Answer that the question can not be answered."""
        self._say(500, "text/plain", "This can not be shown; the terminal says why.\n")

    def _answer(self, path: str) -> None:
        live = self.server.live
        asked = _CANDIDATE.fullmatch(path)
        ridden = _RIDE.fullmatch(path)
        if path == "/":
            self._say(200, "text/html", page_document(live.payload()))
        elif path == "/version.json":
            self._json({"version": live.version, "progress": live.progress()})
        elif path == "/study.json":
            self._json(live.payload())
        elif asked:
            self._json(live.candidate(int(asked[1])))
        elif ridden:
            self._json(live.ride(int(ridden[1]), int(ridden[2])))
        else:
            self._say(404, "text/plain", "There is no such page.\n")

    def _json(self, payload: dict[str, Any] | None) -> None:
        if payload is None:
            self._say(404, "text/plain", "There is no such candidate or ride.\n")
        else:
            self._say(200, "application/json", json.dumps(payload, allow_nan=False))

    def _say(self, code: int, kind: str, text: str) -> None:
        content = text.encode()
        self.send_response(code)
        for name, value in {
            "Content-Type": f"{kind}; charset=utf-8",
            "Content-Length": str(len(content)),
            **_HEADERS,
        }.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(content)


class _Server(BoundedServer):
    def __init__(self, live: LiveStudy, port: int) -> None:
        super().__init__((HOST, port), _Handler)
        self.live = live


def serve(live: LiveStudy, *, port: int, ready: Callable[[http.server.HTTPServer], None]) -> None:
    """Serve a study's page until the server is stopped.

    Parameters
    ----------
    live : LiveStudy
    port : int
        0 takes any free port.
    ready : callable
        Told the server before the first question is answered.

    Raises
    ------
    UserInputError
        The port is in use or not allowed.
    """
    try:
        server = _Server(live, port)
    except OSError as error:
        raise UserInputError(
            f"--port: {port} can not be opened ({error.strerror}); name another, or 0 for any"
        ) from None
    with server:
        ready(server)
        server.serve_forever(poll_interval=0.2)
