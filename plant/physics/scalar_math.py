"""Branch-free arithmetic of one lane: selects and short polynomials that vectorise."""

import math

from plant.compile import scalar


@scalar
def larger(a: float, b: float) -> float:
    """Return the larger of two numbers; `b` when `a` is NaN."""
    return a if a > b else b


@scalar
def smaller(a: float, b: float) -> float:
    """Return the smaller of two numbers; `b` when `a` is NaN."""
    return a if a < b else b


@scalar
def clip(x: float, low: float, high: float) -> float:
    """Return `x` limited to the range from `low` to `high`."""
    y = x if x > low else low
    return y if y < high else high


@scalar
def magnitude(x: float) -> float:
    """Return the absolute value."""
    return math.fabs(x)


@scalar
def direction(x: float, width: float) -> float:
    """Return the sign of `x`, rising linearly through zero over plus and minus `width`."""
    return clip(x * (1.0 / width), -1.0, 1.0)  # one over a constant: worked out by the compiler


@scalar
def sine(x: float) -> float:
    """Return sin(x) for |x| < 1 rad, to 2e-10 (Taylor series)."""
    q = x * x
    return x * (
        1.0
        + q
        * (
            -1.0 / 6.0
            + q
            * (1.0 / 120.0 + q * (-1.0 / 5040.0 + q * (1.0 / 362880.0 + q * (-1.0 / 39916800.0))))
        )
    )


@scalar
def cosine(x: float) -> float:
    """Return cos(x) for |x| < 1 rad, to 2e-11 (Taylor series)."""
    q = x * x
    return 1.0 + q * (
        -0.5
        + q
        * (
            1.0 / 24.0
            + q
            * (
                -1.0 / 720.0
                + q * (1.0 / 40320.0 + q * (-1.0 / 3628800.0 + q * (1.0 / 479001600.0)))
            )
        )
    )
