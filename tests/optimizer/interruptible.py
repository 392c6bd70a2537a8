"""A small study in a process of its own, for tests that kill it."""

import sqlite3
import sys
import time
from contextlib import closing
from pathlib import Path

import optimizer.cli.search_session  # noqa: F401, loaded before a process is forked for a command
from optimizer.cli import main
from optimizer.cli.output import study
from optimizer.execution.run import reevaluate_front
from optimizer.execution.store import Store
from optimizer.search import loop
from optimizer.study.load import load_study
from tests.optimizer.analytic import narrow, small_plan
from tests.optimizer.commands import draw_none

POPULATION = 8
SEED = 20


def ride(path: Path, *, n_candidates: int, pause_s: float = 0.0, started=None) -> loop.Progress:
    """Run or resume the study; sets the event `started` when the search begins."""

    def slow(values):
        time.sleep(pause_s)
        return narrow(values)

    def announce(_progress):
        if started is not None:
            started.set()

    with Store(path) as store:
        return loop.run(
            slow,
            small_plan(seed=SEED, population=POPULATION),
            store,
            n_candidates=n_candidates,
            on_generation=announce,
        )


def command(*arguments: object) -> None:
    """Run the command line with these arguments, without figures."""
    study.write_figures = draw_none
    sys.argv = ["levelgain", *map(str, arguments)]
    main()


def slow_reevaluation(folder: Path, stored) -> None:
    """Look again at a front, with a pause before each batch; sets `stored` after the first."""
    done_before = []

    def advance(done, _total):
        done_before.append(done)
        if done > done_before[0]:
            stored.set()
        time.sleep(0.1)

    reevaluate_front(load_study(folder), n_jobs=1, advance=advance, stop=lambda: False)


def wait_until(happened, process) -> None:
    """Wait for an event that a process sets, however long it takes to start."""
    while not happened.wait(0.5):
        assert process.is_alive() or happened.is_set()


def rows(path: Path) -> list[tuple]:
    """Return every stored row as it lies in the file."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT * FROM candidate ORDER BY number").fetchall()
