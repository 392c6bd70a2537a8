"""One of several machines that work on a small analytic study, as a process that tests can kill.

Arguments: the folder of its own, the database's address, and how long a candidate takes in s. Every
candidate that it rides is a line in its file `ridden`, written before riding begins. It waits for
the file `go`, so that machines start together however long Python takes to load.
"""

import sys
import time
from pathlib import Path

from optimizer.execution.postgres_backend import sharing
from optimizer.execution.store import Store
from optimizer.search import loop
from tests.optimizer.analytic import narrow, small_plan

POPULATION = 24
N_CANDIDATES = 120
INPUTS = {"study": "analytic"}


def work(folder: Path, address: str | None, *, pause_s: float = 0.0) -> None:
    """Search in a folder, alone where there is no address."""
    folder.mkdir(exist_ok=True)

    def ride(values):
        with (folder / "ridden").open("a") as file:
            file.writelines(f"{row.tobytes().hex()}\n" for row in values)
        time.sleep(pause_s * len(values))
        return narrow(values)

    def go(evaluate):
        with Store(folder / "store.sqlite") as store:
            loop.run(
                evaluate,
                small_plan(seed=20, population=POPULATION),
                store,
                n_candidates=N_CANDIDATES,
            )

    if address is None:
        go(ride)
        return
    with sharing(address, INPUTS) as share:
        go(share(ride, rides=()))


def wait_for_start(folder: Path) -> None:
    """Say that this process is there, and wait for the file `go` beside its folder."""
    folder.mkdir(exist_ok=True)
    (folder / "ready").touch()
    while not (folder.parent / "go").exists():
        time.sleep(0.005)


if __name__ == "__main__":
    wait_for_start(Path(sys.argv[1]))
    work(Path(sys.argv[1]), sys.argv[2], pause_s=float(sys.argv[3]))
