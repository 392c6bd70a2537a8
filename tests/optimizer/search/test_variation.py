import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from optuna.samplers.nsgaii import PolynomialMutation

from optimizer.search.variation import Operators, _mutation, children


@given(arrays(np.float64, (6, 4), elements=st.floats(0.0, 1.0)), st.integers(0, 2**32))
def test_children_stay_in_the_unit_cube(parents, seed):
    made = children(parents, n_children=20, rng=np.random.default_rng(seed), operators=Operators())

    assert made.shape == (20, 4)
    assert (made >= 0.0).all()
    assert (made <= 1.0).all()


def test_the_best_parents_breed_most():
    parents = np.linspace(0.0, 1.0, 10)[:, None]
    copying = Operators(crossover_probability=0.0, mutation_probability=0.0, redrawn_share=0.0)

    made = children(parents, n_children=4000, rng=np.random.default_rng(3), operators=copying)

    # The better of two drawn from ten: (100 - 81) / 100 for the best, 1 / 100 for the worst.
    assert abs((made == 0.0).mean() - 0.19) < 0.02
    assert abs((made == 1.0).mean() - 0.01) < 0.005


def test_swapping_children_take_each_parameter_from_a_parent():
    parents = np.array([[0.1, 0.2, 0.3], [0.6, 0.7, 0.8]])
    swapping = Operators(blend_alpha=0.0, mutation_probability=0.0, redrawn_share=0.0)

    made = children(parents, n_children=300, rng=np.random.default_rng(4), operators=swapping)

    assert (made >= parents[0]).all()
    assert (made <= parents[1]).all()
    # Two draws differ in 3/8 of the pairs; of those 0.9 cross and half of the crossed blend.
    swapped = np.isin(made, parents).all(axis=1)
    assert abs(swapped.mean() - (1.0 - 3 / 8 * 0.9 / 2)) < 0.06
    assert len(np.unique(made[swapped], axis=0)) == 8


def test_half_of_the_children_have_a_parameter_or_two_from_anywhere():
    parents = np.full((4, 30), 0.5)
    copying = Operators(crossover_probability=0.0, mutation_probability=0.0)

    made = children(parents, n_children=4000, rng=np.random.default_rng(6), operators=copying)

    n_redrawn = (made != 0.5).sum(axis=1)
    # Of 30 parameters each is redrawn with 1.5 / 30: none of them in 0.95^30 of the children.
    assert abs((n_redrawn > 0).mean() - 0.5 * (1.0 - 0.95**30)) < 0.03
    assert abs(n_redrawn.mean() - 0.5 * 1.5) < 0.05
    drawn = made[made != 0.5]
    assert abs(drawn.mean() - 0.5) < 0.02
    assert abs(drawn.std() - np.sqrt(1.0 / 12.0)) < 0.02


@pytest.mark.filterwarnings("ignore::optuna.exceptions.ExperimentalWarning")
def test_mutation_is_the_polynomial_one_of_optuna():
    class Draws:
        def __init__(self, draws):
            self.draws = draws

        def random(self, shape):
            return self.draws.reshape(shape)

        def rand(self):
            return float(self.draws)

    rng = np.random.default_rng(5)
    points, draws = rng.random(200), rng.random(200)
    points[:2] = 0.0, 1.0

    moved = _mutation(points, rng=Draws(draws), index=20.0)

    reference = PolynomialMutation(eta=20.0)
    expected = [
        reference.mutation(point, Draws(draw), None, np.array([0.0, 1.0]))
        for point, draw in zip(points, draws, strict=True)
    ]
    np.testing.assert_allclose(moved, np.clip(expected, 0.0, 1.0), atol=1e-12)
