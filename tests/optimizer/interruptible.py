"""A small study in a process of its own, for tests that kill it."""

import sqlite3
import time
from contextlib import closing
from pathlib import Path

from optimizer import search
from optimizer.store import Store
from tests.optimizer.analytic import SMALL_BASELINE, SMALL_BOX, narrow

POPULATION = 8
SEED = 20


def ride(path: Path, *, n_candidates: int, pause_s: float = 0.0, started=None) -> search.Progress:
    """Run or resume the study; sets the event `started` when the search begins."""

    def slow(values):
        time.sleep(pause_s)
        return narrow(values)

    def announce(_progress):
        if started is not None:
            started.set()

    with Store(path) as store:
        return search.run(
            slow,
            SMALL_BOX,
            baseline=SMALL_BASELINE,
            n_objectives=3,
            population=POPULATION,
            n_candidates=n_candidates,
            seed=SEED,
            store=store,
            on_generation=announce,
        )


def rows(path: Path) -> list[tuple]:
    """Return every stored row as it lies in the file."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT * FROM candidate ORDER BY number").fetchall()
