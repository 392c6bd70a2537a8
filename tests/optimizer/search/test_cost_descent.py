import numpy as np
import pytest

from optimizer.search.cost_descent import Descent, _differences, lowest_cost_points
from optimizer.search.deduplicate import keys

NO_CONSTRAINT = np.empty((300, 0))


def _found(cost_of, *, constraints_of=None, n_points=6, n_known=300, n_parameters=4):
    rng = np.random.default_rng(3)
    points = rng.random((n_known, n_parameters))
    constraints = np.empty((n_known, 0)) if constraints_of is None else constraints_of(points)
    return points, lowest_cost_points(
        points,
        cost_of(points),
        constraints,
        known=keys(points),
        n_points=n_points,
        neighbours=Descent().neighbours,
        rng=rng,
        descent=Descent(),
        settled=lambda points: points,
    )


def _valley(points):
    """A narrow oblique valley: across it the cost rises 100 times as fast as along it."""
    along = points.mean(axis=1) - 0.6
    across = points - points.mean(axis=1, keepdims=True)
    return 1.0 + along**2 + 100.0 * (across**2).sum(axis=1)


def test_what_is_found_costs_less_than_all_that_is_known():
    points, found = _found(_valley)

    assert found.shape == (6, 4)
    assert np.median(_valley(found)) - 1.0 < 0.2 * (_valley(points).min() - 1.0)


def test_the_constraints_are_met_where_the_optimum_breaks_them():
    def too_far(points):
        return points[:, :1] - 0.4

    def cost_of(points):
        return 10.0 - points.sum(axis=1)

    points, found = _found(cost_of, constraints_of=too_far)

    allowed = points[points[:, 0] <= 0.4]
    assert (found[:, 0] <= 0.4 + 1e-6).all()
    assert np.median(cost_of(found)) < cost_of(allowed).min()


def test_children_step_towards_the_better_of_two_parents():
    # The lesser of two even draws from 0 to 1 is 1/3 on average, and half of a step leads there.
    parents = np.linspace(0.0, 1.0, 401)[:, None]
    inner = 0.4 + 0.2 * parents  # far enough inside that no child is held at the edge

    children = _differences(inner, 40_000, rng=np.random.default_rng(5))

    rank = (children.mean() - 0.4) / 0.2
    assert rank == pytest.approx(0.5 * (1 / 2 + 1 / 3), abs=0.01)


def test_no_point_is_one_that_is_known_or_twice_the_same():
    points, found = _found(lambda points: points.sum(axis=1) + 1.0)

    everything = np.vstack([points, found])
    assert len(np.unique(everything.round(9), axis=0)) == len(everything)
    assert ((found >= 0.0) & (found <= 1.0)).all()


@pytest.mark.parametrize("n_points", [0, 1, 2, 7])
def test_as_many_points_come_back_as_were_asked_for(n_points):
    assert len(_found(_valley, n_points=n_points)[1]) == n_points


def test_fewer_candidates_than_neighbours_are_enough():
    assert len(_found(_valley, n_known=60)[1]) == 6
