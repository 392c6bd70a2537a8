"""Candidates that were good by chance on their noise do not stay on the front."""

import multiprocessing
import shutil

import numpy as np
import pytest

from objectives import CONSTRAINT_NAMES
from objectives.constraints import NOT_ASKED
from objectives.score import nose_down_rate
from optimizer.analysis.candidate_tables import candidate_tables
from optimizer.analysis.results import read_results
from optimizer.analysis.tables import candidates_table, write_tables
from optimizer.execution import reevaluation
from optimizer.execution.evaluate import make_evaluate, rules_of
from optimizer.execution.hard_rides import hard_rides_of
from optimizer.execution.run import reevaluate_front, run_study
from optimizer.execution.store import Store, read_table
from optimizer.execution.store_format import Reevaluation
from optimizer.execution.tolerance_rides import with_tolerances
from optimizer.search.evaluation import BASELINE, Evaluation, History
from optimizer.search.pareto import feasible, non_dominated
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from tests.optimizer.interruptible import slow_reevaluation, wait_until
from tests.optimizer.small_study import write_small_study

# A server that has imported everything forks the processes to be killed within milliseconds.
PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload(["tests.optimizer.interruptible"])


def go_on():
    return False


def searched(folder, *, n_candidates=48):
    study = load_study(write_small_study(folder))
    run_study(study, n_candidates=n_candidates, n_jobs=2, on_generation=lambda _: None, stop=go_on)
    return study


def reevaluate(study, *, n_jobs=2, stop=go_on):
    return reevaluate_front(study, n_jobs=n_jobs, advance=lambda *_: None, stop=stop)


@pytest.fixture(scope="module")
def reevaluated(tmp_path_factory):
    study = searched(tmp_path_factory.mktemp("reevaluated"))
    assert reevaluate(study)
    return study


def test_only_the_noise_of_its_own_rides_is_other(reevaluated):
    again = reevaluation.on_fresh_noise(reevaluated)

    for before, after in zip(reevaluated.rides, again.rides, strict=True):
        assert after.noise_seed != before.noise_seed
        assert (after.course, after.rider, after.board) == (
            before.course,
            before.rider,
            before.board,
        )


def test_hard_rides_are_of_roads_that_the_search_did_not_see(reevaluated):
    searched_on = hard_rides_of(reevaluated)
    again = reevaluation.on_fresh_noise(reevaluated)

    assert not set(again.hard.roads) & set(searched_on.roads)
    results = read_results(reevaluated)
    looked_again = np.flatnonzero(results.reevaluated)
    rules = rules_of(again)
    rate = nose_down_rate(results.hard[looked_again], rules)
    np.testing.assert_array_equal(results.history.objectives[looked_again, -1], rate)
    for number in looked_again[:3]:
        table = candidate_tables(results, int(number))["nose_down_rates"]
        blended = 0.5 * table["rate_per_1000_km"][0] + 0.5 * table["rate_per_1000_km"][1:].max()
        assert blended == pytest.approx(results.history.objectives[number, -1])


def test_handling_is_measured_alike_on_fresh_noise(reevaluated):
    again = reevaluation.on_fresh_noise(reevaluated)

    assert again.handling == reevaluated.handling


def chain():
    """Return five candidates: each of 1 to 4 is beaten by those before it alone, 0 stands apart."""
    objectives = np.array([[9.0, 0.1, 1.0], [1.0, 1.0, 1.0], [2.0, 2.0, 2.0], [3.0, 3.0, 3.0]])
    objectives = np.vstack([objectives, [4.0, 4.0, 4.0]])
    return History(
        values=np.zeros((5, 1)),
        objectives=objectives,
        constraints=np.zeros((5, len(CONSTRAINT_NAMES))),
    )


def seen(history, numbers, *, failing, lost=0.0):
    """Return a re-evaluation of some candidates, some of which fail, and what each loses."""
    constraints = np.full((len(numbers), len(CONSTRAINT_NAMES)), -1.0)
    constraints[:, 0] = np.where(np.isin(numbers, failing), 1.0, -1.0)
    constraints[:, reevaluation.LOST] = lost
    outcome = Evaluation(
        objectives=history.objectives[numbers],
        constraints=constraints,
        rides=np.empty((len(numbers), 0, 0)),
    )
    return Reevaluation(numbers=np.array(numbers, dtype=np.int64), evaluation=outcome)


