"""What a candidate is compared with was ridden on the same noise."""

import numpy as np
import pytest

from objectives import OBJECTIVES
from optimizer.analysis.candidate_tables import candidate_tables
from optimizer.analysis.results import read_results
from optimizer.reports.profile_export import content
from optimizer.search.evaluation import BASELINE
from optimizer.study.load import load_study


@pytest.fixture(scope="module")
def results(finished):
    return read_results(load_study(finished))


@pytest.mark.parametrize("reevaluated", [True, False])
def test_the_baseline_beside_a_candidate_is_that_of_its_noise(results, reevaluated):
    known = np.isfinite(results.history.objectives).all(axis=1)
    number = int(np.flatnonzero(known & (results.reevaluated == reevaluated))[-1])
    noise = results.history if reevaluated else results.searched

    table = candidate_tables(results, number)["objectives"]
    exported = content(results, number)["baseline_objectives"]

    expected = dict(zip(OBJECTIVES, noise.objectives[BASELINE].tolist(), strict=True))
    assert dict(zip(table["objective"], table["baseline"], strict=True)) == expected
    assert exported == expected
    assert not np.array_equal(
        results.history.objectives[BASELINE], results.searched.objectives[BASELINE]
    )
