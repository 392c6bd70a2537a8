import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.search.space import (
    Space,
    at_bound,
    clip,
    from_unit,
    on_grid,
    to_unit,
    unit_on_grid,
)

MIXED = Space(
    names=("gain", "rate_hz"),
    low=np.array([-2.0, 0.1]),
    high=np.array([6.0, 1000.0]),
    log=np.array([False, True]),
)
UNIT = st.floats(0.0, 1.0)


def test_a_log_parameter_is_spaced_by_ratio():
    values = from_unit(MIXED, [[0.25, 0.25], [0.5, 0.5]])

    np.testing.assert_allclose(values, [[0.0, 1.0], [2.0, 10.0]])


def test_the_ends_of_the_cube_are_exactly_the_bounds():
    values = from_unit(MIXED, [[0.0, 0.0], [1.0, 1.0]])

    assert values.tolist() == [[-2.0, 0.1], [6.0, 1000.0]]


@given(st.tuples(UNIT, UNIT))
def test_mapping_out_and_back_returns_the_same_point_of_the_cube(point):
    back = to_unit(MIXED, from_unit(MIXED, [point]))

    np.testing.assert_allclose(back, [point], atol=1e-12)


@given(st.tuples(UNIT, UNIT))
def test_mapped_values_never_leave_the_bounds(point):
    values = from_unit(MIXED, [point])

    assert (values >= MIXED.low).all()
    assert (values <= MIXED.high).all()


def test_clip_moves_values_to_the_nearest_bound():
    assert clip(MIXED, [[-9.0, 2000.0]]).tolist() == [[-2.0, 1000.0]]


def test_at_bound_counts_a_thousandth_of_the_range_as_at_the_bound():
    flags = at_bound(MIXED, [[-1.995, 0.2], [2.0, 995.0], [5.9, 1000.0]])

    assert flags.tolist() == [[True, False], [False, True], [False, True]]


def test_bounds_can_not_be_changed_afterwards():
    with pytest.raises(ValueError, match="read-only"):
        MIXED.low[0] = 3.0


def test_the_callers_bounds_stay_writable():
    low = np.array([0.0])
    Space(names=("gain",), low=low, high=np.array([1.0]))

    low[0] = 0.5


@pytest.mark.parametrize(
    ("low", "high", "log", "message"),
    [
        (9.0, 3.0, False, "gain: low must be below high, got low=9.0, high=3.0"),
        (1.0, 1.0, False, "gain: low must be below high"),
        (np.nan, 1.0, False, "gain: low must be below high"),
        (0.0, np.inf, False, "gain: low must be below high"),
        (-1e308, 1e308, False, "gain: the range is too wide"),
        (0.0, 1.0, True, "gain: a log scale needs low above zero, got low=0.0"),
    ],
)
def test_impossible_bounds_are_refused_with_the_parameters_name(low, high, log, message):
    with pytest.raises(ValueError, match=message):
        Space(names=("gain",), low=np.array([low]), high=np.array([high]), log=np.array([log]))


@pytest.mark.parametrize("names", [(), ("gain", "gain")])
def test_names_must_be_there_and_differ(names):
    with pytest.raises(ValueError, match="each only once"):
        Space(names=names, low=np.zeros(len(names)), high=np.ones(len(names)))


def test_lengths_that_differ_are_refused():
    with pytest.raises(ValueError, match="needs as many bounds"):
        Space(names=("gain",), low=np.zeros(2), high=np.ones(2))


def _space(low, high, **given):
    return Space(names=("gain",), low=np.array([low]), high=np.array([high]), **given)


def _step(space):
    """Return the distance of neighbouring values of a grid of one parameter."""
    values = np.unique(on_grid(space, np.linspace(space.low, space.high, 4001)))
    distance = np.diff(values).mean()
    return float(f"{distance:.3g}")


@pytest.mark.parametrize(
    ("low", "high", "step"),
    [
        (0.0, 1.0, 0.002),
        (4.0, 20.0, 0.02),
        (0.3, 2.5, 0.002),
        (50.0, 140.0, 0.1),
        (0.1 + 0.2, 0.8, 0.001),
        (0.0, 1e6, 2000.0),
        (8.0, 8.001, 2e-6),
    ],
)
def test_a_step_is_the_largest_short_number_of_which_five_hundred_fit(low, high, step):
    assert _step(_space(low, high)) == step


@given(st.floats(0.0, 1.0))
def test_values_on_the_grid_have_few_digits_and_stay_where_they_are(point):
    space = _space(0.3, 2.5)

    [[value]] = on_grid(space, from_unit(space, [[point]])).tolist()

    assert len(repr(value)) <= len("2.498")
    assert abs(value - from_unit(space, [[point]])[0, 0]) <= 0.0011
    assert on_grid(space, [[value]]).tolist() == [[value]]
    assert on_grid(space, from_unit(space, to_unit(space, [[value]]))).tolist() == [[value]]


@given(st.floats(-5.0, 5.0), st.floats(0.001, 3.0), UNIT)
def test_bounds_that_are_no_multiples_keep_the_grid_inside(low, reach, point):
    space = _space(low, low + reach)

    [[value]] = on_grid(space, from_unit(space, [[point]])).tolist()

    assert low <= value <= low + reach
    assert round(value / _step(space)) * _step(space) == pytest.approx(value, abs=1e-12)


def test_points_are_put_on_the_grid_in_one_pass_as_step_by_step():
    random = np.random.default_rng(4)
    low = random.uniform(-5.0, 5.0, 40) * 10.0 ** random.integers(-3, 4, 40)
    reach = random.uniform(0.1, 3.0, 40) * 10.0 ** random.integers(-3, 4, 40)
    space = Space(names=tuple(f"p{k}" for k in range(40)), low=low, high=low + reach)
    points = random.uniform(-0.1, 1.1, (500, 40))
    points[:2] = [[0.0], [1.0]]

    found = unit_on_grid(space, points)

    np.testing.assert_array_equal(found, to_unit(space, on_grid(space, from_unit(space, points))))


def test_a_log_parameter_has_as_many_digits_as_the_number_of_steps():
    assert on_grid(MIXED, [[0.123456, 0.123456], [3.0, 987.654]]).tolist() == [
        [0.12, 0.123],
        [3.0, 988.0],
    ]
    fine = _space(0.1, 1000.0, log=np.array([True]), n_steps=(10_000,))
    assert on_grid(fine, [[0.123456]]).tolist() == [[0.12346]]


@pytest.mark.parametrize(
    ("low", "high"), [(1.0, 1000.0), (1.0, 10.0), (5.0, 9.0), (100.0, 101.0), (1.0, 1.004)]
)
def test_a_log_parameter_has_about_as_many_values_as_steps_however_close_its_bounds(low, high):
    space = _space(low, high, log=np.array([True]))

    values = on_grid(space, from_unit(space, np.linspace(0.0, 1.0, 20_001)[:, None]))

    assert len(np.unique(values)) > 300


def test_the_outermost_value_of_the_grid_counts_as_at_the_bound():
    space = _space(0.1234, 1.1234)  # the grid begins at 0.124

    assert at_bound(space, [[0.124], [0.126], [1.122]]).tolist() == [[True], [False], [True]]


@pytest.mark.parametrize("n_steps", [(0,), (500, 500)])
def test_each_parameter_has_a_number_of_steps(n_steps):
    with pytest.raises(ValueError, match="n_steps"):
        _space(0.0, 1.0, n_steps=n_steps)
