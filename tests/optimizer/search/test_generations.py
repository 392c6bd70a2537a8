from dataclasses import replace

import numpy as np
import pytest

from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, Observed
from optimizer.search.generations import Generations
from optimizer.search.plan import Plan
from tests.optimizer.analytic import SMALL_BASELINE, SMALL_BOX, narrow
from tests.optimizer.observed import observed

PLAN = Plan(space=SMALL_BOX, baseline=SMALL_BASELINE, seed=5, weights=np.ones(3), population=8)


def _observed(generations, evaluate, n_generations):
    known = Observed(history=NO_HISTORY, components=NO_COMPONENTS)
    for _ in range(n_generations):
        values = generations.ask()
        outcome = observed(values, evaluate(values))
        generations.tell(outcome)
        known = known.followed_by(outcome)
    return known


def test_asking_again_before_telling_gives_the_same_generation():
    generations = Generations(PLAN)

    assert generations.ask().tobytes() == generations.ask().tobytes()


def test_a_restored_study_proposes_what_the_lasting_one_does():
    lasting = Generations(PLAN)
    known = _observed(lasting, narrow, 15)
    restored = Generations(PLAN)

    restored.tell(known)

    for _ in range(3):
        values = lasting.ask()
        assert restored.ask().tobytes() == values.tobytes()
        lasting.tell(observed(values, narrow(values)))
        restored.tell(observed(values, narrow(values)))


def test_parents_are_feasible_as_soon_as_enough_candidates_are():
    generations = Generations(PLAN)
    history = _observed(generations, narrow, 12).history
    assert (history.constraints <= 0.0).all(axis=1).sum() > 8

    parents = generations.parents

    assert len(set(parents.tolist())) == 8
    assert (history.constraints[parents] <= 0.0).all()


def test_the_search_finds_many_feasible_candidates_where_few_random_ones_are():
    rng = np.random.default_rng(13)
    random = SMALL_BOX.low + rng.random((2000, 3)) * (SMALL_BOX.high - SMALL_BOX.low)
    assert (narrow(random).constraints <= 0.0).all(axis=1).mean() < 0.03

    history = _observed(Generations(PLAN), narrow, 30).history

    assert (history.constraints[120:] <= 0.0).all(axis=1).mean() > 0.5


@pytest.mark.parametrize("n_objectives", [1, 4])
def test_other_numbers_of_objectives_are_refused(n_objectives):
    with pytest.raises(ValueError, match="2 or 3 objectives"):
        replace(PLAN, weights=np.ones(n_objectives))
