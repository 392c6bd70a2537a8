"""The candidates of one generation, a pure function of the seed, the generation and the history.

No generator lives from one generation to the next: each starts from (study seed, generation), which
is what makes a resumed study propose exactly what the uninterrupted one proposes.
"""

import functools
from collections.abc import Callable, Set
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc
from threadpoolctl import ThreadpoolController

from objectives import weighted_cost
from optimizer.search.composite import UNDIVIDED, Composition
from optimizer.search.cost_descent import Descent, lowest_cost_points
from optimizer.search.evaluation import BASELINE, History, Told
from optimizer.search.pareto import non_dominated
from optimizer.search.ranking import allowed_first
from optimizer.search.screening import screen
from optimizer.search.space import Space, clip, from_unit, to_unit
from optimizer.search.surrogate import compared_by_ratio, fitted, keys, unseen
from optimizer.search.variation import Operators, children

_CONTRAST = 3  # power of the drawn weights
_TRIED = 4  # children for each that is ridden as it comes
_MOST_DRAWS = 16  # of a first generation's points, until enough may ride
_POOL_PARTS = 4  # however many threads: the number of rows in a matrix product touches last bits

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What a study proposes from; fixed for its whole life.

    Parameters
    ----------
    space : Space
        The searched parameters.
    baseline : (parameter,) float64
        The known profile, candidate number 0, inside the space.
    seed : int
        The study's seed, 0 or above.
    population : int
        Candidates in a generation, 4 or more.
    operators : Operators
        Constants of the search.
    start : (profile, parameter) float64
        Known good profiles inside the space, ridden after the baseline; none if empty.
    weights : (objective,) float64
        What counts how much where the search looks for one best profile beside the front.
    descent : Descent
        Constants of that part of the search.
    composition : Composition
        Of what objectives and constraints are made.

    Raises
    ------
    ValueError
        The baseline or a profile to start from is outside the space, the population too small or
        the seed negative.
    """

    space: Space
    baseline: Floats
    seed: int
    weights: Floats
    population: int = 48
    operators: Operators = field(default_factory=Operators)
    descent: Descent = field(default_factory=Descent)
    start: Floats = field(default_factory=lambda: np.empty((0, 0)))
    composition: Composition = UNDIVIDED

    def __post_init__(self) -> None:
        if self.population < 4:
            raise ValueError(f"a population needs at least 4 candidates, got {self.population}")
        if self.seed < 0:
            raise ValueError(f"a seed must be 0 or above, got {self.seed}")
        if np.shape(self.baseline) != (self.space.n_parameters,):
            raise ValueError(
                f"the baseline needs {self.space.n_parameters} values,"
                f" got shape {np.shape(self.baseline)}"
            )
        for name, value, low, high in zip(
            self.space.names, self.baseline, self.space.low, self.space.high, strict=True
        ):
            if not low <= value <= high:
                raise ValueError(f"{name}: the baseline must lie from {low} to {high}, got {value}")
        start = self.start
        if len(start) and not np.array_equal(start, clip(self.space, start)):
            raise ValueError("every profile to start from must lie inside the space")


def propose(
    plan: Plan, generation: int, *, told: Told, parents: Indices, n_jobs: int = 1
) -> Floats:
    """Return the candidates of a generation.

    Parameters
    ----------
    plan : Plan
    generation : int
        0 is the first.
    told : Told
        Of all candidates of the generations before; empty for the first.
    parents : (parent,) int
        Numbers of the candidates that breed, the best first; not used for the first generations,
        which ride what is known.
    n_jobs : int
        Threads; how many changes nothing.

    Returns
    -------
    (`plan.population`, parameter) float64
        Values inside the space.
    """
    rng = np.random.default_rng(np.random.SeedSequence(plan.seed, spawn_key=(generation,)))
    if generation * plan.population <= len(plan.start):
        return _known(plan, generation, rng)
    # A linear algebra library splits its sums by thread, and their last bits with them.
    with (
        _libraries().limit(limits=1, user_api="blas"),
        ThreadPoolExecutor(n_jobs) as threads,
    ):
        bred = _bred(plan, told, parents=parents, rng=rng, threads=threads)
        return from_unit(plan.space, bred)


@functools.cache
def _libraries() -> ThreadpoolController:
    """Return the loaded libraries that have threads; looking for them takes milliseconds."""
    return ThreadpoolController()


def _known(plan: Plan, generation: int, rng: np.random.Generator) -> Floats:
    """Mix the baseline, Gaussian copies of it and a scrambled Sobol design over the whole space.

    Profiles to start from come right after the baseline, in as many generations as they fill, and
    leave the rest less room.
    """
    known = np.vstack([clip(plan.space, plan.baseline), *plan.start])
    known = known[generation * plan.population : (generation + 1) * plan.population]
    n_free = plan.population - len(known)
    n_copies = min(round((n_free + 1) * plan.operators.copies_share), n_free)
    n_spread = n_free - n_copies
    centre = to_unit(plan.space, plan.baseline)

    def copies(n: int) -> Floats:
        drawn = rng.normal(centre, plan.operators.copies_sigma, (n, len(centre)))
        return np.clip(drawn, 0.0, 1.0)

    about = _meeting(plan, copies, n=n_copies)
    # A Sobol design is balanced only in powers of two: draw the next one and keep its head.
    design = qmc.Sobol(d=len(centre), scramble=True, rng=rng)
    spread = _meeting(plan, lambda n: design.random(2 ** n.bit_length()), n=n_spread)
    return np.vstack([known, from_unit(plan.space, np.vstack([about, spread]))])


def _meeting(plan: Plan, draw: Callable[[int], Floats], *, n: int) -> Floats:
    """Return the first `n` drawn points that may ride; the last ones may not where few may."""
    points = draw(n)
    may = _may_ride(plan, points)
    for _ in range(_MOST_DRAWS - 1):
        if may.sum() >= n:
            break
        more = draw(n)
        points, may = np.vstack([points, more]), np.append(may, _may_ride(plan, more))
    return points[allowed_first(may)[:n]]


def _may_ride(plan: Plan, points: Floats) -> NDArray[np.bool_]:
    """Say which points of the unit cube meet the constraints that are known without a ride."""
    constraints = plan.composition.unridden(from_unit(plan.space, points))
    return np.asarray((constraints <= 0.0).all(axis=1))


def _bred(
    plan: Plan, told: Told, *, parents: Indices, rng: np.random.Generator, threads: Executor
) -> Floats:
    """Return a generation in the unit cube: some children as they come, the others foreseen."""
    operators, population = plan.operators, plan.population
    history = told.history
    points = to_unit(plan.space, history.values)
    known = keys(points)
    brood = _fresh_brood(plan, points[parents], known=known, rng=rng)
    screens = len(history) >= operators.screened_from
    n_screened = round(population * operators.screened_share) if screens else 0
    plain, rest = _plain(plan, brood, n=population - n_screened)
    if n_screened and len(rest):
        foreseen = _foreseen(
            plan, told, points, rest, known=known, n=n_screened, rng=rng, threads=threads
        )
        plain = np.vstack([plain, foreseen])
    # Only a collapsed population breeds too few new points; fresh blood is what it needs.
    strangers = rng.random((population - len(plain), points.shape[1]))
    return np.vstack([plain, strangers])


def _plain(plan: Plan, brood: Floats, *, n: int) -> tuple[Floats, Floats]:
    """Return the first `n` of a brood that may ride, and the rest."""
    head = brood[: _TRIED * n]
    tried = head[allowed_first(_may_ride(plan, head))]
    return tried[:n], np.vstack([tried[n:], brood[len(head) :]])


def _foreseen(
    plan: Plan,
    told: Told,
    points: Floats,
    brood: Floats,
    *,
    known: Set[bytes],
    n: int,
    rng: np.random.Generator,
    threads: Executor,
) -> Floats:
    """Return what surrogates foresee best: for the lowest cost, and for the front."""
    operators, history = plan.operators, told.history
    latest = slice(max(0, len(points) - operators.surrogate_points), None)
    generation = len(history) // plan.population
    fitting = threads.submit(
        fitted,
        points[latest],
        told.rows(latest.start, len(points)),
        composition=plan.composition,
        deviations=operators.deviations[generation % len(operators.deviations)],
    )
    [own_rng] = rng.spawn(1)
    finding = threads.submit(_cheapest, plan, history, points, known=known, rng=own_rng)
    predict, found = fitting.result(), finding.result()
    cheapest = found[_may_ride(plan, found)]
    taken = known | keys(cheapest)

    def foresee(pool: Floats) -> Floats:
        return np.vstack([*threads.map(predict, np.array_split(pool, _POOL_PARTS))])

    def may_ride(pool: Floats) -> NDArray[np.bool_]:
        parts = np.array_split(pool, _POOL_PARTS)
        return np.hstack([*threads.map(functools.partial(_may_ride, plan), parts)])

    screened = screen(
        brood,
        predict=foresee,
        may_ride=may_ride,
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
    others = ((by_ratio @ weights**_CONTRAST, plan.descent.drawn_neighbours) for weights in drawn)
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
        )
        found = np.vstack([found, reached])
    return found


def _fresh_brood(
    plan: Plan, parents: Floats, *, known: Set[bytes], rng: np.random.Generator
) -> Floats:
    """Return children of the parents whose keys are not known."""
    brood = children(
        parents,
        n_children=plan.operators.brood_factor * plan.population,
        rng=rng,
        operators=plan.operators,
    )
    return brood[unseen(brood, known)]
