"""What a store keeps of each ride is all that is scored of it."""

import numpy as np
import pytest

from objectives import meet_simulation_free, score
from objectives.score import simulation_free_constraints
from optimizer.analysis.results import read_results
from optimizer.execution.evaluate import rules_of, whole_profiles
from optimizer.execution.run import run_study
from optimizer.execution.store import read_table
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from plant.description.profile_array import profile_to_array
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


def test_profiles_that_meet_what_needs_no_ride_break_none_of_its_constraints(study):
    rules = rules_of(study, hard=False)
    baseline = profile_to_array(study.baseline)
    profiles = baseline * np.random.default_rng(5).uniform(0.7, 1.3, (100, len(baseline)))

    meet = meet_simulation_free(profiles, rules)

    none_broken = (simulation_free_constraints(profiles, rules) <= 0.0).all(axis=1)
    np.testing.assert_array_equal(meet, none_broken)
    assert 10 < meet.sum() < 90
    assert meet_simulation_free(profiles[:0], rules).shape == (0,)
