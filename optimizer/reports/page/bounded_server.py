"""A web server that no client holds up: few connections at once, each with a limit of time.

Beyond so many connections a client is told to wait. A client that sends its question too slowly, or
does not take its answer, is cut off. What a client does is never a traceback in the terminal.
"""

import http.server
import socket
import sys
import threading
import time
from contextlib import suppress
from typing import Any

_TELL_TO_WAIT = (
    b"HTTP/1.0 503 Service Unavailable\r\nRetry-After: 2\r\nCache-Control: no-store\r\n"
    b"Content-Type: text/plain; charset=utf-8\r\n\r\n"
    b"Too many connections at once; ask again in two seconds.\n"
)
_CHUNK = 65536


class BoundedServer(http.server.ThreadingHTTPServer):
    """Answers so many clients at once, each on a thread of its own; see the module.

    Its handlers are `BoundedHandler`s. What is served may set the limits:

    Attributes
    ----------
    most_at_once : int
        Connections that are answered at the same time.
    most_leaving : int
        Connections told to wait that are given time to read that.
    question_s, answer_s : float
        Time to send a question, and to take the answer.
    leaving_s : float
        Time to read that one has to wait.
    """

    daemon_threads = True
    request_queue_size = 256  # clients that the system keeps until they are accepted
    most_at_once = 32
    most_leaving = 256
    question_s = 10.0
    answer_s = 30.0
    leaving_s = 2.0

    def __init__(self, address: tuple[str, int], handler: "type[BoundedHandler]") -> None:
        self._free = threading.BoundedSemaphore(self.most_at_once)
        self._asking: dict[socket.socket, float] = {}
        self._asking_lock = threading.Lock()
        self._leaving: dict[socket.socket, float] = {}
        super().__init__(address, handler)  # which closes the server where it can not listen

    def process_request(self, request: Any, client_address: Any) -> None:
        """Answer a client on a thread of its own, or tell it to wait."""
        if not self._free.acquire(blocking=False):
            self._tell_to_wait(request)
            return
        try:
            super().process_request(request, client_address)
        except BaseException:
            self._free.release()
            raise

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Answer a client, and make room for the next."""
        self.begins_to_ask(request)
        try:
            super().process_request_thread(request, client_address)
        finally:
            self.has_asked(request)
            self._free.release()

    def begins_to_ask(self, request: socket.socket) -> None:
        """Start the time in which a client must have sent its question."""
        with self._asking_lock:
            self._asking[request] = time.monotonic() + self.question_s

    def has_asked(self, request: socket.socket) -> None:
        """Stop that time."""
        with self._asking_lock:
            self._asking.pop(request, None)

    def service_actions(self) -> None:
        """Cut off clients that are too slow; called between clients and some times a second."""
        now = time.monotonic()
        with self._asking_lock:
            slow = [request for request, until in self._asking.items() if until < now]
            for request in slow:
                del self._asking[request]
                # Its thread then finds the question at its end, and closes the connection.
                with suppress(OSError):
                    request.shutdown(socket.SHUT_RDWR)
        for request, until in list(self._leaving.items()):
            if until < now or _has_left(request):
                del self._leaving[request]
                request.close()

    def server_close(self) -> None:
        """Close the server and what it holds."""
        super().server_close()
        for request in self._leaving:
            request.close()

    def handle_error(self, request: Any, client_address: Any) -> None:  # noqa: ARG002 - as called
        """Say in one line what went wrong on our side; a client that left is none of that."""
        error = sys.exc_info()[1]
        if error is not None and not isinstance(error, ConnectionError | TimeoutError):
            say_fault(error)

    def _tell_to_wait(self, request: socket.socket) -> None:
        """Say so; the connection is closed once the client has read it, which a reset undoes."""
        with suppress(OSError):
            request.setblocking(False)
            request.send(_TELL_TO_WAIT)
            request.shutdown(socket.SHUT_WR)
        if len(self._leaving) < self.most_leaving:
            self._leaving[request] = time.monotonic() + self.leaving_s
        else:
            request.close()


class BoundedHandler(http.server.BaseHTTPRequestHandler):
    """Answers one question of a client of a `BoundedServer`."""

    server: BoundedServer

    def answer(self) -> None:
        """Answer the question."""
        raise NotImplementedError

    def say_failure(self) -> None:
        """Answer that the question can not be answered."""
        raise NotImplementedError

    def parse_request(self) -> bool:
        """Read the rest of the question; from now on the answer has its time."""
        parsed = super().parse_request()
        self.server.has_asked(self.connection)
        self.connection.settimeout(self.server.answer_s)
        return parsed

    def do_GET(self) -> None:
        """Answer, whatever goes wrong on our side."""
        try:
            self.answer()
        except (ConnectionError, TimeoutError):
            raise  # the client left or is too slow
        except Exception as error:  # noqa: BLE001 - any fault of ours is an answer and a line
            say_fault(error)
            self.say_failure()

    def log_message(self, *_arguments: object) -> None:
        """Keep the terminal quiet: only this machine can ask."""


def say_fault(error: BaseException) -> None:
    """Say in one line in the terminal what went wrong on our side."""
    said = " ".join(str(error).split())
    sys.stderr.write(
        f"The page could not be given to a browser ({type(error).__name__}: {said}).\n"
    )


def _has_left(request: socket.socket) -> bool:
    """Say whether a client has closed its side, after what it sent was dropped."""
    try:
        while request.recv(_CHUNK):
            pass
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True
