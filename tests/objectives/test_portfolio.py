"""Expected shortfall against worked examples, closed forms and its defining properties."""

import hypothesis.extra.numpy as hnp
import hypothesis.strategies as st
import numpy as np
import pytest
import scipy.stats
from hypothesis import given

from objectives.portfolio import blend, expected_shortfall

N_RIDES = 7
costs = hnp.arrays(np.float64, N_RIDES, elements=st.floats(-1e3, 1e3))
weights = hnp.arrays(np.float64, N_RIDES, elements=st.floats(0.01, 10.0))
shares = st.floats(0.02, 1.0)


@pytest.mark.parametrize(
    ("share", "published"), [(0.05, 100.0), (0.2, 60.0), (0.3, 46.67), (0.4, 40.0), (1.0, 6.0)]
)
def test_expected_shortfall_of_the_standard_worked_example(share, published):
    # Outcomes -100 (10 %), -20 (30 %), 0 (40 %), +50 (20 %); the 30 % row catches the mean of
    # what lies beyond the quantile.
    losses = np.array([100.0, 20.0, 0.0, -50.0])
    probability = np.array([0.1, 0.3, 0.4, 0.2])

    assert expected_shortfall(losses, probability, share) == pytest.approx(published, abs=5e-3)


@pytest.mark.parametrize(
    ("level", "published"), [(0.8, 1.39981), (0.9, 1.75498), (0.95, 2.06271), (0.99, 2.66521)]
)
def test_expected_shortfall_of_a_normal_variable(level, published):
    # Rockafellar & Uryasev: CVaR of N(0, 1) is pdf(quantile) / (1 - level).
    n_points = 400_000
    values = scipy.stats.norm.ppf((np.arange(n_points) + 0.5) / n_points)

    found = expected_shortfall(values, np.ones(n_points), 1.0 - level)

    assert found == pytest.approx(published, abs=2e-4)


@given(costs, weights, shares)
def test_expected_shortfall_lies_between_the_mean_and_the_largest(values, weight, share):
    found = expected_shortfall(values, weight, share)

    assert found <= values.max() + 1e-6
    assert found >= np.average(values, weights=weight) - 1e-6


@given(costs, weights, shares)
def test_expected_shortfall_is_that_of_its_minimisation_formula(values, weight, share):
    # Rockafellar & Uryasev 2000: min over t of t + E[max(v - t, 0)] / share, met at an outcome.
    probability = weight / weight.sum()

    formula = min(t + np.maximum(values - t, 0.0) @ probability / share for t in values)

    assert expected_shortfall(values, weight, share) == pytest.approx(formula, abs=1e-6)


@given(costs, weights, shares, st.integers(0, N_RIDES - 1), st.floats(0.0, 1e3))
def test_a_worse_ride_never_lowers_the_blend(values, weight, share, ride, more):
    worse = values.copy()
    worse[ride] += more

    before = blend(values, weight, tail_share=share, tail_weight=0.5)
    after = blend(worse, weight, tail_share=share, tail_weight=0.5)

    assert after >= before - 1e-9


@given(costs, weights, shares, st.permutations(range(N_RIDES)))
def test_order_of_rides_does_not_matter(values, weight, share, order):
    order = list(order)

    one = blend(values, weight, tail_share=share, tail_weight=0.5)
    other = blend(values[order], weight[order], tail_share=share, tail_weight=0.5)

    assert one == pytest.approx(other, abs=1e-8)


@given(costs, weights, shares, st.floats(0.1, 10.0))
def test_only_proportions_of_the_weights_matter(values, weight, share, scale):
    one = expected_shortfall(values, weight, share)

    assert one == pytest.approx(expected_shortfall(values, scale * weight, share), abs=1e-6)


@given(costs, weights, shares)
def test_inputs_are_not_changed(values, weight, share):
    values_before, weight_before = values.copy(), weight.copy()

    blend(values, weight, tail_share=share, tail_weight=0.5)

    np.testing.assert_array_equal(values, values_before)
    np.testing.assert_array_equal(weight, weight_before)


def test_a_ride_split_in_two_halves_changes_nothing():
    whole = expected_shortfall(np.array([5.0, 2.0, 1.0]), np.array([0.5, 0.3, 0.2]), 0.3)
    split = expected_shortfall(
        np.array([5.0, 5.0, 2.0, 1.0]), np.array([0.25, 0.25, 0.3, 0.2]), 0.3
    )

    assert whole == pytest.approx(split)


def test_blend_goes_from_the_mean_to_the_tail():
    values, weight = np.array([[1.0, 2.0, 9.0]]), np.array([1.0, 1.0, 2.0])

    ends = [blend(values, weight, tail_share=0.25, tail_weight=share) for share in (0.0, 0.5, 1.0)]

    np.testing.assert_allclose(np.ravel(ends), [5.25, 7.125, 9.0])
