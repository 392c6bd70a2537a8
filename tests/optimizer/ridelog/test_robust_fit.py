from functools import partial

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from optimizer.ridelog.fits.robust_fit import Unknown, best, robust_fit

FACTS = {"title": "line", "time_s": np.arange(50.0), "residual_unit": "1", "block_rows": 10}
SLOPE = (Unknown(name="slope", start=0.5, low=-10.0, high=10.0),)
LINE = (*SLOPE, Unknown(name="offset", start=0.1, low=-10.0, high=10.0))


def fitted(x, y, unknowns=LINE):
    def residuals(unknown):
        offset = unknown[1] if len(unknown) > 1 else 0.0
        return y - unknown[0] * x - offset

    return robust_fit(residuals, unknowns, title="line", time_s=x, residual_unit="1", block_rows=10)


def test_the_interval_is_that_of_ordinary_least_squares_when_noise_is_white():
    random = np.random.default_rng(1)
    x = np.linspace(-1.0, 1.0, 4000)
    fit = fitted(x, 2.0 * x + 1.0 + random.normal(0.0, 0.3, len(x)))

    # Textbook: sigma / sqrt(sum of squares), 1.96 of them to either side; 5 % for the loss.
    expected = 1.96 * 0.3 / np.sqrt(np.sum(x**2))
    assert (fit.high[0] - fit.low[0]) / 2.0 == pytest.approx(expected, rel=0.2)


def test_outliers_do_not_move_the_fit():
    random = np.random.default_rng(2)
    x = np.linspace(-1.0, 1.0, 2000)
    y = 2.0 * x + random.normal(0.0, 0.1, len(x))
    y[::15] += 50.0

    assert fitted(x, y).estimate("slope")[0] == pytest.approx(2.0, abs=0.03)
    assert fitted(x, y).estimate("offset")[0] == pytest.approx(0.0, abs=0.02)


def test_two_numbers_that_act_alike_are_named():
    random = np.random.default_rng(3)
    x = np.linspace(10.0, 10.5, 2000)

    fit = fitted(x, 2.0 * x + random.normal(0.0, 0.1, len(x)))

    assert any("told apart" in text for text in fit.undetermined)


def test_a_number_that_the_rows_do_not_hold_is_named():
    x = np.zeros(500)

    fit = fitted(x, np.random.default_rng(4).normal(0.0, 0.1, len(x)), SLOPE)

    assert any(text.startswith("slope") for text in fit.undetermined)


def corrugated(start):
    """Return the fit of a number whose loss has a valley every 31 mm on its way down to zero."""
    noise = np.random.default_rng(0).normal(0.0, 1.0, 400)
    downhill = np.arange(400) % 2 == 0

    def residuals(unknown):
        return noise - np.where(downhill, unknown[0], 0.1 * np.sin(100.0 * unknown[0]))

    depth = (Unknown(name="depth_m", start=start, low=-5.0, high=5.0),)
    fit = robust_fit(
        residuals,
        depth,
        title="corrugated",
        time_s=np.arange(400.0),
        residual_unit="1",
        block_rows=10,
    )
    return fit, residuals


@pytest.mark.parametrize("start", [0.2, 1.0, 2.0])
def test_estimate_interval_and_residuals_are_of_one_valley_among_many(start):
    fit, residuals = corrugated(start)

    assert fit.low[0] <= fit.value[0] <= fit.high[0]
    np.testing.assert_array_equal(fit.residual, residuals(fit.value))


def test_a_search_that_does_not_come_to_rest_says_so():
    assert any(
        text.startswith("whether this is the best fit") for text in corrugated(2.0)[0].undetermined
    )


@pytest.mark.parametrize("fit", [partial(robust_fit, **FACTS), best])
def test_linear_algebra_keeps_to_one_thread(fit):
    noise = np.random.default_rng(6).normal(0.0, 0.1, 50)
    seen = set()

    def residuals(unknown):
        seen.update(
            library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"
        )
        return noise + np.linspace(-1.0, 1.0, 50) * (2.0 - unknown[0])

    with threadpool_limits(limits=2, user_api="blas"):
        fit(residuals, SLOPE)

    assert seen == {1}


def test_the_same_rows_give_the_same_fit():
    x = np.linspace(0.0, 1.0, 500)
    y = x + np.random.default_rng(5).normal(0.0, 0.1, len(x))

    np.testing.assert_array_equal(fitted(x, y).high, fitted(x, y).high)
