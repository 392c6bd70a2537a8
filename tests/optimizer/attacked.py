"""A tiny search that is killed and whose disk is filled at random places, in forked processes.

It stands in a process of its own, where no thread of the tests is forked with it. Arguments: an
empty folder, a seed, and how many attacks. Each attack is a line of JSON on standard output.
"""

import functools
import json
import os
import resource
import signal
import sqlite3
import sys
import traceback
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np

from optimizer.base.errors import UserInputError
from optimizer.execution.store import Store
from optimizer.search import loop
from tests.optimizer.analytic import narrow, small_plan

N_CANDIDATES = 24
SEED = 20


def search(path: Path, *, n_candidates: int = N_CANDIDATES) -> None:
    """Run the search from whatever its store holds, and re-evaluate some candidates in batches."""
    with Store(path) as store:
        store.freeze({"study": "tiny"})
        loop.run(narrow, small_plan(seed=SEED), store, n_candidates=n_candidates)
        if n_candidates < N_CANDIDATES:
            return
        values = store.history(population=8).values
        wanted = np.setdiff1d(np.arange(0, N_CANDIDATES, 3), store.reevaluation().numbers)
        for numbers in np.array_split(wanted, 2):
            if len(numbers):
                store.append_reevaluation(numbers, narrow(values[numbers]))


def content(path: Path) -> list[list[tuple]]:
    """Return all rows of a store that a search decides, as they lie in the file."""
    with closing(sqlite3.connect(path)) as connection:
        return [
            connection.execute(query).fetchall()
            for query in (
                "SELECT * FROM frozen ORDER BY key",
                "SELECT * FROM candidate ORDER BY number",
                "SELECT * FROM reevaluation ORDER BY number",
            )
        ]


def at_statements(called: Callable[[], None]) -> None:
    """Call a function before each statement that a store's connection executes."""
    connect = sqlite3.connect

    def traced(*arguments, **options):
        connection = connect(*arguments, **options)
        connection.set_trace_callback(lambda _: called())
        return connection

    sqlite3.connect = traced


def killed_at(n_statements: int) -> None:
    """Let this process be killed before so many statements."""
    left = iter(range(n_statements))
    at_statements(lambda: next(left, None) is None and os.kill(os.getpid(), signal.SIGKILL))


def limited_to(n_bytes: int, *, kills: bool) -> None:
    """Let no file grow beyond so many bytes; a write beyond fails, or kills this process."""
    signal.signal(signal.SIGXFSZ, signal.SIG_DFL if kills else signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, resource.RLIM_INFINITY))


def attack(path: Path, prepare: Callable[[], None]) -> str:
    """Run the search in a forked process after `prepare`; return how it ended, in words."""
    told = path.with_suffix(".told")
    told.write_bytes(bytes(10_000))
    pid = os.fork()
    if pid == 0:
        said = ""
        handle = os.open(told, os.O_WRONLY)
        try:
            prepare()
            search(path)
        except UserInputError as error:
            said = f"refused: {error}"
        except BaseException:  # noqa: BLE001 - whatever it is, the other process shows it
            said = traceback.format_exc()
        os.write(handle, said.encode()[:10_000])
        os._exit(0)
    code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    return f"signal {-code}" if code else told.read_bytes().rstrip(b"\0").decode() or "finished"


def main(folder: Path, seed: int, n_attacks: int) -> None:
    """Attack searches, finish them, and say whether they are the undisturbed one."""
    counted: list[None] = []
    at_statements(lambda: counted.append(None))
    search(folder / "whole.sqlite")
    sqlite3.connect = sqlite3.dbapi2.connect
    expected = content(folder / "whole.sqlite")
    size = (folder / "whole.sqlite").stat().st_size
    rng = np.random.default_rng(seed)
    for number in range(n_attacks):
        path = folder / f"{number}.sqlite"
        ends = []
        for _ in range(2):
            n_bytes, n_statements = int(rng.integers(1, 3 * size)), int(rng.integers(len(counted)))
            if number % 3 == 0:
                prepare = functools.partial(killed_at, n_statements)
            else:
                prepare = functools.partial(limited_to, n_bytes, kills=number % 3 == 1)
            ends.append(attack(path, prepare))
        search(path)
        sys.stdout.write(json.dumps({"ends": ends, "same": content(path) == expected}) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
