"""Branch-free arithmetic against numpy's, at its stated accuracy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from plant.physics.scalar_math import clip, cosine, direction, larger, magnitude, sine, smaller

RADIANS = np.linspace(-1.0, 1.0, 2001)


def test_sine_and_cosine_are_as_accurate_as_they_say():
    np.testing.assert_allclose([sine(x) for x in RADIANS], np.sin(RADIANS), rtol=0, atol=2e-10)
    np.testing.assert_allclose([cosine(x) for x in RADIANS], np.cos(RADIANS), rtol=0, atol=2e-11)


def test_sine_and_cosine_are_exact_at_the_angles_of_a_ride():
    ridden = RADIANS[np.abs(RADIANS) < 0.35]

    np.testing.assert_allclose([sine(x) for x in ridden], np.sin(ridden), rtol=1e-14, atol=1e-16)
    np.testing.assert_allclose([cosine(x) for x in ridden], np.cos(ridden), rtol=1e-15)


NUMBERS = st.floats(-1e6, 1e6)


@given(NUMBERS, NUMBERS, NUMBERS)
def test_selects_agree_with_numpy(x, one, other):
    low, high = min(one, other), max(one, other)

    assert larger(x, one) == max(x, one)
    assert smaller(x, one) == min(x, one)
    assert clip(x, low, high) == np.clip(x, low, high)
    assert magnitude(x) == abs(x)


def test_larger_and_smaller_drop_what_is_not_a_number():
    assert larger(math.nan, 2.0) == 2.0
    assert smaller(math.nan, 2.0) == 2.0


@pytest.mark.parametrize(("x", "sign"), [(-3.0, -1.0), (-0.1, -0.5), (0.0, 0.0), (0.4, 1.0)])
def test_direction_rises_straight_through_zero(x, sign):
    assert direction(x, 0.2) == pytest.approx(sign)
