import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.search.space import Space, at_bound, clip, from_unit, to_unit

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
