from dataclasses import replace

import numpy as np
import pytest

from optimizer.search.evaluation import Evaluation, checked

GOOD = Evaluation(
    objectives=np.ones((4, 3)),
    constraints=np.zeros((4, 2)),
    rides=np.zeros((4, 5, 2)),
)


def _with(array, place, value):
    spoilt = array.copy()
    spoilt[place] = value
    return spoilt


def test_a_good_evaluation_comes_back_in_the_stored_number_types():
    exact = checked(
        replace(GOOD, objectives=np.ones((4, 3), dtype=np.float32)), n_candidates=4, n_objectives=3
    )

    assert exact.objectives.dtype == np.float64
    assert exact.rides.dtype == np.float64


def test_a_missing_ride_metric_may_be_nan():
    spoilt = replace(GOOD, rides=_with(GOOD.rides, (1, 2, 0), np.nan))

    assert np.isnan(checked(spoilt, n_candidates=4, n_objectives=3).rides[1, 2, 0])


def test_objectives_of_a_candidate_that_breaks_a_constraint_and_is_rejected_early_may_be_unknown():
    constraints = _with(GOOD.constraints, (1, 1), 0.1)
    nothing = _with(GOOD.objectives, 1, np.nan)
    spoilt = replace(GOOD, objectives=nothing, constraints=constraints)

    found = checked(spoilt, n_candidates=4, n_objectives=3, may_reject=True)

    np.testing.assert_array_equal(found.objectives, nothing)
    one = replace(spoilt, objectives=_with(GOOD.objectives, (1, 2), np.nan))
    np.testing.assert_array_equal(
        checked(one, n_candidates=4, n_objectives=3, may_reject=True).objectives, one.objectives
    )
    for bad in (
        replace(spoilt, constraints=GOOD.constraints),
        replace(spoilt, objectives=_with(GOOD.objectives, 1, np.inf)),
    ):
        with pytest.raises(ValueError, match=r"objectives must be finite, got another .*\[1 0\]"):
            checked(bad, n_candidates=4, n_objectives=3, may_reject=True)
    with pytest.raises(ValueError, match="objectives must be finite"):
        checked(spoilt, n_candidates=4, n_objectives=3)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"objectives": np.ones((4, 2))}, r"objectives must be \(4, 3\)"),
        ({"objectives": np.ones((3, 3))}, r"objectives must be \(4, 3\)"),
        ({"constraints": np.ones(4)}, "constraints must have 2 axes"),
        ({"rides": np.ones((3, 5, 2))}, "rides must have 3 axes and 4 candidates"),
        ({"objectives": _with(GOOD.objectives, (2, 1), np.nan)}, r"objectives must be finite.*2 1"),
        ({"constraints": _with(GOOD.constraints, (0, 0), np.inf)}, "constraints must be finite"),
        ({"rides": _with(GOOD.rides, (3, 0, 0), np.inf)}, "rides must be finite"),
    ],
)
def test_a_bad_evaluation_is_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        checked(replace(GOOD, **changes), n_candidates=4, n_objectives=3)