@pytest.mark.parametrize(
    ("numbers", "failing", "on_front", "missing"),
    [
        ([], [], [0, 1], [0, 1]),
        ([0], [], [0, 1], [1]),
        ([0, 1], [], [0, 1], []),
        ([0, 1], [1], [0, 1, 2], [2]),
        ([0, 1, 2], [1], [0, 1, 2], []),
        ([0, 1, 2], [1, 2], [0, 1, 2, 3], [3]),
        ([0, 1, 2, 3, 4], [1], [0, 1, 2], []),  # what a longer search had no reason to ride again
        ([0, 1, 3], [1, 3], [0, 1, 2], [2]),
    ],
)
def test_a_candidate_that_comes_up_where_another_fell_is_reevaluated_next(
    numbers, failing, on_front, missing
):
    history = chain()

    found = reevaluation.front_to_reevaluate(history, seen(history, numbers, failing=failing))

    assert np.flatnonzero(found.on_front).tolist() == on_front
    assert found.missing.tolist() == missing


def test_a_baseline_off_the_front_is_reevaluated_but_does_not_come_to_the_front():
    history = chain()
    history.objectives[BASELINE] = 99.0

    found = reevaluation.front_to_reevaluate(history, seen(history, [1], failing=[]))

    assert np.flatnonzero(found.on_front).tolist() == [1]
    assert found.missing.tolist() == [BASELINE]


@pytest.mark.parametrize(
    ("lost", "beyond"),
    [
        ([0.0, 3.0], [0.0, 3.0]),
        ([4.0, 7.0], [-2.0, 1.0]),  # what the best loses too is the board's weakness
        ([NOT_ASKED] * 2, [NOT_ASKED] * 2),
    ],
)
def test_nose_downs_within_the_tolerances_count_beyond_those_of_the_best_of_the_front(lost, beyond):
    history = chain()

    found = reevaluation.reevaluated_constraints(
        history, seen(history, [0, 1], failing=[], lost=lost)
    )

    np.testing.assert_array_equal(found[:, reevaluation.LOST], beyond)


def test_a_tenth_of_the_front_says_what_may_be_lost_and_those_that_fail_otherwise_do_not():
    points = np.arange(21.0)
    history = History(
        values=np.zeros((21, 1)),
        objectives=np.column_stack([points, -points, np.ones(21)]),
        constraints=np.full((21, len(CONSTRAINT_NAMES)), -1.0),
    )
    again = seen(history, list(range(21)), failing=[0], lost=points)

    found = reevaluation.reevaluated_constraints(history, again)

    np.testing.assert_allclose(found[:, reevaluation.LOST], points - 3.0 - np.sqrt(3.0))
    part = seen(history, [1, 2], failing=[], lost=[1.0, 2.0])  # others are still to be ridden
    found = reevaluation.reevaluated_constraints(history, part)
    np.testing.assert_array_equal(found[:, reevaluation.LOST], [1.0, 2.0])


def test_a_candidate_that_loses_drawn_rides_makes_room_for_the_next():
    history = chain()

    again = seen(history, [0, 1], failing=[], lost=[0.0, 1.0])

    assert reevaluation.front_to_reevaluate(history, again).missing.tolist() == [2]


def wanted_of(study):
    """Return the candidates of a finished re-evaluation."""
    table = read_table(store_path(study.folder))
    return np.flatnonzero(
        reevaluation.front_to_reevaluate(table.history, table.reevaluation).on_front
    )


def test_a_reevaluated_candidate_counts_by_what_it_did_there(reevaluated):
    results = read_results(reevaluated)
    searched = results.searched

    expected = np.isin(np.arange(len(results)), [BASELINE, *wanted_of(reevaluated)])
    np.testing.assert_array_equal(results.reevaluated, expected)
    assert results.reevaluated[non_dominated(searched.objectives, searched.constraints)].all()
    # No other candidate is beaten by those alone that passed the re-evaluation.
    stood = searched.objectives[results.reevaluated & results.feasible]
    for number in np.flatnonzero(~expected & feasible(searched.constraints)):
        point = searched.objectives[number]
        assert np.any(np.all(stood <= point, axis=1))
    numbers = np.flatnonzero(expected)
    again = make_evaluate(reevaluation.on_fresh_noise(reevaluated))(
        results.searched.values[numbers]
    )
    np.testing.assert_array_equal(results.history.objectives[numbers], again.objectives)
    drawn = np.isin(CONSTRAINT_NAMES, "tolerances")
    found = results.history.constraints[numbers]
    np.testing.assert_array_equal(found[:, ~drawn], again.constraints[:, ~drawn])
    others = ~expected
    np.testing.assert_array_equal(
        results.history.objectives[others], results.searched.objectives[others]
    )
    assert results.weighted_cost[BASELINE] == pytest.approx(1.0)


