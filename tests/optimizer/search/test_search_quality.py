import numpy as np
import pytest

from optimizer.execution.store import Store
from optimizer.search import loop
from optimizer.search.pareto import hypervolume
from optimizer.search.plan import Plan
from tests.benchmarks.search_linear import chain, pendulum
from tests.benchmarks.search_peers import METHODS, OURS
from tests.benchmarks.search_problems import PROBLEMS
from tests.benchmarks.search_runs import Recorder
from tests.optimizer.analytic import N_PARAMETERS, UNIT_BOX, dtlz2, zdt1

SEEDS = [1, pytest.param(2, marks=pytest.mark.proof)]


def _searched(evaluate, plan, folder, *, n_candidates):
    with Store(folder / f"{plan.seed}.sqlite") as store:
        return loop.run(evaluate, plan, store, n_candidates=n_candidates).history


# Volumes below 1.1 in each objective, by integrating the known fronts. The shares are what every
# seed tried reaches with room to spare; they catch a search that gets worse.
@pytest.mark.parametrize(
    ("evaluate", "volume", "n_objectives", "least_share"),
    [(zdt1, 1.1**2 - 1 / 3, 2, 0.7), (dtlz2, 1.1**3 - np.pi / 6, 3, 0.7)],
    ids=["zdt1", "dtlz2"],
)
@pytest.mark.parametrize("seed", SEEDS)
def test_a_small_search_covers_most_of_a_known_front(
    tmp_path, evaluate, volume, n_objectives, least_share, seed
):
    plan = Plan(
        space=UNIT_BOX,
        baseline=np.full(N_PARAMETERS, 0.3),
        seed=seed,
        weights=np.ones(n_objectives),
    )

    history = _searched(evaluate, plan, tmp_path, n_candidates=960)

    reached = hypervolume(history.objectives, [1.1] * n_objectives)

    assert least_share < reached / volume <= 1.0


# The optimum is scipy's, from the discrete Riccati equation.
@pytest.mark.slow
@pytest.mark.parametrize("seed", [*SEEDS, pytest.param(3, marks=pytest.mark.proof)])
@pytest.mark.parametrize("name", ["pendulum", "chain"])
def test_the_lowest_weighted_cost_is_within_two_percent_of_the_riccati_optimum(name, seed):
    problem = PROBLEMS[name](1, "cpu")
    recorder = Recorder(problem, n_wanted=2016)

    METHODS[OURS].search(recorder, problem, seed=seed, known=problem.baseline[None, :])

    assert 0.0 <= problem.quality(recorder.run().found(2016), np.empty((0, 3))) < 2.0


def test_the_riccati_gains_of_the_pendulum_are_those_of_the_michigan_tutorial():
    gains, _ = pendulum().optimum

    np.testing.assert_allclose(gains[0], [-61.9933, -33.5040, 95.0597, 18.8300], atol=1e-4)


@pytest.mark.parametrize("plant", [pendulum(), chain()], ids=["pendulum", "chain"])
def test_the_riccati_gains_cost_the_optimum_and_every_neighbour_more(plant):
    gains = plant.optimum[0].ravel()
    steps = np.diag(0.01 * np.ptp(np.stack([plant.gain_low, plant.gain_high]), axis=0))

    at_optimum = plant.evaluate(gains[None, :]).objectives.sum()
    beside = plant.evaluate(np.vstack([gains + steps, gains - steps])).objectives.sum(axis=1)

    assert at_optimum == pytest.approx(1.0, abs=1e-9)
    assert (beside > 1.0).all()
    assert ((gains > plant.gain_low) & (gains < plant.gain_high)).all()
