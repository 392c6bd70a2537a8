"""Which candidates are rejected early, and that nothing else changes by it."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from objectives import RIDE_COLUMNS, Components
from objectives.constraints import ending_constraints
from optimizer.analysis.results import read_results
from optimizer.execution import evaluate
from optimizer.execution.early_rejection import (
    not_ridden,
    rejected_by_rides,
    ride_with_early_rejection,
    screening_rides,
)
from optimizer.execution.evaluate import make_evaluate, study_screening_rides
from optimizer.execution.store import Store, read_table
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search import loop
from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, History
from optimizer.search.imputation import imputed
from optimizer.search.pareto import feasible, non_dominated
from optimizer.search.space import Space
from optimizer.study.load import load_study
from optimizer.study.paths import store_path
from plant.kernel.outcomes import Outcome
from tests.optimizer.analytic import narrow, small_plan
from tests.optimizer.small_study import STEEP, searched, write_small_study

OUTCOME = RIDE_COLUMNS.index("outcome")
ENDS = st.sampled_from([Outcome.RIDDEN, Outcome.NOSE_DOWN, Outcome.RIDER_OFF])
RIDES = st.lists(st.tuples(ENDS, st.booleans(), st.floats(0.01, 9.0)), min_size=2, max_size=9)
N_CANDIDATES = 60


def with_outcomes(outcome):
    columns = np.zeros((*np.shape(outcome), len(RIDE_COLUMNS)))
    columns[:, :, OUTCOME] = outcome
    return columns


def invented_rules(weight, *, nose_down_share=0.0):
    settings = SimpleNamespace(nose_down_share=nose_down_share)
    n_rides = len(weight)
    return SimpleNamespace(
        ride_weight=np.array(weight), settings=settings, n_rides=n_rides, n_without_hard=n_rides
    )


def test_the_cheapest_rides_that_show_every_failure_screen():
    ended = np.array([[1, 2, 0, 0], [3, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 0]])

    assert screening_rides(with_outcomes(ended), np.array([20.0, 10.0, 60.0, 5.0])) == (1, 2)
    assert screening_rides(with_outcomes(ended[3:]), np.ones(4)) == ()


@given(RIDES, st.floats(0.0, 0.9))
def test_a_candidate_rejected_early_fails_whatever_the_other_rides_bring(rides, nose_down_share):
    outcome, screening, weight = (np.array(column) for column in zip(*rides, strict=True))
    whole = with_outcomes(outcome[None, :])
    columns = np.where(screening[None, :, None], whole, np.nan)
    rules = invented_rules(weight, nose_down_share=nose_down_share)

    away = rejected_by_rides(columns, rules)[0]

    failed = max(ending_constraints(outcome[None, :], weight, nose_down_share=nose_down_share))[0]
    assert not away or failed > 0.0
    assert rejected_by_rides(whole, rules)[0] == (failed > 0.0)


@given(
    hnp.arrays(np.int8, (5, 6), elements=st.sampled_from([0, 0, 0, 1, 3])),
    st.lists(st.integers(0, 5), unique=True),
)
def test_a_candidate_that_fails_on_the_screening_rides_rides_no_other_and_the_others_ride_all(
    outcome, screening
):
    whole = with_outcomes(outcome)
    asked = []

    def ride(profiles, places):
        asked.extend((int(row), int(place)) for row in profiles[:, 0] for place in places)
        return whole[profiles[:, 0].astype(int)][:, places]

    columns = ride_with_early_rejection(
        ride, np.arange(5.0)[:, None], screening=tuple(screening), rules=invented_rules(np.ones(6))
    )

    fails = (outcome[:, screening] != 0).any(axis=1)
    expected = ~fails[:, None] | np.isin(np.arange(6), screening)
    np.testing.assert_array_equal(~not_ridden(columns), expected)
    np.testing.assert_array_equal(columns[expected], whole[expected])
    assert np.isnan(columns[~expected]).all()
    assert sorted(asked) == sorted(map(tuple, np.argwhere(expected).tolist()))


@given(
    hnp.arrays(np.int8, (5, 6), elements=st.sampled_from([0, 0, 0, 1, 3])),
    st.lists(st.integers(0, 5), unique=True),
)
def test_all_rides_at_once_give_what_one_stage_after_the_other_gives(outcome, screening):
    whole = with_outcomes(outcome)
    calls = []

    def ride(profiles, places):
        calls.append(len(places))
        return whole[profiles[:, 0].astype(int)][:, places]

    staged, together = (
        ride_with_early_rejection(
            ride,
            np.arange(5.0)[:, None],
            screening=tuple(screening),
            rules=invented_rules(np.ones(6)),
            at_once=at_once,
        )
        for at_once in (False, True)
    )

    np.testing.assert_array_equal(together, staged)
    assert calls[-1] == 6


def test_a_device_that_rides_all_at_once_evaluates_to_the_same_bytes(tmp_path, monkeypatch):
    study = load_study(write_small_study(tmp_path, *STEEP))
    rng = np.random.default_rng(4)
    values = rng.uniform(study.space.low, study.space.high, (9, study.space.n_parameters))
    ride = make_evaluate(study, screening=(2, 4))

    staged = ride(values)
    monkeypatch.setattr(evaluate, "lanes_at_once", lambda _device: 10**6)
    together = ride(values)

    n_ridden = np.count_nonzero(~not_ridden(staged.rides), axis=1)
    assert n_ridden.min() == 2 < n_ridden.max()
    for name in ("objectives", "constraints", "rides"):
        assert getattr(together, name).tobytes() == getattr(staged, name).tobytes()


def test_the_search_observes_those_of_the_nearest_known_before_for_what_is_not_known():
    space = Space(names=("a", "b"), low=np.zeros(2), high=np.array([1.0, 100.0]))
    unknown = [np.nan, np.nan]
    history = History(
        values=np.array([[0.1, 10.0], [0.9, 10.0], [0.8, 30.0], [0.9, 10.1], [0.2, 20.0]]),
        objectives=np.array([[1.0, 9.0], [4.0, 2.0], unknown, [7.0, 7.0], unknown]),
        constraints=np.ones((5, 1)),
    )

    number = np.arange(5.0)[:, None]
    components = Components(
        costs=np.where(np.isnan(history.objectives[:, :1]), np.nan, number),
        margins=np.where(np.isnan(history.objectives[:, :1]), np.nan, -number),
        limits=np.column_stack([number, np.where(number == 2.0, np.nan, number)]),
    )

    observed = imputed(history, components, space)

    # Candidate 2 lies nearest to 1 of those before it; 4 lies nearest to 0.
    np.testing.assert_array_equal(
        observed.history.objectives, [[1.0, 9.0], [4.0, 2.0], [4.0, 2.0], [7.0, 7.0], [1.0, 9.0]]
    )
    np.testing.assert_array_equal(observed.components.costs[:, 0], [0, 1, 1, 3, 0])
    np.testing.assert_array_equal(observed.components.margins[:, 0], [0, -1, -1, -3, 0])
    np.testing.assert_array_equal(observed.components.limits.T, [[0, 1, 2, 3, 4], [0, 1, 1, 3, 4]])
    later = imputed(history, components, space, start=3)
    np.testing.assert_array_equal(later.history.objectives, observed.history.objectives[3:])
    np.testing.assert_array_equal(later.components.limits, observed.components.limits[3:])
    assert len(imputed(NO_HISTORY, NO_COMPONENTS, space).history) == 0


def forgetting(values):
    """Leave the objectives unknown of every third candidate, if it breaks a constraint."""
    whole = narrow(values)
    forgotten = (whole.constraints > 0.0).any(axis=1) & (np.arange(len(values)) % 3 == 0)
    return dataclasses.replace(
        whole, objectives=np.where(forgotten[:, None], np.nan, whole.objectives)
    )


def search_box(path, evaluate, *, n_candidates=48, later=None):
    with Store(path) as store:
        return loop.run(
            evaluate,
            small_plan(seed=3),
            store,
            n_candidates=n_candidates,
            later=later,
        )


def test_unknown_objectives_are_stored_as_such_and_resumed_from(tmp_path):
    first = []

    def later(rides):
        first.append(rides)
        return forgetting

    whole = search_box(tmp_path / "whole", narrow, later=later).history
    for n_candidates in (8, 24, 40, 48):
        parts = search_box(tmp_path / "parts", narrow, n_candidates=n_candidates, later=later)

    unknown = np.isnan(whole.objectives)
    assert not unknown[:8].any()
    assert unknown.any()
    assert np.all(unknown.all(axis=1) == unknown.any(axis=1))
    np.testing.assert_array_equal(parts.history.objectives, whole.objectives)
    np.testing.assert_array_equal(parts.history.values, whole.values)
    assert len(first) == 1 + 3  # the first part ends with the first generation
    for rides in first:
        np.testing.assert_array_equal(rides, narrow(whole.values[:8]).rides)


def test_the_first_generation_must_be_known(tmp_path):
    with pytest.raises(ValueError, match="objectives must be finite"):
        search_box(tmp_path / "store", forgetting, later=lambda _: forgetting)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = write_small_study(tmp_path_factory.mktemp("rejecting") / "study", *STEEP)
    return searched(folder, N_CANDIDATES)


def test_a_candidate_rejected_early_fails_when_ridden_whole_and_the_others_are_as_ridden_whole(
    study,
):
    table = read_table(store_path(study.folder))
    whole = make_evaluate(study)(table.history.values)

    left_out = not_ridden(table.rides)
    own, hard = np.split(left_out, [len(study.rides + study.handling)], axis=1)
    rejected_early = own.any(axis=1)
    fails = rejected_early | ~feasible(table.history.constraints)

    assert rejected_early.any()
    assert not rejected_early[: study.population].any()
    assert not feasible(whole.constraints[rejected_early]).any()
    assert not feasible(table.history.constraints[rejected_early]).any()
    np.testing.assert_array_equal(table.rides[~left_out], whole.rides[~left_out])
    # A candidate that breaks a constraint does not ride the hard rides.
    fails[: study.population] = False
    assert (fails & ~rejected_early).any()
    np.testing.assert_array_equal(hard, np.tile(fails[:, None], hard.shape[1]))
    unknown = np.column_stack([rejected_early, rejected_early, fails])
    np.testing.assert_array_equal(np.isnan(table.history.objectives), unknown)
    np.testing.assert_array_equal(table.history.objectives[~unknown], whole.objectives[~unknown])
    np.testing.assert_array_equal(
        table.history.constraints[~rejected_early], whole.constraints[~rejected_early]
    )
    # What comes of early ends can only be more with all rides.
    assert np.all(
        table.history.constraints[rejected_early, :2] <= whole.constraints[rejected_early, :2]
    )


def test_what_rides_first_is_found_again_in_batches_of_any_size(study):
    table = read_table(store_path(study.folder))
    screening = study_screening_rides(study, table.rides[: study.population])
    later = table.history.rows(study.population, N_CANDIDATES)
    evaluate = make_evaluate(study, screening=screening)

    parts = [evaluate(later.values[start : start + 5]) for start in range(0, len(later), 5)]

    assert screening
    for name in ("objectives", "constraints", "rides"):
        found = np.concatenate([getattr(part, name) for part in parts])
        expected = table.rides[study.population :] if name == "rides" else getattr(later, name)
        assert found.tobytes() == expected.tobytes()


def test_threads_stops_and_extensions_leave_the_bytes_as_they_are(study, tmp_path):
    folder = write_small_study(tmp_path / "parts", *STEEP)
    asked = iter([False, False, True])
    searched(folder, N_CANDIDATES, n_jobs=1, stop=lambda: next(asked))
    searched(folder, 36, n_jobs=1)

    parts = read_table(store_path(searched(folder, N_CANDIDATES, n_jobs=1).folder))

    whole = read_table(store_path(study.folder))
    assert parts.rides.tobytes() == whole.rides.tobytes()
    for name in ("values", "objectives", "constraints"):
        found = getattr(parts.history, name)
        assert found.tobytes() == getattr(whole.history, name).tobytes()


class RidingOn:
    """Rides rejected candidates on over the other rides, without the search knowing."""

    def __init__(self, study):
        self.study = study
        self.whole = make_evaluate(study)
        self.front = []

    def __call__(self, values, /):
        found = self.whole(values)
        self.front.append(found)
        return found

    def by(self, screening):
        if not screening:
            return self
        rejecting = make_evaluate(self.study, screening=screening)

        def evaluate(values):
            self(values)
            return rejecting(values)

        return evaluate

    def on_front(self):
        found = [
            np.concatenate([getattr(part, name) for part in self.front])
            for name in ("objectives", "constraints")
        ]
        return non_dominated(*found)


@pytest.mark.parametrize(
    "seed", [1, *(pytest.param(seed, marks=pytest.mark.proof) for seed in (2, 3))]
)
def test_with_the_rest_ridden_all_the_same_the_search_and_its_front_are_the_same(tmp_path, seed):
    folder = write_small_study(tmp_path / "study", *STEEP, ("seed = 11", f"seed = {seed}"))
    rejected_early = read_results(searched(folder, N_CANDIDATES))
    study = load_study(folder)
    riding = RidingOn(study)

    with Store(tmp_path / "whole.sqlite") as store:
        whole = search_study(
            study, riding.by, study_plan(study), store, n_candidates=N_CANDIDATES
        ).history

    assert rejected_early.rejected_early.any()
    assert whole.values.tobytes() == rejected_early.history.values.tobytes()
    np.testing.assert_array_equal(riding.on_front(), rejected_early.on_front)
