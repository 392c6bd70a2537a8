"""Cheap rides first: whoever fails on a few telling rides for good is spared the others.

The first generation is ridden whole, and from how its rides ended follows which rides are telling.
A later candidate rides those first. If they alone break a constraint on early ends, it can not be
feasible and can not reach the front, whatever the other rides would bring, and so these are not
ridden. Its objectives are then not known, NaN; `optimizer.search.imputation`
says what the search takes for them.
"""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from objectives import NOT_RIDDEN, RIDE_COLUMNS, ScoreRules, outcome_codes
from objectives.constraints import ending_constraints
from objectives.ride_scores import ended_early

Floats: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]
Places: TypeAlias = NDArray[np.intp]

RidePlaces: TypeAlias = Callable[[Floats, Places], Floats]
"""From whole profiles and places among a study's rides to columns, (candidate, place, column)."""


def screening_rides(first: Floats, duration_s: Floats) -> tuple[int, ...]:
    """Return the places of rides that give away whoever ended one early, the most telling first.

    Each is the ride that gives away most of those not given away yet for its length.

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
    ride: RidePlaces, profiles: Floats, *, screening: tuple[int, ...], rules: ScoreRules
) -> Floats:
    """Ride the telling rides, and the others with whom they do not give away.

    Parameters
    ----------
    ride : callable
        Rides profiles over some of the rides.
    profiles : (candidate, parameter) float64
    telling : tuple of int
        Places of the telling rides; where there are none, everybody rides everything.
    rules : ScoreRules
        Of all rides.

    Returns
    -------
    (candidate, ride, column) float64
        All NaN where a candidate was spared a ride.
    """
    n_rides = len(rules.ride_weight)
    columns = np.full((len(profiles), n_rides, len(RIDE_COLUMNS)), np.nan)
    first = np.array(screening, dtype=np.intp)
    others = np.setdiff1d(np.arange(n_rides), first)
    if len(first):
        columns[:, first] = ride(profiles, first)
    left = np.flatnonzero(~rejected_by_rides(columns, rules))
    if len(left) and len(others):
        columns[np.ix_(left, others)] = ride(profiles[left], others)
    return columns


def rejected_by_rides(columns: Floats, rules: ScoreRules) -> Flags:
    """Say who breaks a constraint on early ends by the rides ridden so far, (candidate,).

    Parameters
    ----------
    columns : (candidate, ride, column) float64
        All NaN where a ride was not ridden.
    rules : ScoreRules
        Of all rides.
    """
    outcome, share = outcome_codes(columns), rules.settings.nose_down_share
    nose_down, other = ending_constraints(outcome, rules.ride_weight, nose_down_share=share)
    return np.asarray((nose_down > 0.0) | (other > 0.0))


def not_ridden(columns: Floats) -> Flags:
    """Say which rides a candidate did not ride, (candidate, ride), from its columns."""
    return np.asarray(outcome_codes(columns) == NOT_RIDDEN)
