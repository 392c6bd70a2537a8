"""Importance names the parameters that decide, also from candidates that a search has gathered."""

from itertools import product

import numpy as np
import pytest
from scipy.stats import sobol_indices, uniform

from objectives import OBJECTIVES
from optimizer.analysis.importance import importances
from optimizer.search.evaluation import History
from tests.benchmarks.bench_importance import searched
from tests.optimizer.analytic import (
    G_STAR_ACTIVE,
    N_PARAMETERS,
    UNIT_BOX,
    g_star,
    g_star_total_effects,
)


def ranked(found):
    """Return the places of an objective's parameters, the most important first, for each."""
    for name in OBJECTIVES:
        assert sum(found[name].values()) == pytest.approx(1.0)
        yield [UNIT_BOX.names.index(parameter) for parameter in found[name]]


@pytest.mark.parametrize("exponent", [1.0, 2.0])
def test_a_short_search_tells_the_most_important_parameter_of_each_objective(tmp_path, exponent):
    history = searched(tmp_path / "store", exponent=exponent, seed=1, n_candidates=480)

    first = [order[0] for order in ranked(importances(UNIT_BOX, history))]

    assert first == [active[0] for active in G_STAR_ACTIVE]


# In one of these 18 rankings an idle parameter comes second, with 6 % where the truth gives 11 %.
@pytest.mark.proof
def test_the_first_is_right_by_any_seed_and_hardly_an_idle_parameter_is_second(tmp_path):
    n_idle = 0
    for exponent, seed in product((1.0, 2.0), (1, 2, 3)):
        store = tmp_path / f"{exponent}_{seed}"
        history = searched(store, exponent=exponent, seed=seed, n_candidates=960)
        orders = ranked(importances(UNIT_BOX, history))
        for order, active in zip(orders, G_STAR_ACTIVE, strict=True):
            assert order[0] == active[0]
            n_idle += order[1] not in active

    assert n_idle <= 1


@pytest.mark.parametrize("exponent", [1.0, 2.0])
def test_the_importance_of_the_test_function_is_that_of_another_package(exponent):
    expected = g_star_total_effects(exponent=exponent)

    found = sobol_indices(
        func=lambda points: g_star(points.T, exponent=exponent).objectives.T,
        n=2**14,
        dists=[uniform(loc=0.0, scale=1.0)] * N_PARAMETERS,
        rng=np.random.default_rng(8),
    ).total_order

    for effects, active in zip(found, G_STAR_ACTIVE, strict=True):
        np.testing.assert_allclose(effects[list(active)], expected, atol=0.02)
        assert np.delete(effects, active) == pytest.approx(0.0, abs=1e-9)


def random_candidates(n_candidates):
    values = np.random.default_rng(6).uniform(size=(n_candidates, N_PARAMETERS))
    outcome = g_star(values, exponent=2.0)
    return History(values=values, objectives=outcome.objectives, constraints=outcome.constraints)


def test_the_same_candidates_have_the_same_importance():
    history = random_candidates(300)

    assert importances(UNIT_BOX, history) == importances(UNIT_BOX, history)


def test_what_fails_a_constraint_has_no_say():
    history = random_candidates(400)
    failing = (history.constraints > 0.0).any(axis=1)
    objectives = history.objectives.copy()
    objectives[failing] = 1e6 * history.values[failing, :3]
    spoiled = History(values=history.values, objectives=objectives, constraints=history.constraints)

    assert failing.any()
    assert importances(UNIT_BOX, spoiled) == importances(UNIT_BOX, history)


def test_too_few_candidates_have_no_importance():
    assert importances(UNIT_BOX, random_candidates(29)) == {name: {} for name in OBJECTIVES}
