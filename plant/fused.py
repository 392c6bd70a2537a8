"""The fused multiply-add: a product and a sum, rounded once, alike on every machine."""

import math

import numpy as np


def fused(a: float, b: float, c: float) -> float:
    """Return a b + c, rounded once; of three whole numbers, the whole number.

    This body is what an interpreted run computes: exact in whole numbers, then one division,
    which Python rounds correctly. Compiled code has the processor's own instruction instead.

    Notes
    -----
    IEEE 754-2019, 5.4.1, fusedMultiplyAdd. The result is numpy's number, so that a later division
    by zero gives infinity, as in compiled code.
    """
    if all(isinstance(x, int | np.integer) for x in (a, b, c)):
        return a * b + c
    a, b, c = float(a), float(b), float(c)
    if math.isfinite(a) and math.isfinite(b) and math.isfinite(c):
        return np.float64(_rounded_once(a, b, c))
    # A product of finite numbers does not reach infinity before the sum is formed.
    product = 0.0 if math.isfinite(a) and math.isfinite(b) else a * b
    return np.float64(product + c)


def _rounded_once(a: float, b: float, c: float) -> float:
    (a_top, a_under), (b_top, b_under), (c_top, c_under) = (x.as_integer_ratio() for x in (a, b, c))
    top = a_top * b_top * c_under + c_top * a_under * b_under
    if top == 0:
        # Exactly zero: the product is its own rounding, and the sum decides the sign.
        return a * b + c if a_top * b_top == 0 else 0.0
    try:
        return top / (a_under * b_under * c_under)
    except OverflowError:
        return math.inf if top > 0 else -math.inf
