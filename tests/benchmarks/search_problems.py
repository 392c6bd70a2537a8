"""What the searches are compared on: known fronts, known optima, and the example study.

ZDT1, ZDT2: Zitzler, Deb and Thiele (2000), Evolutionary Computation 8(2): 173-195.
DTLZ2: Deb, Thiele, Laumanns and Zitzler (2002), Proc. CEC 2002: 825-830.
"""

import dataclasses
import functools
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from objectives import OBJECTIVES
from optimizer.base.hashing import spawned
from optimizer.execution.devices import on_device
from optimizer.execution.evaluate import (
    baseline_values,
    make_evaluate,
    rules_of,
    study_screening_rides,
)
from optimizer.execution.hard_rides import hard_rides_of
from optimizer.execution.provenance import ride_inputs
from optimizer.execution.reevaluation import on_fresh_noise
from optimizer.execution.study_search import per_ride_objectives
from optimizer.search.composite import DIRECT, CompositeObjectives
from optimizer.search.evaluation import Evaluate, Evaluation
from optimizer.search.pareto import hypervolume
from optimizer.search.space import Space
from optimizer.study.load import load_study
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.device import Device
from tests.benchmarks.search_linear import PENDULUM_BASELINE, LinearPlant, chain, pendulum
from tests.benchmarks.search_starts import from_faster_motor
from tests.optimizer.analytic import N_PARAMETERS, UNIT_BOX, dtlz2, zdt1, zdt2

EXAMPLE = Path(__file__).parents[2] / "studies" / "hill_town"
FRESH = "on fresh noise and hard rides of other days"
_CORNER = 1.1  # of the reference of the hypervolume, in units of the front's range


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Something to search, and how well it was searched.

    Parameters
    ----------
    name : str
    space : Space
    baseline : (parameter,) float64
        The known point of a warm start.
    n_objectives : int
    evaluate : Evaluate
    later : callable, optional
    composite : CompositeObjectives
        Both as `optimizer.search.loop.run` takes them; only ours knows how to use them.
    sparing : Evaluate, optional
        The same outcomes, but the third objective is not known, NaN, where a candidate breaks a
        constraint. It spares the time of the hard rides; `evaluate` knows everything.
    fresh : Evaluate, optional
        The same under circumstances that no search has met.
    similar : callable, optional
        From a file that keeps them to points known from a finished search of a similar problem.
    quality : callable of (candidate, objective) and (candidate, objective) float64
        Figure of merit of feasible candidates; the second array is the front merged from all runs.
    measure : str
        What the figure of merit is.
    higher_is_better : bool
    asks_for_sum : bool
        Whether the figure of merit is the lowest sum of the objectives, so that a search that
        weighs them weighs them alike.
    key : str
        Changes with whatever changes the outcomes; runs of different keys are not compared.
    """

    name: str
    space: Space
    baseline: Floats
    n_objectives: int
    evaluate: Evaluate
    quality: Callable[[Floats, Floats], float]
    measure: str
    higher_is_better: bool = True
    asks_for_sum: bool = False
    key: str = field(default="1")
    later: Callable[[Floats], Evaluate] | None = None
    composite: CompositeObjectives = DIRECT
    similar: Callable[[Path], Floats] | None = None
    fresh: Evaluate | None = None
    sparing: Evaluate | None = None


def _known_front(
    name: str, evaluate: Callable[[Floats], Evaluation], *, n_objectives: int, volume: float
) -> Problem:
    def share(objectives: Floats, merged: Floats) -> float:
        return hypervolume(objectives, [_CORNER] * n_objectives) / volume

    return Problem(
        name=name,
        space=UNIT_BOX,
        baseline=np.full(N_PARAMETERS, 0.3),
        n_objectives=n_objectives,
        evaluate=evaluate,
        quality=share,
        measure="share of the true front's hypervolume, reference 1.1",
    )


def _known_optimum(name: str, plant: LinearPlant, baseline: Floats) -> Problem:
    def excess_percent(objectives: Floats, merged: Floats) -> float:
        return 100.0 * (float(objectives.sum(axis=1).min(initial=np.inf)) - 1.0)

    return Problem(
        name=name,
        space=plant.space,
        baseline=baseline,
        n_objectives=len(plant.terms) + 1,
        evaluate=plant.evaluate,
        quality=excess_percent,
        measure="lowest weighted cost above the Riccati optimum, %",
        higher_is_better=False,
        asks_for_sum=True,
    )


def share_of_front(objectives: Floats, merged: Floats) -> float:
    """Return the share of a front's hypervolume that objectives reach, both in its ranges."""
    if not len(objectives):
        return 0.0
    low, high = merged.min(axis=0), merged.max(axis=0)
    scale = np.where(high > low, high - low, 1.0)
    reference = np.full(len(scale), _CORNER)
    inside = [hypervolume((points - low) / scale, reference) for points in (objectives, merged)]
    return inside[0] / inside[1]


def on_other_days(study: Study) -> Study:
    """Return a study on fresh noise, whose hard rides are those of another drawn day."""
    other = dataclasses.replace(study, seed=spawned(study.seed, "other days"), hard=None)
    return on_fresh_noise(dataclasses.replace(study, hard=hard_rides_of(other)))


def study_problem(study: Study, n_jobs: int) -> Problem:
    """Return the search of a study, on the rides themselves."""

    # To find the hard rides of other days takes minutes: not before they are asked for.
    @functools.cache
    def made() -> Evaluate:
        return make_evaluate(on_other_days(study), n_jobs=n_jobs)

    def fresh(values: Floats, /) -> Evaluation:
        return made()(values)

    return Problem(
        name=study.folder.name,
        space=study.space,
        baseline=baseline_values(study),
        n_objectives=len(OBJECTIVES),
        evaluate=make_evaluate(study, n_jobs=n_jobs),
        quality=share_of_front,
        measure="share of the hypervolume of the front merged from all runs",
        key=json.dumps(ride_inputs(study), sort_keys=True),
        later=lambda first: make_evaluate(
            study, n_jobs=n_jobs, screening=study_screening_rides(study, first)
        ),
        # All but the hard rides screen, so that every constraint is known.
        sparing=make_evaluate(
            study, n_jobs=n_jobs, screening=tuple(range(rules_of(study).n_without_hard))
        ),
        composite=per_ride_objectives(study),
        fresh=fresh,
        similar=lambda cache: from_faster_motor(study, cache, n_jobs=n_jobs),
    )


def _example(threads: int, device: Device) -> Problem:
    return study_problem(on_device(load_study(EXAMPLE), device), threads)


# By threads and device of the rides, if there are any. Known hypervolumes: 1.1^2 - 1/3, 1.1^2 - 2/3
# and 1.1^3 - pi/6, by integrating the fronts.
PROBLEMS: dict[str, Callable[[int, Device], Problem]] = {
    "zdt1": lambda *_: _known_front("zdt1", zdt1, n_objectives=2, volume=1.1**2 - 1 / 3),
    "zdt2": lambda *_: _known_front("zdt2", zdt2, n_objectives=2, volume=1.1**2 - 2 / 3),
    "dtlz2": lambda *_: _known_front("dtlz2", dtlz2, n_objectives=3, volume=1.1**3 - np.pi / 6),
    "pendulum": lambda *_: _known_optimum("pendulum", pendulum(), PENDULUM_BASELINE),
    "chain": lambda *_: _known_optimum("chain", chain(), np.zeros(24)),
    EXAMPLE.name: _example,
}
