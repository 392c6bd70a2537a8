"""Digests of each generation of a small study: python -m tests.optimizer.execution.search_digests.

Surrogates and descents begin early, so that a few generations show all that proposes.
"""

import dataclasses
import hashlib
import sys
import tempfile
from pathlib import Path

import numpy as np

from optimizer.execution.evaluate import make_evaluate
from optimizer.execution.store import Store
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search.cost_descent import Descent
from optimizer.search.variation import Operators
from optimizer.study.load import load_study
from tests.optimizer.small_study import STEEP, write_small_study

N_CANDIDATES = 60


def digests() -> list[str]:
    """Return a digest of values, objectives, constraints and rides of each generation."""
    with tempfile.TemporaryDirectory() as folder:
        study = load_study(write_small_study(Path(folder), *STEEP))
        plan = dataclasses.replace(
            study_plan(study),
            operators=Operators(screened_from=24),
            descent=Descent(starts_from=36, neighbours=(20, 40), drawn_neighbours=(30,)),
        )
        with Store(Path(folder) / "store.sqlite") as store:
            history = search_study(
                study,
                lambda screening: make_evaluate(study, screening=screening),
                plan,
                store,
                n_candidates=N_CANDIDATES,
            ).history
            rides = store.rides(range(len(history)))
    found = []
    for start in range(0, len(history), plan.population):
        rows = slice(start, start + plan.population)
        whole = hashlib.sha256()
        for array in (history.values, history.objectives, history.constraints, rides):
            whole.update(np.ascontiguousarray(array[rows]).tobytes())
        found.append(whole.hexdigest()[:16])
    return found


if __name__ == "__main__":
    sys.stdout.write("\n".join(digests()))
