"""Does a study end with the same bytes on other processors? python -m tests.benchmarks.same_study.

The example study is run in a process for each kind of processor that this machine can stand in for
(see tests/optimizer/processor_kinds.py). The table compares what the store holds, number by number,
and the tables of results, byte by byte, with those of the machine's own kind.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from optimizer.execution.store import Table, read_table
from optimizer.study.paths import store_path
from plant.arrays import Floats
from tests.benchmarks.markdown import table
from tests.optimizer.processor_kinds import KINDS, run_python

TABLES = ("candidates.csv", "front.csv")


def ridden(folder: Path, name: str, given: argparse.Namespace) -> Path:
    """Run the study as a kind of processor would, unless it is there; return its folder."""
    study = folder / name.replace(" ", "_")
    if (study / "results" / TABLES[-1]).is_file():
        return study
    cache = folder / f"cache_{KINDS[name].numba}"
    command = ["-m", "optimizer.cli"]
    begin = time.monotonic()
    if not study.is_dir():
        words = [*command, "new", str(study), "--example", given.example]
        run_python(words, KINDS[name], cache=cache, timeout_s=600.0)
    words = [*command, "run", str(study), "--candidates", str(given.candidates)]
    run_python([*words, "--jobs", str(given.jobs)], KINDS[name], cache=cache, timeout_s=7200.0)
    sys.stdout.write(f"{name}: {time.monotonic() - begin:.0f} s\n")
    sys.stdout.flush()
    return study


def differing(one: Floats, other: Floats) -> str:
    """Return how many numbers differ in any bit, and the first candidate with such a number."""
    if one.shape != other.shape:
        return f"shapes {one.shape} and {other.shape}"
    differ = one.view(np.int64) != other.view(np.int64)
    if not differ.any():
        return f"0 of {differ.size}"
    return f"{differ.sum()} of {differ.size}, first in candidate {np.argwhere(differ)[0, 0]}"


def compared(own: Path, other: Path) -> list[str]:
    """Return a row: numbers that differ in the store, and tables that do."""
    stores: list[Table] = [read_table(store_path(folder)) for folder in (own, other)]
    arrays = [
        (
            store.history.values,
            store.history.objectives,
            store.history.constraints,
            store.rides,
            store.reevaluation.evaluation.objectives,
        )
        for store in stores
    ]
    row = [differing(one, another) for one, another in zip(*arrays, strict=True)]
    for name in TABLES:
        texts = [(folder / "results" / name).read_bytes() for folder in (own, other)]
        row.append("equal" if texts[0] == texts[1] else "differ")
    return row


def main() -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--example", default="hill_town")
    parser.add_argument("--candidates", type=int, default=3024)
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=list(KINDS))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--folder", type=Path, help="keeps finished runs; default: a passing one")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as passing:
        folder = (given.folder or Path(passing)).resolve()
        folder.mkdir(parents=True, exist_ok=True)
        own, *others = (ridden(folder, name, given) for name in given.kinds)
        rows = [
            [name, *compared(own, other)]
            for name, other in zip(given.kinds[1:], others, strict=True)
        ]
    head = ["values", "objectives", "constraints", "metrics of rides", "re-evaluation", *TABLES]
    sys.stdout.write(table([f"against {given.kinds[0]}", *head], rows))


if __name__ == "__main__":
    main()
