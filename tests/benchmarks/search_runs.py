"""Runs of searches, recorded as they go and kept in files, one for each."""

import dataclasses
import io
import json
import time
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from optimizer.base.atomic_files import write_whole
from optimizer.search.evaluation import Evaluate, Evaluation
from optimizer.search.pareto import feasible, non_dominated
from plant.arrays import Floats
from tests.benchmarks.search_problems import Problem


class Recorder:
    """The evaluation of a problem that keeps what it was asked and what the asking cost.

    Its clock is the process's processor time, so other programs do not count; it runs from the
    end of one batch to the start of the next.

    Parameters
    ----------
    problem : Problem
    n_wanted : int
    kept_at : sequence of int
        Numbers of candidates.
    keep : callable
        Receives the run so far when it reaches each of them.
    """

    def __init__(
        self,
        problem: Problem,
        *,
        n_wanted: int,
        kept_at: Sequence[int] = (),
        keep: Callable[["Run"], None] = lambda _: None,
    ) -> None:
        self.n_wanted = n_wanted
        self._kept_at = kept_at
        self._keep = keep
        self._problem = problem
        self._values: list[Floats] = []
        self._batches: list[Evaluation] = []
        self._own_s: list[Floats] = []
        self._n_done = 0
        self._spent_s = 0.0
        self._left = time.process_time()

    @property
    def full(self) -> bool:
        """Whether it holds what was wanted."""
        return self._n_done >= self.n_wanted

    def __call__(self, values: Floats, /) -> Evaluation:
        """Evaluate a batch."""
        return self._record(self._problem.evaluate, values)

    def by(self, evaluate: Evaluate) -> Evaluate:
        """Return what evaluates otherwise and is recorded here too."""
        return partial(self._record, evaluate)

    def _record(self, evaluate: Evaluate, values: Floats) -> Evaluation:
        self._spent_s += time.process_time() - self._left
        outcome = evaluate(values)
        self._values.append(values.copy())
        nothing = np.empty((len(values), 0, 0))  # thousands of rides would fill the memory
        self._batches.append(dataclasses.replace(outcome, rides=nothing))
        self._own_s.append(np.full(len(values), self._spent_s))
        before, self._n_done = self._n_done, self._n_done + len(values)
        if any(before < number <= self._n_done for number in self._kept_at):
            self._keep(self.run())
        self._left = time.process_time()
        return outcome

    def run(self) -> "Run":
        """Return what was recorded, cut to what was wanted."""
        return Run(
            values=np.vstack(self._values)[: self.n_wanted],
            objectives=np.vstack([batch.objectives for batch in self._batches])[: self.n_wanted],
            constraints=np.vstack([batch.constraints for batch in self._batches])[: self.n_wanted],
            own_s=np.concatenate(self._own_s)[: self.n_wanted],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """One finished search.

    Parameters
    ----------
    values, objectives, constraints : (candidate, ...) float64
        In the order of evaluation; unknown objectives of candidates that fail are NaN.
    own_s : (candidate,) float64
        Processor time that the search itself had spent when each candidate was evaluated.
    """

    values: Floats
    objectives: Floats
    constraints: Floats
    own_s: Floats

    def found(self, n_candidates: int) -> Floats:
        """Return the objectives of the feasible ones of the first candidates."""
        objectives: Floats = self.objectives[:n_candidates]
        return objectives[feasible(self.constraints[:n_candidates])]

    def front(self, n_candidates: int) -> Floats:
        """Return the values of the front of the first candidates."""
        objectives, constraints = self.objectives[:n_candidates], self.constraints[:n_candidates]
        values: Floats = self.values[:n_candidates]
        return values[non_dominated(objectives, constraints)]

    def own_ms(self, n_candidates: int) -> float:
        """Return the search's own cost for each of the first candidates."""
        return float(1000.0 * self.own_s[n_candidates - 1] / n_candidates)


def write_run(path: Path, run: Run, *, keys: dict[str, str]) -> None:
    """Keep a run with what it depends on."""
    content = io.BytesIO()
    np.savez_compressed(
        content,
        values=run.values,
        objectives=run.objectives,
        constraints=run.constraints,
        own_s=run.own_s,
        keys=np.array(json.dumps(keys, sort_keys=True)),
    )
    write_whole(path, content.getvalue())


def read_run(path: Path, *, keys: dict[str, str]) -> Run | None:
    """Return a kept run; None without a file, or where it came from something else."""
    try:
        with np.load(path) as kept:
            if json.loads(str(kept["keys"])) != keys:
                return None
            arrays = {name: kept[name] for name in ("values", "objectives", "constraints", "own_s")}
    except (FileNotFoundError, zipfile.BadZipFile, KeyError):
        return None
    return Run(**arrays)
