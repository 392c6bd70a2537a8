import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from objectives.score import OBJECTIVES
from optimizer.analysis.picks import knee, knee_distance, named_picks
from optimizer.search.pareto import feasible, hypervolume, non_dominated

# The example of moocore's documentation for hypervolume.
EXAMPLE = np.array([[5.0, 5.0], [4.0, 6.0], [2.0, 7.0], [7.0, 4.0]])


def test_hypervolume_of_the_documented_example_is_38():
    assert hypervolume(EXAMPLE, (10.0, 10.0)) == 38.0


def test_hypervolume_of_nothing_is_zero():
    assert hypervolume(np.empty((0, 3)), (1.0, 1.0, 1.0)) == 0.0


def test_hypervolume_of_a_dense_zdt1_front_comes_near_its_integral():
    """With reference (1.1, 1.1): 1.1 * 1.1 minus the area below 1 - sqrt(f1), minus the strip."""
    first = np.linspace(0.0, 1.0, 4001)
    front = np.stack([first, 1.0 - np.sqrt(first)], axis=1)

    assert hypervolume(front, (1.1, 1.1)) == pytest.approx(0.876667, abs=2e-4)


def test_the_knee_of_zdt1_is_a_quarter_along():
    """The largest distance from the chord of f2 = 1 - sqrt(f1), by setting its slope to -1."""
    first = np.linspace(0.0, 1.0, 401)
    front = np.stack([first, 1.0 - np.sqrt(first)], axis=1)

    np.testing.assert_allclose(front[knee(front)], [0.25, 0.5])
    assert knee_distance(front).max() == pytest.approx(0.176777, abs=1e-6)


def test_the_knee_does_not_depend_on_units():
    first = np.linspace(0.0, 1.0, 41)
    front = np.stack([first, 1.0 - np.sqrt(first)], axis=1)

    assert knee(front) == knee(front * [60.0, 0.01] + [5.0, -3.0])


def test_the_knee_of_three_objectives_is_nearest_to_the_best_of_all():
    front = np.array([[0.0, 1.0, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 0.0], [0.2, 0.2, 0.2]])

    assert knee(front) == 3


def test_an_objective_without_a_range_takes_no_part_in_the_knee():
    first = np.linspace(0.0, 1.0, 401)
    front = np.stack([first, np.full(401, 7.0), 1.0 - np.sqrt(first)], axis=1)

    assert knee_distance(front).max() == pytest.approx(0.176777, abs=1e-6)


def test_a_single_point_is_its_own_knee():
    assert knee(np.array([[3.0, 4.0, 5.0]])) == 0


@given(
    arrays(np.float64, (15, 3), elements=st.integers(0, 4).map(float)),
    arrays(np.float64, (15, 2), elements=st.integers(-3, 1).map(float)),
)
def test_the_front_holds_the_feasible_that_no_feasible_dominates(objectives, constraints):
    on_front = non_dominated(objectives, constraints)

    met = [all(row <= 0.0) for row in constraints]
    for candidate in range(15):
        beaten = any(
            met[other]
            and all(objectives[other] <= objectives[candidate])
            and (any(objectives[other] < objectives[candidate]) or other < candidate)
            for other in range(15)
            if other != candidate
        )
        assert on_front[candidate] == (met[candidate] and not beaten)


def test_nobody_is_on_the_front_when_nobody_is_feasible():
    assert not non_dominated(EXAMPLE, np.ones((4, 1))).any()
    assert not feasible(np.ones((4, 1))).any()


def test_picks_follow_the_order_of_the_objectives():
    assert OBJECTIVES == ("level_error_deg", "excess_current_a", "nose_downs_per_1000_km")
    front = np.array([[1.0, 90.0, 0.5], [3.0, 40.0, 0.6], [2.5, 80.0, 0.1], [1.6, 55.0, 0.25]])
    cost = np.array([1.0, 0.9, 0.7, 0.8])

    assert named_picks(front, cost) == {
        "balanced": 3,
        "calmest_level": 0,
        "lowest_current": 1,
        "fewest_nose_downs": 2,
        "lowest_cost": 2,
    }


def test_the_weighted_cost_decides_between_equals():
    front = np.array([[1.0, 9.0, 0.0], [2.0, 8.0, 0.0], [3.0, 7.0, 0.0]])

    assert named_picks(front, np.array([3.0, 1.0, 2.0]))["fewest_nose_downs"] == 1


@pytest.mark.parametrize("shape", [(0, 3), (4, 2)])
def test_picks_need_a_front_of_three_objectives(shape):
    with pytest.raises(ValueError, match="picks need a front of 3 objectives"):
        named_picks(np.zeros(shape), np.zeros(shape[0]))
