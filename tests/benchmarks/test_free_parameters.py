"""The benchmark of free parameters tells one that moves nothing from one that does."""

import numpy as np
import pytest

from optimizer.execution.evaluate import baseline_values
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.study.load import load_study
from tests.benchmarks.free_parameters import NUMBERS, effects, moved, table_of
from tests.optimizer.small_study import write_small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = write_small_study(
        tmp_path_factory.mktemp("free") / "study",
        (
            "hard_rides_h = 2.0",
            'hard_rides_h = 2.0\nfixed = ["inner_band_deg"]\n'
            "bounds.bus_warning_margin_v = [0.9, 1.1]",
        ),
    )
    return with_hard_rides(load_study(folder))


def test_each_parameter_goes_to_both_ends_alone():
    rows = moved(np.array([1.0, 2.0]), np.array([0.0, -1.0]), np.array([5.0, 6.0]))

    np.testing.assert_array_equal(rows, [[1, 2], [0, 2], [5, 2], [1, -1], [1, 6]])


def test_a_margin_that_no_ride_meets_is_free_and_a_stiffness_is_not(study):
    ratios = effects(study, baseline_values(study)[np.newaxis], n_draws=2)

    assert ratios.shape == (1, study.space.n_parameters, len(NUMBERS))
    table = table_of(study, ratios).set_index("parameter")
    assert table.loc["bus_warning_margin_v", "largest_effect_sd"] < 1.0
    assert table.loc["inner_gain_a_per_deg", "largest_effect_sd"] > 10.0
