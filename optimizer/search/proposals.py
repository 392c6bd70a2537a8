"""The candidates of one generation, a pure function of the seed, the generation and the history.

No generator lives from one generation to the next: each starts from (study seed, generation), which
is what makes a resumed study propose exactly what the uninterrupted one proposes.
"""

import functools
from collections.abc import Callable, Set
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from objectives import weighted_cost
from objectives.portfolio import weighted_sum
from optimizer.search.cost_descent import lowest_cost_points
from optimizer.search.deduplicate import keys, unseen
from optimizer.search.evaluation import BASELINE, History, Observed
from optimizer.search.initial_design import known_and_spread, pre_feasible
from optimizer.search.pareto import non_dominated
from optimizer.search.plan import Plan
from optimizer.search.ranking import allowed_first
from optimizer.search.screening import screen
from optimizer.search.space import from_unit, on_grid, to_unit, unit_on_grid
from optimizer.search.surrogate import compared_by_ratio, fitted
from optimizer.search.variation import children
from plant.arrays import Floats, Indices

_Number = TypeVar("_Number", np.float64, np.bool_)

_CONTRAST = 3  # power of the random weights
_MOST_PARTS = 4  # of a brood, spread over threads
_TRIED = 4  # children for each that is evaluated as it comes


def propose(
    plan: Plan, generation: int, *, observed: Observed, parents: Indices, n_jobs: int = 1
) -> Floats:
    """Return the candidates of a generation.

    Parameters
    ----------
    plan : Plan
    generation : int
        0 is the first.
    observed : Observed
        Of all candidates of the generations before; empty for the first.
    parents : (parent,) int
        Numbers of the candidates that breed, the best first; none where nothing is observed. Not
        used for the first generations, which ride what is known.
    n_jobs : int
        Threads; how many changes nothing.

    Returns
    -------
    (`plan.population`, parameter) float64
        Values on the grid of the space, but for the baseline and the profiles to start from.
    """
    rng = np.random.default_rng(np.random.SeedSequence(plan.seed, spawn_key=(generation,)))
    if not len(parents) or generation * plan.population <= len(plan.start):
        return known_and_spread(plan, generation, rng)
    with ThreadPoolExecutor(n_jobs) as executor:
        threads = _Threads(executor=executor, n_parts=min(n_jobs, _MOST_PARTS))
        bred = _bred(plan, observed, parents=parents, rng=rng, threads=threads)
        # On the grid already; here they become the very numbers that its decimals are read as.
        return on_grid(plan.space, from_unit(plan.space, bred))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Threads:
    executor: Executor
    n_parts: int

    def over(
        self, function: Callable[[Floats], NDArray[_Number]], pool: Floats
    ) -> NDArray[_Number]:
        """Return a function of each row of a pool, worked out part by part."""
        parts: list[Floats] = np.array_split(pool, self.n_parts)
        return np.concatenate([*self.executor.map(function, parts)])


def _bred(
    plan: Plan,
    observed: Observed,
    *,
    parents: Indices,
    rng: np.random.Generator,
    threads: _Threads,
) -> Floats:
    """Return a generation in the unit cube: some children as they come, the others predicted."""
    operators, population = plan.operators, plan.population
    history = observed.history
    points = to_unit(plan.space, history.values)
    known = keys(points)
    brood = _fresh_brood(plan, points[parents], known=known, rng=rng)
    screens = len(history) >= operators.screened_from
    n_screened = round(population * operators.screened_share) if screens else 0
    plain, rest = _plain(plan, brood, n=population - n_screened)
    if n_screened and len(rest):
        predicted = _predicted(
            plan, observed, points, rest, known=known, n=n_screened, rng=rng, threads=threads
        )
        plain = np.vstack([plain, predicted])
    # Only a collapsed population breeds too few new points; fresh blood is what it needs.
    strangers = rng.random((population - len(plain), points.shape[1]))
    return np.vstack([plain, unit_on_grid(plan.space, strangers)])


def _plain(plan: Plan, brood: Floats, *, n: int) -> tuple[Floats, Floats]:
    """Return the first `n` of a brood that may ride, and the rest."""
    head = brood[: _TRIED * n]
    tried = head[allowed_first(pre_feasible(plan, head))]
    return tried[:n], np.vstack([tried[n:], brood[len(head) :]])


def _predicted(
    plan: Plan,
    observed: Observed,
    points: Floats,
    brood: Floats,
    *,
    known: Set[bytes],
    n: int,
    rng: np.random.Generator,
    threads: _Threads,
) -> Floats:
    """Return the children that surrogates predict best: for the lowest cost, and for the front."""
    operators, history = plan.operators, observed.history
    latest = slice(max(0, len(points) - operators.surrogate_points), None)
    generation = len(history) // plan.population
    fitting = threads.executor.submit(
        fitted,
        points[latest],
        observed.rows(latest.start, len(points)),
        composite=plan.composite,
        deviations=operators.deviations[generation % len(operators.deviations)],
    )
    [own_rng] = rng.spawn(1)
    finding = threads.executor.submit(_cheapest, plan, history, points, known=known, rng=own_rng)
    predict, found = fitting.result(), finding.result()
    cheapest = found[pre_feasible(plan, found)]
    taken = known | keys(cheapest)

    screened = screen(
        brood,
        predict=functools.partial(threads.over, predict),
        pre_feasible_of=functools.partial(threads.over, functools.partial(pre_feasible, plan)),
        breed=lambda elite: _fresh_brood(plan, elite, known=taken | keys(elite), rng=rng),
        front=history.objectives[non_dominated(history.objectives, history.constraints)],
        n_broods=operators.broods,
        n_kept=operators.kept_factor * plan.population,
        n_chosen=n - len(cheapest),
    )
    return np.vstack([cheapest, screened])


def _cheapest(
    plan: Plan, history: History, points: Floats, *, known: Set[bytes], rng: np.random.Generator
) -> Floats:
    """Return a few points of the lowest weighted costs; none before the front has taken shape.

    One cost is that of the plan's weights. The others weigh the objectives by chance, mostly one
    far above the rest, and lengthen the front at its ends (after Knowles 2006, IEEE Trans.
    Evolutionary Computation 10(1): 50-66).
    """
    found = points[:0]
    if len(history) < plan.descent.starts_from:
        return found
    drawn = rng.exponential(size=(plan.descent.draws, history.objectives.shape[1]))
    by_ratio = compared_by_ratio(history.objectives, history.constraints)
    baseline = history.objectives[BASELINE]
    unit = np.where(baseline > 0.0, baseline, 1.0)
    own = weighted_cost(history.objectives, unit, plan.weights), plan.descent.neighbours
    others = (
        (weighted_sum(by_ratio, weights**_CONTRAST), plan.descent.drawn_neighbours)
        for weights in drawn
    )
    for cost, neighbours in (own, *others):
        reached = lowest_cost_points(
            points,
            cost,
            history.constraints,
            known=known | keys(found),
            n_points=round(plan.population * plan.descent.share),
            neighbours=neighbours,
            rng=rng,
            descent=plan.descent,
            settled=functools.partial(unit_on_grid, plan.space),
        )
        found = np.vstack([found, reached])
    return found


def _fresh_brood(
    plan: Plan, parents: Floats, *, known: Set[bytes], rng: np.random.Generator
) -> Floats:
    """Return children of the parents on the grid, whose keys are not known."""
    bred = children(
        parents,
        n_children=plan.operators.brood_factor * plan.population,
        rng=rng,
        operators=plan.operators,
    )
    brood = unit_on_grid(plan.space, bred)
    return brood[unseen(brood, known)]
