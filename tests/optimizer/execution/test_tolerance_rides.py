"""Candidates of the front ride boards and riders of their tolerances, where a fall is nearest."""

import dataclasses

import numpy as np
import pytest

from objectives import CONSTRAINT_NAMES
from optimizer.execution import tolerance_rides
from optimizer.execution.evaluate import baseline_values, whole_profiles
from optimizer.execution.tolerance_rides import hardest_tolerance_rides, with_tolerances
from optimizer.riding_day.weak_profiles import ridden_nearness, weakened
from optimizer.search.evaluation import Evaluation
from optimizer.study.load import load_study
from optimizer.study.tolerance_draws import drawn_rides
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate
from tests.optimizer.small_study import STEEP, write_small_study

TOLERANCES = CONSTRAINT_NAMES.index("tolerances")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return load_study(write_small_study(tmp_path_factory.mktemp("drawn"), *STEEP))


@pytest.fixture(scope="module")
def rides(study):
    return hardest_tolerance_rides(study, n_jobs=2)


def unasked(values):
    """Return an evaluation in which nothing is broken."""
    return Evaluation(
        objectives=np.zeros((len(values), 3)),
        constraints=np.full((len(values), len(CONSTRAINT_NAMES)), -1.0),
        rides=np.zeros((len(values), 1, 1)),
    )


def test_of_each_ride_the_draws_are_kept_in_which_weakened_profiles_are_nearest_to_a_fall(
    study, rides
):
    weak = weakened(profile_to_array(study.baseline))
    every = drawn_rides(study, 32, "reevaluation")
    kept = {ride.noise_seed for ride in rides}
    near = ridden_nearness(simulate(weak, every, n_jobs=2)).mean(axis=0)
    is_kept = np.array([ride.noise_seed in kept for ride in every])
    name = np.array([ride.name for ride in every])

    assert len(rides) == is_kept.sum() == 4 * len(study.rides)
    for one in study.rides:
        own = name == one.name
        assert (is_kept & own).sum() == 4
        assert near[is_kept & own].min() >= near[~is_kept & own].max()
    assert len({ride.board for ride in rides}) > 4
    assert [ride.noise_seed for ride in hardest_tolerance_rides(study)] == [
        ride.noise_seed for ride in rides
    ]


def test_of_many_rides_the_hardest_are_kept(study, rides, monkeypatch):
    monkeypatch.setattr(tolerance_rides, "_N_RIDES", 5)

    few = hardest_tolerance_rides(study)

    assert len(few) == 5
    assert {ride.noise_seed for ride in few} < {ride.noise_seed for ride in rides}


def test_nose_downs_are_counted_whatever_rides_beside(study, rides):
    low, high = study.space.low, study.space.high
    share = np.random.default_rng(3).uniform(size=(6, study.space.n_parameters))
    values = np.vstack([baseline_values(study), low + share * (high - low)])

    found = with_tolerances(unasked, study, n_jobs=2)(values).constraints

    outcome = simulate(whole_profiles(study, values), rides, n_jobs=2).outcome
    np.testing.assert_array_equal(found[:, TOLERANCES], (outcome == Outcome.NOSE_DOWN).sum(axis=1))
    assert found[:, TOLERANCES].max() > found[:, TOLERANCES].min()
    assert (np.delete(found, TOLERANCES, axis=1) == -1.0).all()
    alone = with_tolerances(unasked, study, n_jobs=1)(values[3:4]).constraints
    np.testing.assert_array_equal(alone[0], found[3])


def test_without_tolerances_nothing_is_asked(study):
    sure = dataclasses.replace(study, tolerances=())

    found = with_tolerances(unasked, sure, n_jobs=1)(baseline_values(sure)[None, :])

    assert hardest_tolerance_rides(sure) == []
    assert found.constraints[0, TOLERANCES] == -1.0
