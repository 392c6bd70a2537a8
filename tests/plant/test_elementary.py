"""Exponentials and logarithms held against decimals of 40 digits, arc tangents against sympy."""

import decimal
import math

import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st

from plant.elementary import arctangent, exponential, log_of_one_more, logarithm

EXACT = decimal.Context(prec=40)


def _of(number):
    return decimal.Decimal(number)


@given(st.floats(-700.0, 700.0))
def test_exponentials_are_right_to_two_units_of_the_last_bit(x):
    exact = EXACT.exp(_of(x))

    assert abs(_of(float(exponential(x))) / exact - 1) < _of(4.5e-16)


@given(st.floats(1e-300, 1e300))
def test_logarithms_are_right_to_two_units_of_the_last_bit(x):
    exact = EXACT.ln(_of(x))

    assert abs(_of(float(logarithm(x))) - exact) <= _of(4.5e-16) * abs(exact)


@given(st.floats(0.0, 1.0))
def test_logarithms_of_one_and_a_little_keep_their_digits(x):
    assert float(log_of_one_more(x)) == pytest.approx(math.log1p(x), rel=1e-15, abs=1e-300)


@given(st.floats(-1e3, 1e3) | st.floats(-0.5, 0.5) | st.sampled_from([2.0**0.5 - 1.0, 1.0, 1e300]))
def test_arc_tangents_are_right_to_three_units_of_the_last_bit(x):
    exact = sympy.atan(sympy.Float(x, 40)).evalf(40)

    # Numbers below 1e-300 have fewer digits.
    allowed = max(6.7e-16 * abs(exact), 1e-300)
    assert abs(sympy.Float(float(arctangent(x)), 40) - exact) <= allowed


def test_beyond_what_a_number_holds_stand_zero_and_infinity():
    np.testing.assert_array_equal(
        exponential([-np.inf, -800.0, 0.0, 800.0, np.inf, np.nan]),
        [0.0, 0.0, 1.0, np.inf, np.inf, np.nan],
    )
    np.testing.assert_array_equal(
        logarithm([0.0, 1.0, np.inf, -1.0, np.nan]), [-np.inf, 0.0, np.inf, np.nan, np.nan]
    )
    np.testing.assert_array_equal(
        arctangent([-np.inf, 0.0, np.inf, np.nan]), [-0.5 * np.pi, 0.0, 0.5 * np.pi, np.nan]
    )


def test_arguments_stay_as_they_are_and_keep_their_shape():
    x = np.full((3, 2), 2.0)

    assert exponential(x).shape == logarithm(x).shape == (3, 2)
    assert (x == 2.0).all()


def test_a_number_has_the_same_bits_in_any_company():
    x = np.random.default_rng(1).uniform(0.1, 9.0, 37)

    for function in (exponential, logarithm, arctangent):
        alone = [float(function(one)) for one in x.tolist()]
        assert function(x).tolist() == alone


def test_arrays_of_any_order_in_memory_come_back_whole():
    x = np.asfortranarray(np.random.default_rng(2).uniform(0.1, 9.0, (5, 7)))

    np.testing.assert_allclose(exponential(x), np.exp(x), rtol=1e-14)
    np.testing.assert_allclose(logarithm(x[::2].T), np.log(x[::2].T), rtol=1e-14, atol=1e-15)
