"""The plant's step of 1 ms is fine enough for every number that the example study reads."""

import pytest

from plant.kernel.metrics import METRIC_NAMES
from tests.benchmarks.step_size import changes


@pytest.fixture(scope="module")
def halved():
    return changes()


@pytest.mark.parametrize("metric", METRIC_NAMES)
def test_halving_the_step_changes_a_portfolio_metric_by_less_than_one_percent(halved, metric):
    whole, half = halved[metric]

    assert abs(whole - half) < 0.01 * abs(half)
