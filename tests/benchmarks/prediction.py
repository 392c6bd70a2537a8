"""How well objectives are predicted: python -m tests.benchmarks.prediction [--candidates 2000].

The example study is searched. Then, from what was known before some of its generations, the next
candidates that rode are predicted twice: by objectives as they are, and ride by ride. Printed are
root mean square errors of the logarithms of the objectives, in shares of their own scatter.
"""

import argparse
import sys
import tempfile
from pathlib import Path

import joblib
import numpy as np

from objectives import OBJECTIVES
from optimizer.execution.evaluate import make_evaluate
from optimizer.execution.store import Store
from optimizer.execution.study_search import per_ride_objectives, search_study, study_plan
from optimizer.search.composite import DIRECT, CompositeObjectives
from optimizer.search.evaluation import Evaluation, Observed
from optimizer.search.imputation import imputed
from optimizer.search.pareto import feasible
from optimizer.search.space import to_unit
from optimizer.search.surrogate import fitted
from optimizer.search.variation import Operators
from optimizer.study.load import load_study
from plant.arrays import Floats
from tests.benchmarks.bench_study import EXAMPLE

_PLACES = (144, 240, 480, 720, 960, 1200, 1440, 1680, 1920)
_NEXT = 96


def prediction_errors(
    points: Floats, observed: Observed, composite: CompositeObjectives, place: int
) -> Floats:
    """Return the errors at a place in the search, (objective,).

    Parameters
    ----------
    points : (candidate, parameter) float64
        Of the unit cube.
    observed : Observed
        Of the same candidates.
    composite : CompositeObjectives
    place : int
        How many candidates are known.
    """
    start = max(0, place - Operators().surrogate_points)
    predict = fitted(points[start:place], observed.rows(start, place), composite=composite)
    after = observed.rows(place, place + _NEXT).history
    rode = feasible(after.constraints)
    truth = np.log(after.objectives[rode])
    guess = np.log(predict(points[place : place + _NEXT][rode])[:, : truth.shape[1]])
    errors: Floats = np.sqrt(np.mean((guess - truth) ** 2, axis=0)) / truth.std(axis=0)
    return errors


def main() -> None:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--candidates", type=int, default=2016)
    n_candidates = parser.parse_args().candidates
    study = load_study(EXAMPLE)
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "store.sqlite") as store:
        history = search_study(
            study,
            lambda screening: make_evaluate(study, n_jobs=joblib.cpu_count(), screening=screening),
            study_plan(study),
            store,
            n_candidates=n_candidates,
            n_jobs=joblib.cpu_count(),
        ).history
        outcome = Evaluation(
            objectives=history.objectives,
            constraints=history.constraints,
            rides=store.rides(range(len(history))),
        )
    points = to_unit(study.space, history.values)
    ways: dict[str, CompositeObjectives] = {
        "as they are": DIRECT,
        "ride by ride": per_ride_objectives(study),
    }
    observed = {
        name: imputed(history, way.components(outcome), study.space) for name, way in ways.items()
    }
    ratios = []
    for place in (place for place in _PLACES if place + _NEXT <= len(history)):
        errors = {
            name: prediction_errors(points, observed[name], way, place)
            for name, way in ways.items()
        }
        ratios.append(errors["ride by ride"] / errors["as they are"])
        cells = "  ".join(
            f"{name} " + " ".join(f"{e:.2f}" for e in row) for name, row in errors.items()
        )
        sys.stdout.write(f"after {place:5d}: {cells}\n")
    middle = " ".join(f"{ratio:.2f}" for ratio in np.median(ratios, axis=0))
    sys.stdout.write(f"median ratio of {', '.join(OBJECTIVES)}: {middle}\n")


if __name__ == "__main__":
    main()
