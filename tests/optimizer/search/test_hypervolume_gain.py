import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.search.hypervolume_gain import adding_most
from optimizer.search.pareto import hypervolume


def _front(rng, n_points, n_objectives):
    """Points of the unit sphere's positive part, none better than another."""
    points = np.abs(rng.normal(size=(n_points, n_objectives)))
    return points / np.linalg.norm(points, axis=1, keepdims=True)


def _one_by_one(predicted, front, n_chosen):
    """Ask for every child anew before each choice."""
    low, scale = front.min(axis=0), np.ptp(front, axis=0)
    known, children = (front - low) / scale, (predicted - low) / scale
    reference, chosen = [1.2] * front.shape[1], []
    while len(chosen) < n_chosen:
        before = hypervolume(known, reference)
        added = [hypervolume(np.vstack([known, child]), reference) - before for child in children]
        best = int(np.argmax(added))
        if added[best] <= 1e-12:
            break
        chosen.append(best)
        known = np.vstack([known, children[best]])
    return chosen


@given(seed=st.integers(0, 10_000), n_objectives=st.sampled_from([2, 3]))
def test_the_lazy_choice_is_that_of_asking_everybody_each_time(seed, n_objectives):
    rng = np.random.default_rng(seed)
    front = _front(rng, 15, n_objectives)
    predicted = rng.uniform(0.4, 1.1, (30, 1)) * _front(rng, 30, n_objectives)

    assert adding_most(predicted, front, n_chosen=6).tolist() == _one_by_one(predicted, front, 6)


def test_a_candidate_that_adds_nothing_is_not_selected():
    front = _front(np.random.default_rng(1), 20, 3)

    assert adding_most(front + 0.1, front, n_chosen=5).tolist() == []
    assert adding_most(front[:0], front, n_chosen=5).tolist() == []


def test_the_same_child_twice_adds_once():
    front = _front(np.random.default_rng(2), 20, 2)
    better = np.tile([[0.1, 0.1]], (2, 1))

    assert adding_most(better, front, n_chosen=2).tolist() == [0]


@pytest.mark.parametrize("n_points", [0, 1, 9])
def test_a_small_front_chooses_nobody(n_points):
    front = _front(np.random.default_rng(3), n_points, 2) if n_points else np.empty((0, 2))

    assert adding_most(np.array([[0.1, 0.1]]), front, n_chosen=1).tolist() == []