def test_a_candidate_that_is_dominated_on_fresh_noise_leaves_the_front(reevaluated):
    results = read_results(reevaluated)

    assert not np.any(results.on_front & ~results.reevaluated)
    front = results.history.objectives[results.on_front]
    for number in np.flatnonzero(results.reevaluated & ~results.on_front):
        point = results.history.objectives[number]
        dominated = np.any(np.all(front <= point, axis=1))
        assert dominated or not results.feasible[number] or number == BASELINE


def test_an_interrupted_reevaluation_goes_on_and_ends_alike(reevaluated, tmp_path):
    study = searched(tmp_path / "interrupted")
    with Store(store_path(study.folder)) as store:
        history = store.history(population=study.population)
        first = reevaluation.front_to_reevaluate(history, store.reevaluation()).missing[:2]
        again = reevaluation.on_fresh_noise(study)
        evaluate = with_tolerances(make_evaluate(again), again, n_jobs=1)
        store.append_reevaluation(first, evaluate(history.values[first]))
    assert not read_results(study).reevaluated.any()  # half a re-evaluation counts for nothing

    assert reevaluate(study, n_jobs=1)

    assert read_results(study).reevaluated.sum() == read_results(reevaluated).reevaluated.sum()
    assert (
        candidates_table(read_results(study)).to_csv()
        == candidates_table(read_results(reevaluated)).to_csv()
    )


def killed_in_its_reevaluation(study, moments):
    """Kill a re-evaluation some time after its first batch; return whether it was at work."""
    stored = PROCESSES.Event()
    process = PROCESSES.Process(target=slow_reevaluation, args=(study.folder, stored))
    process.start()
    wait_until(stored, process)
    process.join(moments.uniform(0.0, 0.25))
    at_work = process.is_alive()
    process.kill()
    process.join()
    return at_work


def test_a_killed_reevaluation_ends_with_the_tables_of_an_uninterrupted_one(tmp_path):
    write_small_study(tmp_path / "killed", ("population = 12", "population = 4"))
    killed = load_study(tmp_path / "killed")
    run_study(killed, n_candidates=60, n_jobs=2, on_generation=lambda _: None, stop=go_on)
    shutil.copytree(killed.folder, tmp_path / "whole")
    whole = load_study(tmp_path / "whole")
    assert reevaluate(whole)
    wanted = len(read_table(store_path(whole.folder)).reevaluation.numbers)
    moments = np.random.default_rng(18)

    at_work, stored = 0, [0]
    while at_work < 3 and stored[-1] < wanted:
        at_work += killed_in_its_reevaluation(killed, moments)
        stored.append(len(read_table(store_path(killed.folder)).reevaluation.numbers))
        assert stored[-1] == wanted or not read_results(killed).reevaluated.any()
    assert at_work >= 2
    assert any(0 < count < wanted for count in stored)

    for study in (killed, whole):
        assert reevaluate(study)
        write_tables(read_results(study))
    for name in ("candidates.csv", "candidates.parquet", "front.csv", "front.parquet"):
        expected = (whole.folder / "results" / name).read_bytes()
        assert (killed.folder / "results" / name).read_bytes() == expected


def test_a_stopped_reevaluation_says_so(tmp_path):
    study = searched(tmp_path / "stopped", n_candidates=24)

    assert not reevaluate(study, stop=lambda: True)
    assert not read_results(study).reevaluated.any()


def test_an_extended_study_is_reevaluated_as_if_it_had_been_that_long_at_once(tmp_path):
    short = searched(tmp_path / "short", n_candidates=24)
    assert reevaluate(short)
    run_study(short, n_candidates=48, n_jobs=2, on_generation=lambda _: None, stop=go_on)
    assert reevaluate(short)
    whole = searched(tmp_path / "whole", n_candidates=48)
    assert reevaluate(whole)

    extended, at_once = (candidates_table(read_results(study)) for study in (short, whole))
    assert extended.to_csv() == at_once.to_csv()
