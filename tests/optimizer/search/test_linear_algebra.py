"""Products, distances and solves held against numpy and scipy."""

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from optimizer.search.linear_algebra import (
    Factor,
    add_squared_distances,
    column_squares,
    padded,
    product,
    spanning,
    zeros,
)

SIZES = [(1, 1, 1), (3, 2, 5), (7, 9, 4), (70, 133, 20)]


def _positive_definite(n_rows, seed=3):
    half = np.random.default_rng(seed).normal(size=(n_rows, n_rows))
    return half @ half.T + np.eye(n_rows)


@pytest.mark.parametrize(("n_rows", "n_terms", "n_columns"), SIZES)
def test_products_and_distances_are_those_of_numpy_and_scipy(n_rows, n_terms, n_columns):
    rng = np.random.default_rng(1)
    one, other = rng.normal(size=(n_rows, n_terms)), rng.normal(size=(n_terms, n_columns))

    np.testing.assert_allclose(product(one, other), one @ other, rtol=1e-12, atol=1e-12)
    squared = zeros(n_rows, n_columns)
    add_squared_distances(squared, one, other.T)
    np.testing.assert_allclose(
        squared[:n_rows, :n_columns], cdist(one, other.T, "sqeuclidean"), rtol=1e-12
    )
    np.testing.assert_allclose(column_squares(one), (one**2).sum(axis=0), rtol=1e-12)


def test_matrices_in_whole_vectors_are_taken_as_they_are():
    rng = np.random.default_rng(6)
    one, other = rng.normal(size=(5, 11)), rng.normal(size=(11, 3))

    np.testing.assert_array_equal(product(padded(one), padded(other))[:5, :3], product(one, other))
    assert not product(padded(one), padded(other))[5:].any()
    with_more = zeros(20, 3)
    with_more[:11, :3] = other
    more_terms = zeros(5, 20)
    more_terms[:5, :11] = one
    np.testing.assert_array_equal(product(more_terms, with_more)[:5, :3], product(one, other))


def test_each_number_of_a_product_is_summed_in_order_whatever_stands_beside_it():
    rng = np.random.default_rng(2)
    one, other = rng.normal(size=(9, 50)), rng.normal(size=(50, 11))

    whole = product(one, other)

    for row in range(9):
        alone = product(one[row : row + 1], other[:, 3:4])
        assert alone[0, 0] == whole[row, 3]


@pytest.mark.parametrize("n_rows", [1, 2, 5, 31, 70, 133])
def test_solutions_are_those_of_numpy(n_rows):
    matrix = _positive_definite(n_rows)
    right = np.random.default_rng(4).normal(size=(n_rows, 3))

    factor = Factor(matrix)

    np.testing.assert_allclose(matrix @ factor.solved(right), right, rtol=1e-8, atol=1e-9)
    half = np.linalg.solve(np.linalg.cholesky(matrix), right)
    np.testing.assert_allclose(factor.half_solved(right), half, rtol=1e-6, atol=1e-9)


def test_a_row_that_others_make_up_takes_no_part():
    matrix = _positive_definite(6)
    twice = np.block([[matrix, matrix[:, 2:3]], [matrix[2:3], matrix[2:3, 2:3]]])
    right = np.random.default_rng(5).normal(size=(7, 2))

    found = Factor(twice).solved(right)

    np.testing.assert_allclose(found[:6], np.linalg.solve(matrix, right[:6]), rtol=1e-7)
    assert (found[6] == 0.0).all()


def test_spanning_rows_come_with_their_inverse():
    rows = np.random.default_rng(6).normal(size=(40, 6))

    places, inverse = spanning(rows)

    assert len(set(places.tolist())) == 6
    np.testing.assert_allclose(inverse @ rows[places], np.eye(6), atol=1e-10)
    # Far from each other: no other row is a large multiple of them.
    assert np.abs(rows @ inverse).max() < 10.0


def test_rows_of_a_plane_span_nothing():
    rows = np.random.default_rng(7).normal(size=(40, 6))
    rows[:, 5] = rows[:, 0] - 2.0 * rows[:, 3]

    assert spanning(rows) is None
    assert spanning(rows[:4]) is None
