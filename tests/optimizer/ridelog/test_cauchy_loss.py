"""A search for the least loss ends where the rows say, and not where rounding sends it."""

import numpy as np
import pytest

from optimizer.ridelog.fits.cauchy_loss import Loss, slopes
from optimizer.ridelog.fits.robust_fit import Unknown, best

X = np.linspace(-1.0, 1.0, 400)
NOISE = np.random.default_rng(1).normal(0.0, 0.1, len(X))
NO_OUTLIERS = 1e4  # a scale at which Cauchy's loss is that of least squares
UNKNOWNS = (
    Unknown(name="slope", start=0.5, low=-10.0, high=10.0),
    Unknown(name="unseen", start=10.0, low=0.1, high=60.0),
)


def rounded(unknown):
    """Return rows of a line whose last bits alone know the second unknown."""
    last_bits = np.sin(1e9 * unknown[1] * (2.0 + X)) * 4e-13
    return NOISE + X * (2.0 - unknown[0]) + last_bits


def test_an_unknown_that_only_rounding_errors_know_stays_at_its_start():
    value, _ = best(rounded, UNKNOWNS)

    assert value[0] == pytest.approx(2.0, abs=0.02)
    assert value[1] == pytest.approx(10.0, rel=1e-3)


def test_what_holds_a_search_does_not_draw_a_search_that_starts_again():
    exact = np.linalg.lstsq(X[:, None], NOISE + 2.0 * X, rcond=None)[0]
    loss = Loss(
        residuals=lambda unknown: NOISE + X * (2.0 - unknown[0]),
        scale=NO_OUTLIERS,
        low=np.array([-10.0]),
        high=np.array([10.0]),
        held=5.0,
    )

    once = loss.least(np.array([0.0]), free=[0])
    again = once
    for _ in range(10):
        again = loss.least(again, free=[0])

    assert once[0] < exact[0] - 0.1
    assert again[0] == pytest.approx(exact[0], rel=1e-4)


def test_slopes_are_the_derivatives_also_at_the_upper_bound():
    value = np.array([0.5, 3.0])

    found = slopes(lambda at: np.array([at[0] ** 3, at[0] * at[1]]), value, np.array([1.0, 3.0]))

    assert found == pytest.approx(np.array([[0.75, 0.0], [3.0, 0.5]]), rel=1e-5, abs=1e-8)
