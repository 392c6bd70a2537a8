"""The parts of a comparison of searches: one run of one search, kept in a folder when it is done.

What a folder holds of today's sources is not run again, so a comparison that was stopped goes on.
"""

import dataclasses
import time
from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from pathlib import Path

import joblib
import numpy as np
from threadpoolctl import threadpool_limits

from plant.arrays import Floats
from plant.device import Device
from tests.benchmarks.front_reevaluation import FrontReevaluation
from tests.benchmarks.search_peers import METHODS
from tests.benchmarks.search_problems import FRESH, PROBLEMS, Problem
from tests.benchmarks.search_runs import Recorder, Run, read_run, write_run
from tests.benchmarks.search_starts import SIMILAR

STARTS = ("warm", "cold", "similar")
FAILED = "FAILED"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One run: a problem, a search, what it knows, and a seed."""

    problem: str
    method: str
    start: str
    seed: int

    def path(self, folder: Path) -> Path:
        """Return the file of the run."""
        return folder / self.problem / f"{self.method}_{self.start}" / f"{self.seed}.npz"

    def keys(self, problem: Problem) -> dict[str, str]:
        """Return what the run depends on besides start and seed."""
        keys = {"problem": problem.key, "method": METHODS[self.method].key}
        return keys | ({"start": SIMILAR} if self.start == "similar" else {})

    def kept(self, folder: Path, problem: Problem) -> Run | None:
        """Return the run in the folder, as far as it went; None where there is none."""
        return read_run(self.path(folder), keys=self.keys(problem))

    def reevaluation(self, folder: Path, problem: Problem) -> FrontReevaluation:
        """Return what is known of the run's fronts on fresh noise."""
        path = self.path(folder)
        return FrontReevaluation(path.parent / "fresh" / path.name, key=f"{FRESH}: {problem.key}")


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """How far cells are run, and by what.

    Attributes
    ----------
    candidates : tuple of int
        The run is kept at each of these.
    fresh : bool
        Whether its fronts at each are ridden on fresh noise too.
    threads : int
        For the rides.
    device : Device
    """

    candidates: tuple[int, ...]
    fresh: bool
    threads: int
    device: Device

    def with_whole(self, run: Run) -> tuple[int, ...]:
        """Return at which numbers of candidates the fronts of a run are compared."""
        return *self.candidates, len(run.objectives)


def known(problem: Problem, start: str, folder: Path) -> Floats | None:
    """Return the points that a search knows, (point, parameter); None without such a start."""
    baseline: Floats = problem.baseline[None, :]
    if start == "cold":
        return baseline[:0]
    if start == "warm":
        return baseline
    if problem.similar is None:
        return None
    return np.vstack([baseline, problem.similar(folder / problem.name / "similar.npz")])


def run_cell(cell: Cell, folder: Path, budget: Budget) -> str:
    """Run what a folder lacks of a cell, and return a line about it; empty if it lacks nothing."""
    began_s, spent_s = time.monotonic(), time.process_time()
    with threadpool_limits(limits=1):
        problem = PROBLEMS[cell.problem](budget.threads, budget.device)
        searched = _search(cell, folder, problem, budget.candidates)
        run = cell.kept(folder, problem)
        if run is None:
            return ""
        n_fresh = 0
        if budget.fresh and problem.fresh is not None:
            again = cell.reevaluation(folder, problem)
            n_fresh = again.ride(problem.fresh, map(run.front, budget.with_whole(run)))
    if not searched and not n_fresh:
        return ""
    spent_s = time.process_time() - spent_s
    return (
        f"{cell.problem} {cell.method} {cell.start} seed {cell.seed}:"
        f" {spent_s:.1f} s of processor time in {time.monotonic() - began_s:.1f} s,"
        f" {len(run.objectives)} candidates" + (f", {n_fresh} on fresh noise" if n_fresh else "")
    )


def _search(cell: Cell, folder: Path, problem: Problem, candidates: Sequence[int]) -> bool:
    """Run the search unless the folder has it, and say whether it was run."""
    kept = cell.kept(folder, problem)
    n_kept, n_wanted = 0 if kept is None else len(kept.objectives), max(candidates)
    if n_kept >= n_wanted:
        return False
    points = known(problem, cell.start, folder)
    if points is None:
        return False

    def keep(run: Run) -> None:
        if len(run.objectives) > n_kept:
            write_run(cell.path(folder), run, keys=cell.keys(problem))

    recorder = Recorder(problem, n_wanted=n_wanted, kept_at=candidates, keep=keep)
    METHODS[cell.method].search(recorder, problem, seed=cell.seed, known=points)
    return True


def run_cells(cells: Sequence[Cell], folder: Path, budget: Budget, *, n_jobs: int) -> Iterator[str]:
    """Run cells, so many at once, each in a process of its own, and yield a line for each.

    A cell that fails says so in its line and stops no other.
    """
    if n_jobs == 1:
        yield from (run_cell(cell, folder, budget) for cell in cells)
        return
    for name, start in dict.fromkeys((cell.problem, cell.start) for cell in cells):
        # What all processes compile, or look for in drawn days, is then found by each.
        problem = PROBLEMS[name](budget.threads, budget.device)
        points = known(problem, start, folder)
        if points is not None:
            problem.evaluate(problem.baseline[None, :])
        if points is not None and budget.fresh and problem.fresh is not None:
            problem.fresh(problem.baseline[None, :])
    parallel = joblib.Parallel(n_jobs=n_jobs, batch_size=1, return_as="generator_unordered")
    yield from parallel(joblib.delayed(_line)(cell, folder, budget) for cell in cells)


def _line(cell: Cell, folder: Path, budget: Budget) -> str:
    try:
        return run_cell(cell, folder, budget)
    except Exception as error:  # noqa: BLE001, whatever it is, the other cells go on
        return f"{FAILED}: {cell}: {error!r}"


def kept_runs(folder: Path, problem: Problem, name: str) -> dict[Cell, Run]:
    """Return the kept runs of a problem, whole ones and those that were stopped on the way."""
    found = {}
    for method, start in product(METHODS, STARTS):
        first = Cell(problem=name, method=method, start=start, seed=0)
        for path in sorted(first.path(folder).parent.glob("*.npz")):
            cell = dataclasses.replace(first, seed=int(path.stem))
            run = cell.kept(folder, problem)
            if run is not None:
                found[cell] = run
    return found


def cells_of(
    problems: Iterable[str], methods: Iterable[str], starts: Iterable[str], seeds: Iterable[int]
) -> list[Cell]:
    """Return all cells of a comparison, all those of a seed before the next."""
    return [
        Cell(problem=problem, method=method, start=start, seed=seed)
        for problem, seed, method, start in product(problems, seeds, methods, starts)
    ]
