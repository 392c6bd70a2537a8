import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optimizer.search.composite import DirectObjectives
from optimizer.search.evaluation import NO_COMPONENTS, NO_HISTORY, Observed
from optimizer.search.generations import Generations
from optimizer.search.plan import Plan
from optimizer.search.proposals import propose
from optimizer.search.space import from_unit, on_grid, to_unit
from optimizer.search.variation import Operators
from tests.optimizer.analytic import SMALL_BASELINE, SMALL_BOX, UNIT_BOX, dtlz2, narrow
from tests.optimizer.observed import observed

ROOT = Path(__file__).parents[3]
PLAN = Plan(space=SMALL_BOX, baseline=SMALL_BASELINE, seed=5, weights=np.ones(3))
NOTHING = Observed(history=NO_HISTORY, components=NO_COMPONENTS)


def _first(plan=PLAN):
    return propose(plan, 0, observed=NOTHING, parents=np.empty(0, dtype=np.intp))


def _known(values):
    return observed(values, narrow(values))


def test_the_first_candidate_is_the_baseline_bit_by_bit():
    assert _first()[0].tolist() == SMALL_BASELINE.tolist()


def test_all_that_is_proposed_lies_on_the_grid_but_the_baseline():
    baseline = np.array([4.0123456, 12.5, 0.3])
    plan = replace(PLAN, baseline=baseline, population=12)
    generations = Generations(plan)

    for number in range(8):
        values = generations.ask()
        typed = values[1:] if number == 0 else values
        np.testing.assert_array_equal(on_grid(SMALL_BOX, typed), typed)
        assert max(len(repr(value)) for value in typed.ravel().tolist()) <= len("-0.998")
        assert len(np.unique(values, axis=0)) == 12
        generations.tell(_known(values))


def test_a_third_of_the_first_generation_lies_about_the_baseline():
    unit = to_unit(SMALL_BOX, _first())
    centre = to_unit(SMALL_BOX, SMALL_BASELINE)

    copies = unit[1:17] - centre

    assert np.abs(copies).max() < 0.45
    assert 0.05 < copies.std() < 0.15


def test_the_rest_of_the_first_generation_spreads_over_every_parameter():
    spread = to_unit(SMALL_BOX, _first())[17:]

    for column in spread.T:
        counts, _ = np.histogram(column, bins=4, range=(0.0, 1.0))
        assert (counts >= 6).all()


class HalfMayRide(DirectObjectives):
    """A limit of which no ride is needed to know: half of the first parameter's range."""

    middle = from_unit(SMALL_BOX, np.full((1, SMALL_BOX.n_parameters), 0.5))[0, 0]

    def pre_feasible(self, values):
        return values[:, 0] <= self.middle


def test_no_candidate_is_proposed_that_breaks_a_simulation_free_constraint():
    plan = replace(PLAN, composite=HalfMayRide())
    ridden = [_first(plan)]
    for generation in range(1, 5):
        known = _known(np.vstack(ridden))
        ridden.append(propose(plan, generation, observed=known, parents=np.arange(12)))

    free = _first()
    assert (free[:, 0] > HalfMayRide.middle).any()
    for values in ridden:
        assert values.shape == free.shape
        assert (values[:, 0] <= HalfMayRide.middle).all()


def test_the_pre_feasible_ones_of_the_first_generation_are_as_without_limits():
    bound, free = _first(replace(PLAN, composite=HalfMayRide())), _first()

    may = free[:, 0] <= HalfMayRide.middle
    kept = {row.tobytes() for row in free[may]}
    assert len(kept & {row.tobytes() for row in bound}) > len(kept) // 2


def test_profiles_to_start_from_fill_as_many_generations_as_they_need():
    start = from_unit(SMALL_BOX, np.random.default_rng(3).random((10, 3)))
    plan = replace(PLAN, population=4, start=start)
    nobody = np.empty(0, dtype=np.intp)

    ridden = np.vstack(
        [propose(plan, number, observed=NOTHING, parents=nobody) for number in range(3)]
    )

    np.testing.assert_array_equal(ridden[0], SMALL_BASELINE)
    np.testing.assert_array_equal(ridden[1:11], start)
    assert ridden.shape == (12, 3)
    known = _known(ridden)
    bred = propose(plan, 3, observed=known, parents=np.arange(4))
    assert not {row.tobytes() for row in bred} & {row.tobytes() for row in ridden}


@pytest.mark.parametrize("population", [4, 5, 17, 48])
def test_every_generation_has_the_whole_population(population):
    plan = replace(PLAN, population=population)
    values = _first(plan)
    known = _known(values)

    children = propose(plan, 1, observed=known, parents=np.arange(population))

    assert values.shape == children.shape == (population, 3)
    assert ((values >= SMALL_BOX.low) & (values <= SMALL_BOX.high)).all()
    assert ((children >= SMALL_BOX.low) & (children <= SMALL_BOX.high)).all()


