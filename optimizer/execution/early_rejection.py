"""Early rejection: a candidate that fails on a few screening rides is not simulated on the others.

The first generation rides everything, and its early ends decide which rides screen the later ones.
A later candidate rides those first. If they alone break a constraint on early ends, it can be
neither feasible nor on the front, whatever the other rides would bring, and so these are not
ridden. Nor are the hard rides of a candidate that breaks any constraint without them. The
objectives of rides that were not ridden are not known, NaN; `optimizer.search.imputation` says
what the search takes for them.
"""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from objectives import NOT_RIDDEN, RIDE_COLUMNS, ScoreRules, outcome_codes, score
from objectives.constraints import ending_constraints
from objectives.ride_scores import ended_early
from optimizer.search.pareto import feasible
from plant.arrays import Flags, Floats, Indices

RidePlaces: TypeAlias = Callable[[Floats, Indices], Floats]
"""From whole profiles and places among a study's rides to columns, (candidate, place, column)."""


def screening_rides(first: Floats, duration_s: Floats) -> tuple[int, ...]:
    """Return the places of the screening rides, the most selective first.

    Each is the ride that ends early for most of the candidates not found yet, for its length.

    Parameters
    ----------
    first : (candidate, ride, column) float64
        The whole rides of the first generation.
    duration_s : (ride,) float64
    """
    ended = ended_early(outcome_codes(first))
    chosen: list[int] = []
    unseen = ended.any(axis=1)
    while unseen.any():
        caught_per_s = ended[unseen].sum(axis=0) / duration_s
        chosen.append(int(np.argmax(caught_per_s)))
        unseen &= ~ended[:, chosen[-1]]
    return tuple(chosen)


def ride_with_early_rejection(
    ride: RidePlaces,
    profiles: Floats,
    *,
    screening: tuple[int, ...],
    rules: ScoreRules,
    at_once: bool = False,
) -> Floats:
    """Ride the screening rides, then the others with the candidates that are not rejected.

    The hard rides are ridden by candidates that meet all constraints.

    Parameters
    ----------
    ride : callable
        Rides profiles over some of the rides.
    profiles : (candidate, parameter) float64
    screening : tuple of int
        Indices of the screening rides; without any, every candidate rides everything.
    rules : ScoreRules
        Of all rides.
    at_once : bool
        Simulate all rides of all candidates together, and drop what would not have been simulated:
        the same result, sooner on a device that rides them all in the time of one.

    Returns
    -------
    (candidate, ride, column) float64
        All NaN where a ride was not simulated, or dropped.
    """
    n_rides = rules.n_without_hard
    if not screening:
        return ride(profiles, np.arange(rules.n_rides))
    everything = ride(profiles, np.arange(rules.n_rides)) if at_once else None

    def ridden(candidates: Indices, places: Indices) -> Floats:
        if everything is None:
            return ride(profiles[candidates], places)
        return everything[np.ix_(candidates, places)]

    columns = np.full((len(profiles), rules.n_rides, len(RIDE_COLUMNS)), np.nan)
    hard = np.arange(n_rides, rules.n_rides)
    first = np.array(screening, dtype=np.intp)
    others = np.setdiff1d(np.arange(n_rides), first)
    columns[:, first] = ridden(np.arange(len(profiles)), first)
    left = np.flatnonzero(~rejected_by_rides(columns, rules))
    if len(left) and len(others):
        columns[np.ix_(left, others)] = ridden(left, others)
    if len(left) and len(hard):
        left = left[feasible(score(columns[left], profiles[left], rules).constraints)]
        if len(left):
            columns[np.ix_(left, hard)] = ridden(left, hard)
    return columns


def rejected_by_rides(columns: Floats, rules: ScoreRules) -> Flags:
    """Say which candidates break a constraint on early ends by their rides so far, (candidate,).

    Parameters
    ----------
    columns : (candidate, ride, column) float64
        All NaN where a ride was not ridden.
    rules : ScoreRules
        Of all rides.
    """
    outcome = outcome_codes(columns[:, : len(rules.ride_weight)])
    share = rules.settings.nose_down_share
    nose_down, other = ending_constraints(outcome, rules.ride_weight, nose_down_share=share)
    return np.asarray((nose_down > 0.0) | (other > 0.0))


def not_ridden(columns: Floats) -> Flags:
    """Say which rides a candidate did not ride, (candidate, ride), from its columns."""
    return np.asarray(outcome_codes(columns) == NOT_RIDDEN)
