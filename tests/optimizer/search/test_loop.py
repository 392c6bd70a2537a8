import multiprocessing
from dataclasses import replace

import numpy as np
import pytest

from optimizer.base.errors import UserInputError
from optimizer.execution.store import Store, read_table
from optimizer.search import loop
from optimizer.search.pareto import non_dominated
from tests.optimizer.analytic import SMALL_BASELINE, SMALL_BOX, narrow, small_plan
from tests.optimizer.interruptible import POPULATION, SEED, ride, rows, wait_until

# A server that has imported everything forks the processes to be killed within milliseconds.
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["tests.optimizer.interruptible"])


@pytest.fixture
def path(tmp_path):
    return tmp_path / "candidates.sqlite"


def _run(store, *, evaluate=narrow, n_candidates=40, on_generation=None, stop=None, **plan):
    return loop.run(
        evaluate,
        small_plan(**{"seed": SEED, "population": POPULATION, **plan}),
        store,
        n_candidates=n_candidates,
        on_generation=on_generation,
        stop=stop,
    )


def test_every_candidate_is_stored_with_the_outcome_of_its_own_values(path):
    ride(path, n_candidates=40)

    table = read_table(path)
    outcome = narrow(table.history.values)

    np.testing.assert_array_equal(table.history.objectives, outcome.objectives)
    np.testing.assert_array_equal(table.history.constraints, outcome.constraints)
    np.testing.assert_array_equal(table.rides, outcome.rides)
    assert table.history.values[0].tolist() == SMALL_BASELINE.tolist()
    assert table.generations.tolist() == np.repeat(np.arange(5), POPULATION).tolist()


def test_candidates_are_rounded_up_to_whole_generations(path):
    progress = ride(path, n_candidates=17)

    assert progress.n_done == progress.n_wanted == 24
    assert loop.whole_generations(16, population=POPULATION) == 16


def test_the_batch_is_one_whole_generation(path):
    sizes = []

    def counted(values):
        sizes.append(len(values))
        return narrow(values)

    with Store(path) as store:
        _run(store, evaluate=counted)

    assert sizes == [POPULATION] * 5


def test_the_front_is_feasible_and_better_than_the_baseline(path):
    history = ride(path, n_candidates=400).history

    front = history.objectives[non_dominated(history.objectives, history.constraints)]

    assert len(front) > 20
    assert (front <= history.objectives[0]).all(axis=1).any()


def test_progress_is_told_at_the_start_and_after_each_generation(path):
    observed = []
    with Store(path) as store:
        _run(store, n_candidates=24, on_generation=observed.append)
        _run(store, n_candidates=40, on_generation=observed.append)

    assert [progress.n_done for progress in observed] == [0, 8, 16, 24, 24, 32, 40]
    assert [progress.n_resumed for progress in observed] == [0] * 4 + [24] * 3
    assert all(len(progress.history) == progress.n_done for progress in observed)


def test_a_stop_ends_between_generations_and_a_later_run_goes_on(path, tmp_path):
    asked = iter([False, False, True])
    with Store(path) as store:
        stopped = _run(store, stop=lambda _: next(asked))

        assert (stopped.n_done, stopped.n_wanted) == (16, 40)
        _run(store)

    other = tmp_path / "uninterrupted.sqlite"
    ride(other, n_candidates=40)
    assert rows(path) == rows(other)


def test_an_extended_study_is_the_longer_study(path, tmp_path):
    for n_candidates in (5, 33, 70):
        ride(path, n_candidates=n_candidates)
    other = tmp_path / "uninterrupted.sqlite"

    ride(other, n_candidates=70)

    assert rows(path) == rows(other)


def test_asking_for_fewer_candidates_than_stored_changes_nothing(path):
    ride(path, n_candidates=40)
    before = rows(path)

    progress = ride(path, n_candidates=8)

    assert progress.n_done == progress.n_wanted == 40
    assert rows(path) == before


