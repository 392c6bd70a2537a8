from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.search.composite import DIRECT
from optimizer.search.deduplicate import keys, unseen
from optimizer.search.surrogate import fitted, interpolated
from tests.optimizer.observed import told_of

NO_CONSTRAINT = np.empty((40, 0))


def predictor(points, objectives, constraints, *, deviations=0.0):
    observed = told_of(points, objectives, constraints)
    return fitted(points, observed, composite=DIRECT, deviations=deviations)


def _points(seed, n_points=40, n_parameters=5):
    rng = np.random.default_rng(seed)
    return rng.random((n_points, n_parameters)), rng


@given(seed=st.integers(0, 1000), scale=st.sampled_from([1e-3, 1.0, 1e3]))
def test_the_surrogate_passes_through_what_was_ridden(seed, scale):
    points, rng = _points(seed)
    objectives, constraints = scale * rng.normal(size=(40, 3)), rng.normal(size=(40, 2)) - 1.0
    feasible = (constraints <= 0.0).all(axis=1)

    predicted = predictor(points, objectives, constraints)(points)

    counted = np.minimum(objectives, objectives[feasible].max(axis=0))
    np.testing.assert_allclose(predicted[:, :3], counted, atol=1e-6 * scale)
    np.testing.assert_allclose(predicted[:, 3:], constraints, atol=1e-6)


def test_how_badly_a_candidate_falls_does_not_matter():
    points, rng = _points(5, n_points=80)
    fallen = points[:, 0] > 0.7
    constraints = np.where(fallen, 1.0, -1.0)[:, None]
    objectives = 1.0 + points[:, 1:4]
    children = rng.random((50, 5))

    bad, worse = (
        predictor(points, np.where(fallen[:, None], fall, objectives), constraints)(children)
        for fall in (3.0, 1e6)
    )

    np.testing.assert_array_equal(bad, worse)


def test_parameters_that_do_not_matter_do_not_blur_those_that_do():
    rng = np.random.default_rng(6)
    points, children = rng.random((150, 20)), rng.random((200, 20))

    def objective(rows):
        return 1.0 + np.abs(rows[:, :1] - 0.4) + np.abs(rows[:, 1:2] - rows[:, :1])

    predicted = predictor(points, objective(points), np.empty((150, 0)))(children)

    plain = interpolated(points, objective(points))(children)
    errors = [np.mean((guess - objective(children)) ** 2) for guess in (predicted, plain)]
    assert errors[0] < 0.7 * errors[1]


class WorstOf:
    """One objective, the worst of several costs, and no constraint."""

    name = "worst of"
    steepness_powers = (0.5,)

    def components(self, evaluation):
        raise NotImplementedError

    def whole(self, components):
        return components.costs.max(axis=1, keepdims=True), components.limits


def test_the_worst_of_many_costs_is_predicted_better_by_each_of_them():
    rng = np.random.default_rng(15)
    points, children, best = rng.random((150, 6)), rng.random((200, 6)), rng.random((12, 6))

    def costs(rows):
        return 1.0 + ((rows[:, None, :] - best) ** 2).sum(axis=2)

    worst, truth = (costs(rows).max(axis=1, keepdims=True) for rows in (points, children))
    known = told_of(points, worst, np.empty((150, 0)))
    components = replace(known.components, costs=costs(points))

    by_parts = fitted(points, replace(known, components=components), composite=WorstOf())(children)
    as_it_is = predictor(points, worst, np.empty((150, 0)))(children)

    errors = [np.mean((guess - truth) ** 2) for guess in (by_parts, as_it_is)]
    assert errors[0] < 0.3 * errors[1]


def test_below_what_is_predicted_a_child_is_worth_more_the_less_is_known_of_it():
    points, rng = _points(8, n_points=100)
    objectives = 1.0 + points[:, :2]
    near, far = points + 0.01 * rng.random((100, 5)), points + 0.3

    def drop(children):
        plain, bold = (
            predictor(points, objectives, np.empty((100, 0)), deviations=deviations)(children)
            for deviations in (0.0, 1.0)
        )
        return plain - bold

    assert np.abs(drop(points)).max() < 1e-4
    assert (drop(far) > 0.0).all()
    assert np.median(drop(far)) > 3.0 * np.median(drop(near))


def test_nothing_is_predicted_far_beyond_all_that_is_known():
    points, _ = _points(9)
    objectives = np.exp(8.0 * points[:, :2])

    predicted = predictor(points, objectives, NO_CONSTRAINT, deviations=2.0)(points + 1e3)

    assert np.isfinite(predicted).all()


def test_repeated_points_do_not_break_the_surrogate():
    points, _ = _points(7)
    objectives = points.sum(axis=1, keepdims=True)
    twice = np.vstack([points, points])

    predict = predictor(twice, np.vstack([objectives, objectives]), np.empty((80, 0)))

    np.testing.assert_allclose(predict(points), objectives, atol=1e-9)


def test_points_that_share_a_value_do_not_break_the_surrogate():
    points, rng = _points(11)
    points[:, 2] = 1.0
    objectives = rng.normal(size=(40, 3))

    predict = predictor(points, objectives, NO_CONSTRAINT)

    np.testing.assert_allclose(predict(points), objectives, atol=1e-6)


def test_equal_objectives_do_not_break_the_surrogate():
    points, _ = _points(12)

    predict = predictor(points, np.zeros((40, 2)), NO_CONSTRAINT)

    np.testing.assert_allclose(predict(points), 0.0, atol=1e-9)


def test_a_few_terrible_candidates_do_not_blur_what_is_predicted_of_the_good_ones():
    points, rng = _points(13, n_points=200, n_parameters=4)
    good = np.linalg.norm(points - 0.4, axis=1) + 1.0
    fallen = points[:, 0] > 0.93
    objectives = np.where(fallen, 100.0, good)[:, None]
    children = 0.3 + 0.2 * rng.random((100, 4))
    truth = np.linalg.norm(children - 0.4, axis=1) + 1.0

    predicted = predictor(points, objectives, np.where(fallen, 1.0, -1.0)[:, None])(children)[:, 0]

    plain = interpolated(points, objectives)(children)[:, 0]
    assert np.median(np.abs(predicted - truth)) < 0.2 * np.median(np.abs(plain - truth))


def test_a_candidate_that_meets_a_constraint_on_counts_is_predicted_to_meet_it():
    points, rng = _points(14, n_points=150, n_parameters=3)
    falls = np.maximum(points[:, :1] - 0.7, 0.0)
    children = rng.random((200, 3))

    predicted = predictor(points, points[:, 1:2], falls)(children)[:, 1]

    met = children[:, 0] < 0.65
    assert (predicted[met] <= 0.0).mean() > 0.95
    assert (predicted[children[:, 0] > 0.8] > 0.0).mean() > 0.8


@pytest.mark.parametrize("child", [[0.1, 0.2], [0.3, 0.4 + 1e-12]])
def test_a_child_that_repeats_a_point_is_not_new(child):
    points = np.array([[0.1, 0.2], [0.3, 0.4]])
    brood = np.array([child, [0.5, 0.5], [0.5, 0.5], [-0.0, 0.5]])

    assert unseen(brood, keys(points)).tolist() == [1, 3]
