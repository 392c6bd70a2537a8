"""The fused multiply-add against the C library's, and against exact fractions."""

import ctypes
import ctypes.util
import fractions
import math
import struct

import numba
import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

import plant.compiler  # noqa: F401 (teaches numba the fused multiply-add)
from plant.fused import fused

C_FMA = ctypes.CDLL(ctypes.util.find_library("m")).fma  # C11, 7.12.13.1
C_FMA.restype = ctypes.c_double
C_FMA.argtypes = [ctypes.c_double] * 3

SMALLEST = 5e-324
LARGEST = 1.7976931348623157e308
numbers = st.floats(width=64)


def bits(x):
    """Return the bits of a number; one pattern for every NaN."""
    return "nan" if math.isnan(x) else struct.pack("d", x)


@numba.njit
def machine(a, b, c):
    """Return what compiled code computes."""
    return fused(a, b, c)


@given(numbers, numbers, numbers)
@example(1.0 + 2.0**-52, 1.0 - 2.0**-52, -1.0)  # the product's last bits decide
@example(1.0 + 2.0**-30, 1.0 + 2.0**-30, -(1.0 + 2.0**-29))
@example(LARGEST, 2.0, -LARGEST)  # a product beyond the largest number, a sum within
@example(LARGEST, 2.0, -math.inf)
@example(LARGEST, LARGEST, 0.0)
@example(-LARGEST, LARGEST, 0.0)
@example(SMALLEST, 0.5, 0.0)
@example(-SMALLEST, 0.25, 0.0)
@example(-SMALLEST, 0.25, SMALLEST)
@example(3.0 * SMALLEST, 0.5, 2.0**-1022)
@example(0.0, -1.0, 0.0)
@example(0.0, -1.0, -0.0)
@example(2.0, 3.0, -6.0)
@example(-2.0, 3.0, 6.0)
@example(math.inf, 0.0, 1.0)
@example(math.inf, 1.0, -math.inf)
@example(0.0, 1.0, math.nan)
def test_plain_python_and_machine_code_fuse_as_the_c_library_does(a, b, c):
    expected = bits(C_FMA(a, b, c))

    assert bits(fused(a, b, c)) == expected
    assert bits(machine(a, b, c)) == expected


whole = st.integers(-(2**53), 2**53)


@given(whole, whole, whole, st.integers(-80, 80))
def test_the_exact_sum_is_rounded_once(a, b, c, power):
    scale = 2.0**power
    exact = fractions.Fraction(a) * b * fractions.Fraction(scale) + c

    assert fused(a * scale, float(b), float(c)) == float(exact)


@given(*(st.integers(-1000, 1000) for _ in range(3)))
def test_whole_numbers_stay_whole(a, b, c):
    for result in (fused(a, b, c), machine(a, b, c)):
        assert isinstance(result, int)
        assert result == a * b + c


def test_a_quotient_of_its_result_by_zero_is_infinite_as_in_machine_code():
    with pytest.warns(RuntimeWarning, match="divide by zero"):
        assert np.float64(1.0) / fused(2.0, 3.0, -6.0) == math.inf
    with pytest.warns(RuntimeWarning, match="divide by zero"):
        assert fused(2.0, 3.0, -5.0) / 0.0 == math.inf
