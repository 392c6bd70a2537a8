import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.surrogate import fitted, interpolated, keys, unseen

NO_CONSTRAINT = np.empty((40, 0))


def _points(seed, n_points=40, n_parameters=5):
    rng = np.random.default_rng(seed)
    return rng.random((n_points, n_parameters)), rng


@given(seed=st.integers(0, 1000), scale=st.sampled_from([1e-3, 1.0, 1e3]))
def test_the_surrogate_passes_through_what_was_ridden(seed, scale):
    points, rng = _points(seed)
    objectives, constraints = scale * rng.normal(size=(40, 3)), rng.normal(size=(40, 2))

    foreseen = fitted(points, objectives, constraints)(points)

    np.testing.assert_allclose(foreseen[:, :3], objectives, atol=1e-7 * scale)
    np.testing.assert_allclose(foreseen[:, 3:], constraints, atol=1e-7)


def test_repeated_points_do_not_break_the_surrogate():
    points, _ = _points(7)
    objectives = points.sum(axis=1, keepdims=True)
    twice = np.vstack([points, points])

    predict = fitted(twice, np.vstack([objectives, objectives]), np.empty((80, 0)))

    np.testing.assert_allclose(predict(points), objectives, atol=1e-9)


def test_points_that_share_a_value_do_not_break_the_surrogate():
    points, rng = _points(11)
    points[:, 2] = 1.0
    objectives = rng.normal(size=(40, 3))

    predict = fitted(points, objectives, NO_CONSTRAINT)

    np.testing.assert_allclose(predict(points), objectives, atol=1e-9)


def test_equal_objectives_do_not_break_the_surrogate():
    points, _ = _points(12)

    predict = fitted(points, np.zeros((40, 2)), NO_CONSTRAINT)

    np.testing.assert_allclose(predict(points), 0.0, atol=1e-9)


def test_a_few_terrible_candidates_do_not_blur_what_is_foreseen_of_the_good_ones():
    points, rng = _points(13, n_points=200, n_parameters=4)
    good = np.linalg.norm(points - 0.4, axis=1) + 1.0
    fallen = points[:, 0] > 0.93
    objectives = np.where(fallen, 100.0, good)[:, None]
    children = 0.3 + 0.2 * rng.random((100, 4))
    truth = np.linalg.norm(children - 0.4, axis=1) + 1.0

    foreseen = fitted(points, objectives, np.where(fallen, 1.0, -1.0)[:, None])(children)[:, 0]

    plain = interpolated(points, objectives)(children)[:, 0]
    assert np.median(np.abs(foreseen - truth)) < 0.2 * np.median(np.abs(plain - truth))


def test_whoever_meets_a_constraint_that_counts_events_is_foreseen_to_meet_it():
    points, rng = _points(14, n_points=150, n_parameters=3)
    falls = np.maximum(points[:, :1] - 0.7, 0.0)
    children = rng.random((200, 3))

    foreseen = fitted(points, points[:, 1:2], falls)(children)[:, 1]

    met = children[:, 0] < 0.65
    assert (foreseen[met] <= 0.0).mean() > 0.95
    assert (foreseen[children[:, 0] > 0.8] > 0.0).mean() > 0.8


@pytest.mark.parametrize("child", [[0.1, 0.2], [0.3, 0.4 + 1e-12]])
def test_a_child_that_repeats_a_point_is_not_new(child):
    points = np.array([[0.1, 0.2], [0.3, 0.4]])
    brood = np.array([child, [0.5, 0.5], [0.5, 0.5], [-0.0, 0.5]])

    assert unseen(brood, keys(points)).tolist() == [1, 3]
