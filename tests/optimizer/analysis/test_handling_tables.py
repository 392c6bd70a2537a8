"""How a candidate handles stands beside the baseline, on the same noise."""

import dataclasses

import numpy as np
import pytest

from objectives.handling import HANDLING_NAMES
from optimizer.analysis.comparison import compared
from optimizer.analysis.handling_tables import handling_tables
from optimizer.analysis.results import read_results
from optimizer.execution.baseline_handling import baseline_handling
from optimizer.execution.evaluate import whole_profiles
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study


@pytest.fixture(scope="module")
def results(finished):
    return read_results(load_study(finished))


def test_a_row_a_number_and_the_difference_is_that_of_the_riders(results):
    (table,) = handling_tables(results, [results.picks["balanced"]])

    assert list(table["handling"]) == list(HANDLING_NAMES)
    np.testing.assert_array_equal(table["difference"], table["heaviest"] - table["lightest"])


def test_the_baseline_is_like_itself(results):
    (table,) = handling_tables(results, [BASELINE])

    for rider in ("lightest", "heaviest"):
        np.testing.assert_array_equal(table[rider], table[f"baseline_{rider}"])


def test_the_baseline_is_as_asked_where_likeness_to_it_is(results):
    assert results.reevaluated[BASELINE]
    settings = dataclasses.replace(results.study.settings, like_baseline_percent=1.0, handling={})
    strict = dataclasses.replace(
        results, study=dataclasses.replace(results.study, settings=settings)
    )

    baseline, other = handling_tables(strict, [BASELINE, results.picks["balanced"]])

    assert baseline["as_asked"].all()
    assert not other["as_asked"].all()


def test_the_baseline_beside_a_candidate_is_that_of_its_noise(results):
    left = int(np.flatnonzero(~results.reevaluated)[0])
    (table,) = handling_tables(results, [left])

    searched = baseline_handling(results.study)

    np.testing.assert_array_equal(table["baseline_lightest"], searched[:, 0])
    np.testing.assert_array_equal(table["baseline_heaviest"], searched[:, 1])


def test_a_pick_handles_as_a_comparison_says(results):
    number = results.picks["balanced"]
    (table,) = handling_tables(results, [number])
    profile = whole_profiles(results.study, results.history.values[[number]])

    found = compared(results.study, ["pick"], profile).handling_table

    for rider in ("lightest", "heaviest"):
        there = found.loc[found["rider"] == rider, "pick"]
        np.testing.assert_array_equal(table[rider], there)
