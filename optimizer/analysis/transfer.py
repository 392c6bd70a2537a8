"""A profile for another motor, wheel, pack or board, rescaled by physics.

A pitch error that asks for a force at the ground should ask for the same acceleration: currents go
with the mass that is moved, with the wheel's radius and with one over the torque per amp.
"""

import dataclasses
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from optimizer.analysis.baseline_cost import study_cost
from optimizer.execution.evaluate import make_evaluate, ride_portfolio, rules_of, searched_columns
from optimizer.execution.store import Store
from optimizer.execution.study_search import search_study, study_plan
from optimizer.search.loop import Progress
from optimizer.search.pareto import feasible
from optimizer.search.space import clip
from optimizer.study.study import Study
from plant.arrays import Floats
from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.profile_array import profile_to_array
from plant.description.quantity import Kind, declared_numbers
from plant.kernel.lane_init import torque_per_amp

_KINDS = np.array([declared.kind for _, declared in declared_numbers(Profile).values()])
_IS_CAP = _KINDS == Kind.CURRENT
IS_CURRENT = _IS_CAP | (_KINDS == Kind.CURRENT_GAIN)
_IS_BUS_VOLTAGE = _KINDS == Kind.BUS_VOLTAGE


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Scaling:
    """By how much currents grow, and out of what.

    Attributes
    ----------
    current_ratio : float
        New over old current for the same acceleration.
    torque_ratio, radius_ratio, mass_ratio : float
        New over old torque per amp, wheel radius, and moved mass of a mean rider.
    cells_ratio : float
        New over old cells in series: the margin to the bus-voltage limits goes with it.
    """

    current_ratio: float
    torque_ratio: float
    radius_ratio: float
    mass_ratio: float
    cells_ratio: float


def scaling(old: Study, new: Study) -> Scaling:
    """Return how a profile of one study's board is scaled for another's."""
    torque = torque_per_amp(new.board.motor.kv_rpm_per_v) / torque_per_amp(
        old.board.motor.kv_rpm_per_v
    )
    radius = new.board.wheel.wheel_radius_m / old.board.wheel.wheel_radius_m
    mass = _moved_mass(new) / _moved_mass(old)
    return Scaling(
        current_ratio=mass * radius / torque,
        torque_ratio=torque,
        radius_ratio=radius,
        mass_ratio=mass,
        cells_ratio=new.board.battery.cells_in_series / old.board.battery.cells_in_series,
    )


def _moved_mass(study: Study) -> float:
    """Return the mass that moves, wheel's inertia included, under a mean rider, in kg."""
    board: Board = study.board
    wheel = board.wheel
    riders = float(np.mean([rider.body.mass_kg for rider in study.riders.values()]))
    spinning = wheel.wheel_inertia_kg_m2 / wheel.wheel_radius_m**2
    return riders + board.frame.frame_mass_kg + wheel.wheel_mass_kg + spinning


def transferred(profile: Floats, by: Scaling, board: Board) -> Floats:
    """Return a profile scaled for another board; caps stay inside its phase current limit.

    What is scaled is rounded to three significant digits, for a person types it.

    Parameters
    ----------
    profile : (parameter,) float64
        In the order of `plant.description.profile_array.PROFILE_NAMES`.
    by : Scaling
    board : Board
        The new one.
    """
    ratio = np.where(IS_CURRENT, by.current_ratio, np.where(_IS_BUS_VOLTAGE, by.cells_ratio, 1.0))
    moved = [float(f"{value:.3g}") for value in (profile * ratio).tolist()]
    row = np.where(ratio == 1.0, profile, moved)
    row[_IS_CAP] = np.minimum(row[_IS_CAP], board.drive.phase_current_limit_a)
    return row


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Distance:
    """How far a transferred profile is from what a short search finds on the new board.

    Attributes
    ----------
    objectives, best_objectives : (objective,) float64
        Of the transferred profile, and of the feasible candidate of least cost.
    constraints : (constraint,) float64
        Of the transferred profile.
    cost, best_cost : float
        Weighted costs; the new study's baseline costs 1. `best_cost` is inf where no candidate is
        feasible.
    best : (parameter,) float64
        Whole profile of that candidate.
    n_candidates : int
        How many were searched.
    """

    objectives: Floats
    best_objectives: Floats
    constraints: Floats
    cost: float
    best_cost: float
    best: Floats
    n_candidates: int


def distance_to_optimum(
    study: Study,
    profile: Floats,
    *,
    n_candidates: int,
    n_jobs: int,
    on_generation: Callable[[Progress], None],
) -> Distance:
    """Ride a profile on a study's board, and search from it for a while.

    All are judged by the study's limits themselves: nothing is ridden again on other noise, for
    which a search stays inside some of them.

    Parameters
    ----------
    study : Study
        Of the new board.
    profile : (parameter,) float64
        The transferred profile.
    n_candidates : int
        Of the search that starts from it.
    n_jobs : int
        Threads; the outcome does not depend on it.
    on_generation : callable
        Told the progress of the search.
    """
    study = dataclasses.replace(study, on_search_noise=False)
    rules = rules_of(study)
    scores, _ = ride_portfolio(study, profile[None, :], rules=rules, n_jobs=n_jobs)
    columns = searched_columns(study)
    start = clip(study.space, profile[columns])
    with tempfile.TemporaryDirectory() as folder, Store(Path(folder) / "short.sqlite") as store:
        progress = search_study(
            study,
            lambda screening: make_evaluate(study, n_jobs=n_jobs, screening=screening),
            study_plan(study, baseline=start),
            store,
            n_candidates=n_candidates,
            n_jobs=n_jobs,
            on_generation=on_generation,
        )
    history = progress.history
    unit = _baseline_objectives(study, n_jobs=n_jobs)
    cost = study_cost(study, history.objectives, baseline=unit)
    possible = np.where(feasible(history.constraints), cost, np.inf)
    number = int(np.argmin(possible))
    best = profile.copy()
    best[columns] = history.values[number]
    return Distance(
        objectives=scores.objectives[0],
        best_objectives=history.objectives[number],
        constraints=scores.constraints[0],
        cost=float(study_cost(study, scores.objectives, baseline=unit)[0]),
        best_cost=float(possible[number]),
        best=best,
        n_candidates=len(history),
    )


def _baseline_objectives(study: Study, *, n_jobs: int) -> Floats:
    from_baseline, _ = ride_portfolio(
        study,
        profile_to_array(study.baseline)[None, :],
        rules=rules_of(study),
        n_jobs=n_jobs,
    )
    objectives: Floats = from_baseline.objectives[0]
    return objectives
