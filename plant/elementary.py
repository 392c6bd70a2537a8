"""Mathematical functions of arrays, with the same bits on every processor.

numpy's own have other code for processors with AVX-512 than for those without, and another last
bit in a few of a thousand numbers. What is stored, and what decides what is ridden next, must not
depend on that. Exponential and logarithm are right to 1e-15. Sums, products, quotients and square
roots of arrays do not differ.
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from plant.arrays import Floats
from plant.compile import kernel, scalar

_LOG2_E = 1.0 / math.log(2.0)
# ln 2 in two numbers; the first has so few digits that its product with a power is exact.
_LN2_HIGH = 0.693147180369123816490
_LN2_LOW = 1.90821492927058770002e-10
_WHOLE = 1.5 * 2.0**52  # doubles of this size are whole numbers
_LOWEST, _HIGHEST = -708.0, 709.0  # beyond, an exponential is 0 or infinite
_FRACTION = (1 << 52) - 1  # bits of the fraction of a double
_ONE = 1023 << 52  # bits of 1.0
_TINY = 2.3e-308  # a double below has fewer bits
_SQRT_2 = math.sqrt(2.0)
_EXP = tuple(1.0 / math.factorial(power) for power in range(14))  # Taylor series
_ATAN = tuple((-1.0) ** term / (2 * term + 1) for term in range(12))  # of atan(t) / t, in t^2
_TAN_EIGHTH = math.tan(math.pi / 8.0)
_ATANH = tuple(1.0 / (2 * term + 1) for term in range(12))  # of 2 atanh(f) / f, in f^2


def elementwise(function: Callable[[float], float], values: Floats) -> Floats:
    """Return a function of Python's `math` of every value, in the shape of the values."""
    found = np.fromiter(map(function, values.ravel().tolist()), np.float64, values.size)
    result: Floats = found.reshape(values.shape)
    return result


def exponential(x: ArrayLike) -> Floats:
    """Return e^x of each number; 0 below -708, infinite above 709."""
    exact = np.array(x, dtype=np.float64, order="C")
    if exact.size:  # of nothing, nothing need be compiled or loaded
        exponentials(exact.reshape(-1))
    return exact


def logarithm(x: ArrayLike) -> Floats:
    """Return the natural logarithm of each number; -inf at 0, NaN below.

    Numbers below 2.3e-308 count as 0.
    """
    exact = np.array(x, dtype=np.float64, order="C")
    if exact.size:  # of nothing, nothing need be compiled or loaded
        logarithms(exact.reshape(-1))
    return exact


def log_of_one_more(x: ArrayLike) -> Floats:
    """Return ln(1 + x) of each number from 0 up, exact for small ones too."""
    exact = np.array(x, dtype=np.float64, order="C")
    whole = 1.0 + exact
    # What the sum has lost is made up for (Goldberg 1991, ACM Computing Surveys 23: 5-48).
    lost = exact - (whole - 1.0)
    return logarithm(whole) + lost / whole


def arctangent(x: ArrayLike) -> Floats:
    """Return the arc tangent of each number, in rad."""
    exact = np.array(x, dtype=np.float64, order="C")
    if exact.size:  # of nothing, nothing need be compiled or loaded
        arctangents(exact.reshape(-1))
    return exact


@scalar
def _beyond_first(s: float, terms: tuple[float, ...]) -> float:
    """Return the sum of twelve terms in powers of `s`, less the first and over `s`."""
    series = terms[11]
    series = series * s + terms[10]
    series = series * s + terms[9]
    series = series * s + terms[8]
    series = series * s + terms[7]
    series = series * s + terms[6]
    series = series * s + terms[5]
    series = series * s + terms[4]
    series = series * s + terms[3]
    series = series * s + terms[2]
    return series * s + terms[1]


@kernel
def arctangents(x: Floats) -> None:
    """Replace numbers by their arc tangents in rad, (number,)."""
    for k in range(x.shape[0]):
        size = abs(x[k])
        # From 45 or from 90 degrees on, so that what is left is at most 22.5 degrees; of that half.
        steep, medium = size > 1.0 / _TAN_EIGHTH, size > _TAN_EIGHTH
        base = 0.5 * math.pi if steep else (0.25 * math.pi if medium else 0.0)
        above = -1.0 if steep else (size - 1.0 if medium else size)
        below = size if steep else (size + 1.0 if medium else 1.0)
        whole = above / below
        t = whole / (1.0 + math.sqrt(1.0 + whole * whole))
        s = t * t
        series = _beyond_first(s, _ATAN)
        double = 2.0 * t
        # The leading term apart, so that it keeps its digits.
        found = base + (double + double * (s * series))
        x[k] = found if x[k] >= 0.0 else -found


@kernel
def exponentials(x: Floats) -> None:
    """Replace numbers by their exponentials, (number,)."""
    scale = np.empty(x.shape, np.float64)
    bits = scale.view(np.int64)
    for k in range(x.shape[0]):
        # The sum rounds to a whole number, which its last bits hold.
        scale[k] = min(max(x[k], _LOWEST), _HIGHEST) * _LOG2_E + _WHOLE
    power = scale - _WHOLE
    for k in range(x.shape[0]):
        bits[k] = (bits[k] << 52) + _ONE
    for k in range(x.shape[0]):
        inside = min(max(x[k], _LOWEST), _HIGHEST)
        r = (inside - power[k] * _LN2_HIGH) - power[k] * _LN2_LOW
        series = _EXP[13]
        series = series * r + _EXP[12]
        series = series * r + _EXP[11]
        series = series * r + _EXP[10]
        series = series * r + _EXP[9]
        series = series * r + _EXP[8]
        series = series * r + _EXP[7]
        series = series * r + _EXP[6]
        series = series * r + _EXP[5]
        series = series * r + _EXP[4]
        series = series * r + _EXP[3]
        series = series * r + _EXP[2]
        series = series * r + 1.0
        series = series * r + 1.0
        found = series * scale[k]
        found = 0.0 if x[k] < _LOWEST else found
        found = math.inf if x[k] > _HIGHEST else found
        x[k] = found if x[k] == x[k] else x[k]


@kernel
def logarithms(x: Floats) -> None:
    """Replace numbers by their natural logarithms, (number,)."""
    bits = x.view(np.int64)
    fraction_bits = (bits & _FRACTION) | _ONE
    fraction = fraction_bits.view(np.float64)
    for k in range(x.shape[0]):
        value = x[k]
        halved = fraction[k] > _SQRT_2
        m = 0.5 * fraction[k] if halved else fraction[k]
        power = float((bits[k] >> 52) - 1023) + (1.0 if halved else 0.0)
        f = (m - 1.0) / (m + 1.0)
        s = f * f
        series = _beyond_first(s, _ATANH)
        # The leading term apart, so that a logarithm near 0 keeps its digits.
        double = 2.0 * f
        found = power * _LN2_HIGH + (double + (double * (s * series) + power * _LN2_LOW))
        found = found if value < math.inf else value
        found = found if value >= _TINY else -math.inf
        x[k] = found if value >= 0.0 else math.nan
