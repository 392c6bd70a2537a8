"""Fronts ridden again on fresh noise, as a study's own re-evaluation rides them.

On the noise that all of a search shares, some candidates are good by chance, and a front merged
from many searches gathers the chance of all. Fresh noise shows what is left of each.
"""

import io
import zipfile
from collections.abc import Iterable
from pathlib import Path

import numpy as np

from optimizer.base.atomic_files import write_whole
from optimizer.search.evaluation import Evaluate
from optimizer.search.pareto import feasible
from plant.arrays import Floats
from tests.benchmarks.search_runs import Run

_AT_ONCE = 480  # ridden between two times of writing the file


class FrontReevaluation:
    """Outcomes on fresh noise, kept in a file and not ridden twice.

    Parameters
    ----------
    path : Path
        The file; made where there is none.
    key : str
        What the outcomes depend on besides the profile; a file of another key is written anew.
    """

    def __init__(self, path: Path, *, key: str) -> None:
        self._path = path
        self._key = key
        self._known: dict[bytes, tuple[Floats, Floats]] = {}
        try:
            with np.load(path) as kept:
                if str(kept["key"]) == key:
                    outcomes = zip(kept["objectives"], kept["constraints"], strict=True)
                    self._known = dict(zip(map(_bytes, kept["values"]), outcomes, strict=True))
        except (FileNotFoundError, zipfile.BadZipFile, ValueError, KeyError):
            pass

    def ride(self, evaluate: Evaluate, fronts: Iterable[Floats]) -> int:
        """Ride on fresh noise, by `evaluate`, all of some fronts that are not known yet.

        Returns
        -------
        int
            How many candidates were not known.
        """
        wanted = {row.tobytes(): row for front in fronts for row in front}
        missing = [row for name, row in wanted.items() if name not in self._known]
        for start in range(0, len(missing), _AT_ONCE):
            values = np.array(missing[start : start + _AT_ONCE])
            outcome = evaluate(values)
            rows = zip(outcome.objectives, outcome.constraints, strict=True)
            self._known |= dict(zip(map(_bytes, values), rows, strict=True))
            self._write()
        return len(missing)

    def knows(self, run: Run, budgets: Iterable[int]) -> bool:
        """Whether the fronts of a run at these numbers of candidates are known."""
        fronts = (run.front(budget) for budget in budgets)
        return all(_bytes(values) in self._known for front in fronts for values in front)

    def found(self, run: Run, n_candidates: int) -> Floats:
        """Return the front of a run's first candidates on fresh noise, less those that fail."""
        rows = [self._known[_bytes(values)] for values in run.front(n_candidates)]
        if not rows:
            return run.objectives[:0]
        objectives, constraints = (np.array(part) for part in zip(*rows, strict=True))
        met: Floats = objectives[feasible(constraints)]
        return met

    def _write(self) -> None:
        objectives, constraints = (
            np.array(part) for part in zip(*self._known.values(), strict=True)
        )
        content = io.BytesIO()
        np.savez_compressed(
            content,
            values=np.array([np.frombuffer(name) for name in self._known]),
            objectives=objectives,
            constraints=constraints,
            key=np.array(self._key),
        )
        write_whole(self._path, content.getvalue())


def _bytes(values: Floats) -> bytes:
    return np.ascontiguousarray(values).tobytes()
