"""What a store keeps of each ride is all that is scored of it."""

import numpy as np
import pytest

from objectives import score
from optimizer.analysis.results import read_results
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.execution.run import run_study
from optimizer.execution.store import read_table
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.small_study import write_small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    found = load_study(write_small_study(tmp_path_factory.mktemp("riding") / "study"))
    run_study(found, n_candidates=24, n_jobs=2, on_generation=lambda _: None, stop=lambda: False)
    return found


def test_stored_rides_give_the_stored_scores_again_to_the_last_bit(study):
    table = read_table(store_path(study.folder))

    again = score(table.rides, whole_profiles(study, table.history.values), rules_of(study))

    assert again.objectives.tobytes() == table.history.objectives.tobytes()
    assert again.constraints.tobytes() == table.history.constraints.tobytes()


def test_results_hold_the_stored_rides_to_the_last_bit(study):
    exact = read_table(store_path(study.folder)).rides

    results = read_results(study)
    again = np.hstack([results.rides, results.handling, results.hard])
    assert again.tobytes() == exact.tobytes()
