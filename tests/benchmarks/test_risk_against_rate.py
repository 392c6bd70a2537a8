"""The search by graded risk is the search of the study but for its third objective."""

import numpy as np
import pytest

from objectives import RIDE_COLUMNS
from objectives.portfolio import blend
from optimizer.execution.evaluate import baseline_values, make_evaluate
from optimizer.execution.hard_rides import with_hard_rides
from optimizer.search.space import from_unit
from optimizer.study.load import load_study
from tests.benchmarks.front_quality import Judged, dominated, judged_table
from tests.benchmarks.graded_risk import evaluate_by_risk, graded_risk
from tests.benchmarks.risk_against_rate import main
from tests.optimizer.small_study import STEEP, write_small_study


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_small_study(tmp_path_factory.mktemp("small"), *STEEP)


@pytest.fixture(scope="module")
def study(folder):
    return with_hard_rides(load_study(folder))


@pytest.fixture(scope="module")
def values(study):
    random = np.random.default_rng(2).random((12, study.space.n_parameters))
    return np.vstack([baseline_values(study), from_unit(study.space, random)])


def test_only_the_third_objective_differs(study, values):
    by_rate = make_evaluate(study)(values)
    by_risk = evaluate_by_risk(study, (), n_jobs=1)(values)

    n_own, n_without_hard = len(study.rides), len(study.rides) + len(study.handling)
    assert by_risk.rides.shape[1] == n_without_hard < by_rate.rides.shape[1]
    np.testing.assert_array_equal(by_risk.rides, by_rate.rides[:, :n_without_hard])
    np.testing.assert_array_equal(by_risk.constraints, by_rate.constraints)
    np.testing.assert_array_equal(by_risk.objectives[:, :2], by_rate.objectives[:, :2])
    risk = by_rate.rides[:, :n_own, RIDE_COLUMNS.index("nose_down_risk")]
    expected = blend(risk, study.ride_weights, tail_share=0.2, tail_weight=0.5)
    np.testing.assert_allclose(by_risk.objectives[:, 2], expected)


def test_objectives_made_of_observed_rides_are_those_that_were_observed(study, values):
    outcome = evaluate_by_risk(study, (), n_jobs=1)(values)
    own = outcome.rides[:, : len(study.rides)]
    ridden = (own[:, :, RIDE_COLUMNS.index("outcome")] == 0.0).all(axis=1)
    composite = graded_risk(study)

    objectives, _ = composite.whole(composite.components(outcome))

    assert ridden.any()
    np.testing.assert_allclose(objectives[ridden], outcome.objectives[ridden])


def test_risk_is_not_known_of_candidates_that_were_rejected_early(study, values):
    outcome = evaluate_by_risk(study, (0, 1, 2, 3, 4, 5), n_jobs=1)(values)

    rejected = np.isnan(outcome.rides[:, :, RIDE_COLUMNS.index("outcome")]).any(axis=1)
    assert rejected.any()
    np.testing.assert_array_equal(np.isnan(outcome.objectives).any(axis=1), rejected)
    assert (outcome.constraints[rejected] > 0.0).any(axis=1).all()


def test_a_member_is_dominated_by_one_that_is_better_and_nowhere_worse():
    points = np.array([[1.0, 2.0, 3.0], [1.0, 1.0, 1.0], [0.0, 9.0, 9.0]])
    other = np.array([[1.0, 2.0, 2.0], [1.0, 1.0, 1.0]])

    assert dominated(points, other).tolist() == [True, False, False]


def test_the_front_with_fewer_nose_downs_has_the_larger_volume():
    held = np.array([[1.0, 3.0], [2.0, 2.0], [3.0, 1.0]])
    many = Judged(n_all=9, held=held, n_down=np.full(3, 8.0), rates=np.full((4, 3), 2.0))
    few = Judged(n_all=5, held=held, n_down=np.full(3, 2.0), rates=np.full((4, 3), 0.5))

    rows = [line.strip("| ").split(" | ") for line in judged_table(
        {"old": many, "new": few}, "seed 1").splitlines()]  # fmt: skip

    assert rows[0] == ["seed 1", "old", "new"]
    assert rows[2][1:] == ["3 (9)", "3 (5)"]
    assert rows[3][1:] == ["8.0", "2.0"]
    assert rows[5][2].startswith("1.00 ")
    assert float(rows[5][1][:4]) < 1.0
    assert rows[6][1:] == ["0 %", "100 %"]
    assert rows[7][1:] == ["3 of 3", "0 of 3"]


def test_the_command_compares_two_searches_and_goes_on(folder, tmp_path, monkeypatch):
    asked = [str(folder), "--candidates", "24", "--hours", "1", "--hardest", "0.05"]
    asked += ["--members", "3", "--threads", "1", "--out", str(tmp_path)]

    first = main(asked)

    kept = {path.name: path.stat().st_mtime_ns for path in tmp_path.glob("*.sqlite")}
    assert sorted(kept) == ["graded_risk_1.sqlite", "nose-down_rate_1.sqlite"]
    assert "| graded risk | nose-down rate |" in first

    def ridden_again(*_args, **_options):
        raise AssertionError("what is stored must not be ridden again")

    monkeypatch.setattr("tests.benchmarks.graded_risk.evaluated", ridden_again)
    assert main(asked) == first
