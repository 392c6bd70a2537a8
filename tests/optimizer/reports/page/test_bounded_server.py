"""Whatever clients do, the server answers others, and the terminal shows no traceback."""

import http.client
import socket
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

import numpy as np
import pytest

from optimizer.reports.page.bounded_server import BoundedHandler, BoundedServer

LARGE = b"0" * 60_000_000  # more than the system takes for a client that does not read


class Handler(BoundedHandler):
    at_once = 0
    most = 0
    counting = threading.Lock()

    def answer(self):
        if self.path == "/fault":
            raise ZeroDivisionError("of a\nkind")
        if self.path == "/pause":
            self.count(1)
            time.sleep(0.02)
            self.count(-1)
        self.say(200, LARGE if self.path == "/large" else b"page")

    def say_failure(self):
        self.say(500, b"sorry")

    def say(self, code, content):
        self.send_response(code)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    @classmethod
    def count(cls, more):
        with cls.counting:
            cls.at_once += more
            cls.most = max(cls.most, cls.at_once)


class Server(BoundedServer):
    most_at_once = 8
    question_s = 0.5
    answer_s = 0.5


@pytest.fixture
def server():
    with Server(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        yield server
        server.shutdown()
        thread.join()


def ask(server, path="/"):
    connection = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=10)
    connection.request("GET", path)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer.status, answer.getheader("Retry-After"), content


def connect(server):
    return socket.create_connection(server.server_address, timeout=10)


def answered_again(server):
    until = time.monotonic() + 10
    while ask(server)[0] == 503:
        assert time.monotonic() < until, "it told clients to wait for ever"
        time.sleep(0.05)
    return ask(server)[2] == b"page"


def test_two_hundred_clients_at_once_are_answered_or_told_to_wait(server, capfd):
    Handler.most = 0
    with ThreadPoolExecutor(200) as clients:
        answers = list(clients.map(lambda _: ask(server, "/pause"), range(200)))

    counts = Counter(status for status, *_ in answers)
    assert set(counts) <= {200, 503}
    assert counts[200] >= 8
    assert all(wait == "2" for status, wait, _ in answers if status == 503)
    assert Handler.most <= Server.most_at_once
    assert answered_again(server)
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("begun", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: 127"])
def test_clients_that_ask_too_slowly_make_room_for_others(server, capfd, begun):
    slow = [connect(server) for _ in range(Server.most_at_once)]
    for client in slow:
        client.sendall(begun)

    assert answered_again(server)
    for client in slow:
        client.settimeout(5)
        with suppress(ConnectionError):
            while client.recv(4096):
                pass
        client.close()
    assert capfd.readouterr().err == ""


def test_a_question_sent_letter_by_letter_has_the_same_time(server):
    with connect(server) as client:
        began = time.monotonic()
        with suppress(ConnectionError):
            while time.monotonic() - began < 10:
                client.sendall(b"G")
                time.sleep(0.05)
    assert time.monotonic() - began < 5


def test_clients_that_do_not_take_their_answer_make_room_for_others(server, capfd):
    slow = [connect(server) for _ in range(Server.most_at_once)]
    for client in slow:
        client.sendall(b"GET /large HTTP/1.0\r\n\r\n")

    assert answered_again(server)
    for client in slow:
        client.close()
    assert answered_again(server)
    assert capfd.readouterr().err == ""


def test_a_fault_of_ours_is_an_answer_and_one_line(server, capfd):
    assert ask(server, "/fault")[::2] == (500, b"sorry")

    said = capfd.readouterr().err
    assert said.count("\n") == 1
    assert "ZeroDivisionError: of a kind" in said


def test_whatever_bytes_are_sent_are_no_traceback(server, capfd):
    rng = np.random.default_rng(41)
    whole = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: */*\r\n\r\n"
    for _ in range(120):
        sent = bytearray(whole[: rng.integers(1, len(whole) + 1)] if rng.random() < 0.7 else
                         rng.bytes(rng.integers(1, 3000)))  # fmt: skip
        for place in rng.integers(0, len(sent), size=rng.integers(0, 4)):
            sent[place] = rng.integers(256)
        with connect(server) as client:
            client.sendall(sent)
            if rng.random() < 0.5:
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")  # reset

    assert answered_again(server)
    assert "Traceback" not in capfd.readouterr().err
