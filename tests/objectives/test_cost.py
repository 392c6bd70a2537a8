"""The weighted cost is 1 at the baseline."""

import hypothesis.extra.numpy as hnp
import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from objectives.cost import weighted_cost

positive = hnp.arrays(np.float64, 3, elements=st.floats(1e-3, 1e3))


@given(positive, positive)
def test_baseline_costs_one(baseline, weights):
    assert weighted_cost(baseline[None, :], baseline, weights)[0] == pytest.approx(1.0)


def test_cost_is_the_weighted_mean_of_the_ratios():
    objectives = np.array([[1.0, 90.0, 0.2], [2.0, 60.0, 0.1]])

    found = weighted_cost(objectives, np.array([2.0, 60.0, 0.1]), np.array([2.0, 1.0, 1.0]))

    np.testing.assert_allclose(found, [(2 * 0.5 + 1.5 + 2.0) / 4.0, 1.0])


def test_an_objective_without_weight_does_not_count():
    found = weighted_cost(np.array([[9.0, 3.0]]), np.array([1.0, 2.0]), np.array([0.0, 5.0]))

    np.testing.assert_allclose(found, [1.5])


@pytest.mark.parametrize("baseline", [[0.0, 1.0, 1.0], [1.0, -1.0, 1.0], [1.0, 1.0, np.nan]])
def test_baseline_that_can_not_divide_is_refused(baseline):
    with pytest.raises(ValueError, match="baseline_objectives: each must be above zero"):
        weighted_cost(np.ones((1, 3)), np.array(baseline), np.ones(3))


@pytest.mark.parametrize("weights", [[0.0, 0.0, 0.0], [1.0, -1.0, 1.0]])
def test_weights_without_a_sum_are_refused(weights):
    with pytest.raises(ValueError, match="weights: must be zero or above"):
        weighted_cost(np.ones((1, 3)), np.ones(3), np.array(weights))
