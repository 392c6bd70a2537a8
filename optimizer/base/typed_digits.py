"""Settings with the digits that a person types into a controller."""

TYPED_DIGITS = 4  # significant; assumed: finer than anybody feels


def typed(value: float) -> float:
    """Return the nearest number of so many significant digits."""
    return float(f"{value:.{TYPED_DIGITS}g}")
