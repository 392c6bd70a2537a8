import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from optimizer.search.ranking import best_first, ranks, violation, volume_order

OBJECTIVES = arrays(np.float64, (12, 3), elements=st.integers(0, 5).map(float))
CONSTRAINTS = arrays(np.float64, (12, 2), elements=st.integers(-2, 2).map(float))


def test_violation_adds_positive_parts_only():
    assert violation(np.array([[-1.0, 0.0], [0.5, 2.0], [3.0, -9.0]])).tolist() == [0.0, 2.5, 3.0]


def test_without_constraints_everyone_is_feasible():
    assert violation(np.empty((3, 0))).tolist() == [0.0, 0.0, 0.0]


def test_feasible_candidates_rank_before_the_least_violation():
    objectives = np.array([[0.0, 0.0], [9.0, 9.0], [0.0, 0.0], [8.0, 8.0]])
    constraints = np.array([[1.0], [-1.0], [0.1], [0.0]])

    assert ranks(objectives, constraints).tolist() == [3, 1, 2, 0]


@given(OBJECTIVES, CONSTRAINTS)
def test_no_candidate_comes_before_one_that_beats_it(objectives, constraints):
    """The plain definition of constrained domination, pair by pair."""
    order = best_first(objectives, constraints, n_best=12)

    for place, later in enumerate(order):
        for earlier in order[:place]:
            assert not _beats(later, earlier, objectives, constraints)


def _beats(one, other, objectives, constraints):
    excess = np.maximum(constraints, 0.0).sum(axis=1)
    if excess[one] > 0.0 or excess[other] > 0.0:
        return excess[one] < excess[other]
    better = objectives[one] <= objectives[other]
    return better.all() and (objectives[one] < objectives[other]).any()


@given(OBJECTIVES, CONSTRAINTS, st.integers(1, 12))
def test_fewer_best_are_the_head_of_more_best(objectives, constraints, n_best):
    order = best_first(objectives, constraints, n_best=12)

    assert best_first(objectives, constraints, n_best=n_best).tolist() == order[:n_best].tolist()
    assert sorted(order) == list(range(12))


def test_the_least_share_of_the_front_goes_last():
    """Scaled to 0..1 with reference 1.3 the shares are 2/15, 1/15, 3/25 and 1/10, by hand."""
    front = np.array([[5.0, 5.0], [4.0, 6.0], [2.0, 7.0], [7.0, 4.0]])

    assert volume_order(front, n_best=4)[-1] == 1
    assert volume_order(front[[0, 2, 3]], n_best=3).tolist()[-1] == 2


def test_volume_does_not_depend_on_the_units_of_an_objective():
    rng = np.random.default_rng(1)
    front = np.abs(rng.normal(size=(20, 3)))

    assert volume_order(front, n_best=20).tolist() == (
        volume_order(front * [1.0, 4096.0, 0.125], n_best=20).tolist()
    )


def test_inputs_are_left_as_they_are():
    rng = np.random.default_rng(2)
    objectives, constraints = rng.random((9, 3)), rng.normal(size=(9, 2))
    before = objectives.copy(), constraints.copy()

    best_first(objectives, constraints, n_best=4)

    np.testing.assert_array_equal(objectives, before[0])
    np.testing.assert_array_equal(constraints, before[1])


@pytest.mark.parametrize("n_candidates", [0, 1])
def test_too_few_candidates_come_back_as_they_are(n_candidates):
    order = best_first(np.ones((n_candidates, 3)), np.ones((n_candidates, 1)), n_best=5)

    assert order.tolist() == list(range(n_candidates))
