"""Re-evaluation of the front on fresh noise and other hard rides.

All candidates of a search meet the same noise and hard rides. Of thousands, some are on the front
because these suit them. On others, common to all of them, candidates that were good by chance drop
out, and so do those that lose more than others once board and riders are drawn from their
tolerances. Candidates that then enter the front are re-simulated as well, until the front no longer
changes.
"""

import dataclasses
import functools
import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from objectives import CONSTRAINT_NAMES
from optimizer.base.hashing import spawned
from optimizer.execution.hard_rides import hard_rides_of
from optimizer.execution.store import Store
from optimizer.execution.store_format import Reevaluation
from optimizer.search.evaluation import BASELINE, Evaluate, History, checked
from optimizer.search.pareto import feasible, non_dominated
from optimizer.study.study import HardRides, Study
from plant.arrays import Flags, Floats
from plant.device import lanes_at_once
from plant.kernel.simulate import Ride

LOST = CONSTRAINT_NAMES.index("tolerances")
_REEVALUATION = "reevaluation"
_BEST_SHARE = 0.1  # of a front, which shows what a board asks for


def on_fresh_noise(study: Study) -> Study:
    """Return a study with other noise and hard rides, which asks its limits without a margin."""
    other = dataclasses.replace(study, hard=hard_rides_of(study).others)
    return dataclasses.replace(with_noise(other, _REEVALUATION), on_search_noise=False)


def own_rides_on_fresh_noise(study: Study) -> Study:
    """Return a study with other noise and no hard rides, which asks its limits without a margin."""
    rides = tuple(ride_on_fresh_noise(study, ride) for ride in study.rides)
    return dataclasses.replace(study, rides=rides, hard=None, on_search_noise=False)


def ride_on_fresh_noise(study: Study, ride: Ride) -> Ride:
    """Return a ride of a study as it is in `on_fresh_noise`."""
    return _reseeded(study.seed, ride, _REEVALUATION)


def with_noise(study: Study, *draw: str) -> Study:
    """Return a study whose rides, the hard ones too, have the noise of a named draw.

    Rides in which handling is measured are quiet: they stay as they are.
    """
    hard = hard_rides_of(study)
    return dataclasses.replace(
        study,
        rides=_all_reseeded(study.seed, draw, study.rides),
        hard=dataclasses.replace(
            hard, draw=functools.partial(_drawn_reseeded, study.seed, draw, hard)
        ),
    )


def _drawn_reseeded(seed: int, draw: Sequence[str], hard: HardRides) -> tuple[Ride, ...]:
    return _all_reseeded(seed, draw, hard.rides)


def _all_reseeded(seed: int, draw: Sequence[str], rides: Iterable[Ride]) -> tuple[Ride, ...]:
    return tuple(_reseeded(seed, ride, *draw) for ride in rides)


def _reseeded(seed: int, ride: Ride, *draw: str) -> Ride:
    return dataclasses.replace(ride, noise_seed=spawned(seed, *draw, ride.name))


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FrontToReevaluate:
    """Which candidates are re-evaluated.

    Attributes
    ----------
    on_front : (candidate,) bool
        On the front as searched, or once the candidates that fail on fresh noise are gone.
    wanted : (candidate,) bool
        These and the baseline.
    missing : (number,) int64
        Those still to be re-evaluated; while there are any, the candidates that enter the front
        after them are not known.
    """

    on_front: Flags
    wanted: Flags
    missing: NDArray[np.int64]


def front_to_reevaluate(history: History, again: Reevaluation) -> FrontToReevaluate:
    """Return which candidates are to be re-evaluated, and which of them still are.

    Parameters
    ----------
    history : History
        As searched.
    again : Reevaluation
        Re-evaluations so far. Only those that a search of this length asks for count, in the order
        in which it does.
    """
    stored = np.zeros(len(history), dtype=np.bool_)
    stored[again.numbers] = True
    fails = np.zeros(len(history), dtype=np.bool_)
    fails[again.numbers] = ~feasible(reevaluated_constraints(history, again))
    on_front = np.zeros(len(history), dtype=np.bool_)
    left = feasible(history.constraints)
    while True:
        up = left.copy()
        up[left] = non_dominated(history.objectives[left], history.constraints[left])
        enters = (up & ~on_front).any()
        on_front |= up
        wanted = on_front.copy()
        wanted[BASELINE] = True
        missing = np.flatnonzero(wanted & ~stored).astype(np.int64)
        if len(missing) or not enters:
            return FrontToReevaluate(on_front=on_front, wanted=wanted, missing=missing)
        left &= ~(up & fails)


def reevaluated_constraints(history: History, again: Reevaluation) -> Floats:
    """Return the constraints of re-evaluated candidates, (re-evaluated candidate, constraint).

    Nose-downs within the tolerances count beyond those that the best tenth of the searched front
    has too, and their scatter: these are the board's weakness, not a profile's.

    Parameters
    ----------
    history : History
        As searched.
    again : Reevaluation
        With the whole searched front in it; else the constraints are as they were stored.
    """
    constraints = again.evaluation.constraints.copy()
    if not len(constraints):
        return constraints
    first = non_dominated(history.objectives, history.constraints)
    again_first = first[again.numbers]
    otherwise_met = feasible(np.delete(constraints, LOST, axis=1))
    lost = np.sort(constraints[again_first & otherwise_met, LOST])
    if len(lost) and again_first.sum() == first.sum():
        best = max(lost[int(_BEST_SHARE * len(lost))], 0.0)
        constraints[:, LOST] -= best + math.sqrt(best)  # the scatter of a count
    return constraints


def reevaluate(
    study: Study,
    store: Store,
    *,
    evaluate: Evaluate,
    advance: Callable[[int, int], None],
    stop: Callable[[], bool],
) -> bool:
    """Ride the front again on fresh noise and store it; say whether all of it was ridden.

    What an earlier, interrupted re-evaluation has stored is not ridden again.

    Parameters
    ----------
    study : Study
    store : Store
        Open, with a finished search.
    evaluate : Evaluate
        Rides candidates over the study `on_fresh_noise`.
    advance : callable
        Called with how many candidates are re-evaluated, and of how many, before the first and
        after each batch.
    stop : callable
        Asked between batches; True ends it.

    Raises
    ------
    UserInputError
        The store can not be written.
    """
    history = store.history(population=study.population)
    n_at_once = max(study.population, lanes_at_once(study.device) // study.n_rides)
    while True:
        found = front_to_reevaluate(history, store.reevaluation())
        n_wanted = int(found.wanted.sum())
        advance(n_wanted - len(found.missing), n_wanted)
        if not len(found.missing):
            return True
        if stop():
            return False
        batch = found.missing[:n_at_once]
        evaluation = checked(
            evaluate(history.values[batch]),
            n_candidates=len(batch),
            n_objectives=history.objectives.shape[1],
        )
        store.append_reevaluation(batch, evaluation)
