import numpy as np
import pytest

from optimizer.analysis.front_so_far import front_so_far, fronts_by_generation
from optimizer.analysis.results import read_results
from optimizer.study.load import load_study
from tests.optimizer.small_study import write_small_study


def test_a_front_of_one_point_covers_the_box_beyond_it(tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    objectives = np.array([[2.0, 30.0, 4.0], [1.0, 15.0, 2.0], [0.1, 0.1, 0.1]])
    constraints = np.array([[0.0], [0.0], [1.0]])  # the last fails
    found = front_so_far(study, objectives, constraints)

    # Half the baseline in each of three objectives leaves (2 - 1/2)^3 of the box of 2^3.
    assert found.n_front == 1
    assert found.volume_ratio == pytest.approx(1.5**3 / 2.0**3)
    assert found.best_cost_ratio == pytest.approx(0.5)


def test_without_a_front_there_is_no_cost(tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    found = front_so_far(study, np.ones((2, 3)), np.ones((2, 1)))

    assert (found.n_front, found.volume_ratio) == (0, 0.0)
    assert np.isnan(found.best_cost_ratio)


def test_the_last_generation_has_the_front_of_the_whole_search(finished):
    results = read_results(load_study(finished))
    fronts = fronts_by_generation(results)
    volumes = [front.volume_ratio for _, front in fronts]

    assert fronts[-1] == (
        len(results),
        front_so_far(results.study, results.searched.objectives, results.searched.constraints),
    )
    assert volumes == sorted(volumes)