def test_a_proposal_depends_on_seed_generation_and_history_only():
    known = _known(np.vstack([_first(), _first(replace(PLAN, seed=6))]))
    parents = np.arange(48)

    once = propose(PLAN, 2, observed=known, parents=parents)
    propose(PLAN, 3, observed=known, parents=parents)
    again = propose(PLAN, 2, observed=known, parents=parents)

    assert once.tobytes() == again.tobytes()
    assert once.tobytes() != propose(PLAN, 3, observed=known, parents=parents).tobytes()
    other = replace(PLAN, seed=6)
    assert once.tobytes() != propose(other, 2, observed=known, parents=parents).tobytes()


def test_no_profile_is_proposed_twice_even_by_a_collapsed_population():
    known = _known(_first())
    still = replace(PLAN, operators=Operators(mutation_probability=0.0))

    values = propose(still, 1, observed=known, parents=np.zeros(8, dtype=np.intp))

    everything = np.vstack([known.history.values, values])
    assert len(np.unique(everything, axis=0)) == len(everything)


def test_a_population_that_breeds_nothing_new_gets_strangers():
    plan = replace(PLAN, operators=Operators(mutation_probability=0.0, redrawn_share=0.0))
    one = _known(np.tile(SMALL_BASELINE, (48, 1)))

    values = propose(plan, 1, observed=one, parents=np.arange(48))

    assert to_unit(SMALL_BOX, values).std(axis=0).min() > 0.2


def test_screened_children_are_better_than_plain_ones():
    rng = np.random.default_rng(12)
    near = SMALL_BOX.low + rng.random((480, 3)) * (SMALL_BOX.high - SMALL_BOX.low)
    known = _known(near)
    parents = np.argsort(np.maximum(known.history.constraints, 0.0).sum(axis=1))[:48]
    share = {}

    for screened_share in (0.0, 1.0):
        plan = replace(PLAN, operators=Operators(screened_share=screened_share))
        outcome = narrow(propose(plan, 10, observed=known, parents=parents))
        share[screened_share] = (outcome.constraints <= 0.0).all(axis=1).mean()

    assert share[1.0] > share[0.0] + 0.2


def test_a_few_candidates_of_a_generation_follow_the_weights():
    rng = np.random.default_rng(13)
    values = SMALL_BOX.low + rng.random((480, 3)) * (SMALL_BOX.high - SMALL_BOX.low)
    known = _known(values)
    parents = np.arange(48)

    alike, another = (
        propose(replace(PLAN, weights=np.array(weights)), 10, observed=known, parents=parents)
        for weights in ([1.0, 1.0, 1.0], [1.0, 0.0, 0.0])
    )

    n_sought = round(48 * PLAN.descent.share)
    differ = (alike != another).any(axis=1)
    assert differ.sum() == n_sought == 3
    first = [narrow(values[differ]).objectives[:, 0].mean() for values in (alike, another)]
    assert first[1] < first[0]


def test_screening_waits_for_enough_candidates():
    known = _known(_first())
    screened, plain = (
        replace(PLAN, operators=Operators(screened_share=share)) for share in (0.75, 0.0)
    )

    with_screen, without = (
        propose(plan, 1, observed=known, parents=np.arange(48)) for plan in (screened, plain)
    )

    assert with_screen.tobytes() == without.tobytes()


@pytest.mark.parametrize("n_jobs", [2, 5])
def test_a_proposal_does_not_depend_on_how_many_threads_work_on_it(n_jobs):
    values = np.random.default_rng(14).random((720, 25))
    known = observed(values, dtlz2(values))
    plan = Plan(space=UNIT_BOX, baseline=values[0], seed=1, weights=np.ones(3))

    alone, shared = (
        propose(plan, 15, observed=known, parents=np.arange(48), n_jobs=jobs)
        for jobs in (1, n_jobs)
    )

    assert shared.tobytes() == alone.tobytes()


def test_a_proposal_does_not_depend_on_the_threads_of_the_linear_algebra():
    code = (
        "import hashlib, numpy as np\n"
        "from optimizer.search.proposals import Plan, propose\n"
        "from tests.optimizer.analytic import UNIT_BOX, dtlz2\n"
        "from tests.optimizer.observed import observed\n"
        "values = np.random.default_rng(11).random((720, 25))\n"
        "known = observed(values, dtlz2(values))\n"
        "plan = Plan(space=UNIT_BOX, baseline=values[0], seed=1, weights=np.ones(3))\n"
        "proposed = propose(plan, 15, observed=known, parents=np.arange(48))\n"
        "print(hashlib.sha256(proposed.tobytes()).hexdigest())\n"
    )

    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env={**os.environ, "OPENBLAS_NUM_THREADS": threads, "PYTHONPATH": str(ROOT)},
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for threads in ("1", "2")
    }

    assert len(digests) == 1


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"population": 3}, "at least 4 candidates, got 3"),
        ({"seed": -1}, "0 or above, got -1"),
        ({"baseline": np.zeros(2)}, "needs 3 values"),
        ({"baseline": np.array([4.0, 2000.0, 0.0])}, "rate_hz: the baseline must lie from 0.1"),
        ({"baseline": np.array([np.nan, 1.0, 0.0])}, "gain_a_per_deg: the baseline must lie"),
    ],
)
def test_an_impossible_plan_is_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        replace(PLAN, **changes)
