from optimizer.execution.store import read_table, started_with
from optimizer.search.frozen_settings import WEIGHTS
from optimizer.study.paths import store_path
from tests.optimizer.small_study import searched, write_small_study

OTHER_WEIGHTS = ("[search]\n", "[objectives.weights]\nnose_downs_per_1000_km = 5.0\n\n[search]\n")


def _searched_to(folder, n_candidates):
    notices = []
    searched(folder, n_candidates, n_jobs=1, notices=notices)
    return notices


def test_a_search_goes_on_by_the_weights_it_was_started_with_and_says_so(tmp_path):
    folder = write_small_study(tmp_path / "study")
    notices = _searched_to(folder, 12)
    write_small_study(folder, OTHER_WEIGHTS)

    told_later = _searched_to(folder, 24)

    assert notices == []
    (sentence,) = told_later
    assert "by the weights it was started with" in sentence
    assert "fork" in sentence
    path = store_path(folder)
    assert started_with(path, WEIGHTS) == "[1.0, 1.0, 1.0]"
    assert len(read_table(path).history) == 24


def test_a_new_search_starts_with_the_weights_of_its_study(tmp_path):
    folder = write_small_study(tmp_path / "study", OTHER_WEIGHTS)

    _searched_to(folder, 12)

    assert started_with(store_path(folder), WEIGHTS) == "[1.0, 1.0, 5.0]"