def test_a_failing_ride_keeps_the_generations_before(path):
    calls = iter(range(9))

    def fails(values):
        if next(calls) == 2:
            raise RuntimeError("out of memory")
        return narrow(values)

    with Store(path) as store, pytest.raises(RuntimeError, match="out of memory"):
        _run(store, evaluate=fails)

    assert len(rows(path)) == 2 * POPULATION


def test_a_number_that_is_not_finite_is_refused_and_not_stored(path):
    def wrong(values):
        outcome = narrow(values)
        outcome.objectives[3, 1] = np.nan
        return outcome

    with Store(path) as store, pytest.raises(ValueError, match="objectives must be finite"):
        _run(store, evaluate=wrong)

    assert rows(path) == []


def test_an_evaluation_can_not_change_the_stored_parameters(path, tmp_path):
    def careless(values):
        outcome = narrow(values)
        values[:] = 0.0
        return outcome

    with Store(path) as store:
        _run(store, evaluate=careless)

    other = tmp_path / "careful.sqlite"
    ride(other, n_candidates=40)
    assert rows(path) == rows(other)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"seed": 21}, "search.seed"),
        ({"population": 10}, "search.population"),
        ({"baseline": np.array([4.5, 12.5, 0.3])}, "search.baseline"),
        ({"n_objectives": 2}, "search.n_objectives"),
        ({"weights": np.array([1.0, 2.0, 1.0])}, "search.weights"),
    ],
)
def test_a_study_does_not_go_on_with_other_inputs(path, changes, key):
    ride(path, n_candidates=8)
    before = rows(path)

    with Store(path) as store, pytest.raises(UserInputError, match=f"{key} differs"):
        _run(store, **changes)

    assert rows(path) == before


def test_a_study_does_not_go_on_in_another_space(path):
    ride(path, n_candidates=8)
    wider = replace(SMALL_BOX, high=np.array([10.0, 1000.0, 1.0]))

    with Store(path) as store, pytest.raises(UserInputError, match=r"search\.space differs.*10\.0"):
        _run(store, space=wider, n_candidates=8)


def test_no_candidates_at_all_are_refused(path):
    with Store(path) as store, pytest.raises(ValueError, match="1 or more, got 0"):
        _run(store, n_candidates=0)


def _killed_and_resumed(path, *, n_kills, n_candidates, pause_s, latest_s, seed):
    """Kill a run at random moments after its start; return how many kills found it at work."""
    rng = np.random.default_rng(seed)
    n_at_work = 0
    for _ in range(n_kills):
        started = PROCESSES.Event()
        process = PROCESSES.Process(
            target=ride,
            args=(path,),
            kwargs={"n_candidates": n_candidates, "pause_s": pause_s, "started": started},
        )
        process.start()
        # Every fourth kill may even come before the search begins.
        if rng.random() < 0.75:
            wait_until(started, process)
        process.join(rng.uniform(0.0, latest_s))
        n_at_work += process.is_alive()
        process.kill()
        process.join()
    ride(path, n_candidates=n_candidates)
    return n_at_work


def _assert_as_uninterrupted(path, n_candidates):
    other = path.with_name("uninterrupted.sqlite")
    ride(other, n_candidates=n_candidates)
    assert len(rows(path)) == n_candidates
    assert rows(path) == rows(other)


def test_a_study_killed_five_times_ends_as_the_uninterrupted_one(path):
    n_at_work = _killed_and_resumed(
        path, n_kills=5, n_candidates=320, pause_s=0.01, latest_s=0.25, seed=15
    )

    assert n_at_work >= 4
    _assert_as_uninterrupted(path, 320)


@pytest.mark.proof
@pytest.mark.parametrize(("pause_s", "n_candidates"), [(0.01, 600), (0.0, 1200)])
def test_a_study_killed_twenty_times_ends_as_the_uninterrupted_one(path, pause_s, n_candidates):
    n_at_work = _killed_and_resumed(
        path, n_kills=20, n_candidates=n_candidates, pause_s=pause_s, latest_s=0.12, seed=16
    )

    assert n_at_work >= 15
    _assert_as_uninterrupted(path, n_candidates)
