"""The three objectives of one ride, on (candidate, ride) arrays.

A ride that ended early scores worse than any ride that was ridden to its end, on each objective,
and worse the earlier it ended: otherwise falling soon would be the way to a low score.
"""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from plant.outcomes import Outcome

Floats: TypeAlias = NDArray[np.float64]
Codes: TypeAlias = NDArray[np.int8]

# An ended ride costs this share of the cap on top of the cap, and the share not ridden on top.
ENDED_SURCHARGE = 0.1

# How far the least margin of a ride moves between rides that differ only in what nobody controls
# (assumed: one standard logistic width; a gust, a bump met at another moment). At three widths
# from the limit the risk is small: a reserve of 0.2 of the phase current limit, and a nose no
# lower than half-way to its contact, are taken as safe.
RESERVE_SCATTER_RATIO = 0.07
NOSE_SCATTER_RATIO = 0.16

RIDDEN_CEILING = 0.5  # a ride ridden to its end stays below this risk
NOSE_DOWN_FLOOR = 0.75  # a nose-down starts here, any other ended ride below it


def share_not_ridden(ride_time_s: Floats, duration_s: Floats) -> Floats:
    """Return the share of each ride's duration that was left when it ended, 0 to 1.

    Parameters
    ----------
    ride_time_s : (candidate, ride) float64
    duration_s : (ride,) float64
    """
    return np.clip(1.0 - ride_time_s / duration_s, 0.0, 1.0)


def capped_cost(value: Floats, outcome: Codes, not_ridden: Floats, *, cap: float) -> Floats:
    """Return a measured cost, at most `cap`, or the penalty of a ride that ended early.

    Parameters
    ----------
    value : (candidate, ride) float64
        What was measured, from zero up; what an ended ride measured is not used.
    outcome : (candidate, ride) int8
        `plant.outcomes.Outcome`.
    not_ridden : (candidate, ride) float64
        From `share_not_ridden`.
    cap : float
        The worst a ridden ride can score.

    Returns
    -------
    (candidate, ride) float64
        An ended ride: cap (1 + ENDED_SURCHARGE + share not ridden).
    """
    penalty = cap * (1.0 + ENDED_SURCHARGE + not_ridden)
    return np.where(outcome == Outcome.RIDDEN, np.minimum(value, cap), penalty)


def nose_down_risk(
    reserve_ratio: Floats, nose_margin_ratio: Floats, outcome: Codes, not_ridden: Floats
) -> Floats:
    """Return a graded risk of a nose-down, 0 to 1, for each ride.

    Parameters
    ----------
    reserve_ratio : (candidate, ride) float64
        Least torque reserve over the phase current limit; negative where demand was larger than
        what was available.
    nose_margin_ratio : (candidate, ride) float64
        Least pitch margin, 1 level and 0 at nose contact.
    outcome : (candidate, ride) int8
        `plant.outcomes.Outcome`.
    not_ridden : (candidate, ride) float64
        From `share_not_ridden`.

    Returns
    -------
    (candidate, ride) float64
        Below `RIDDEN_CEILING` for a ridden ride, falling strictly with each margin; from there
        to `NOSE_DOWN_FLOOR` for an ended one; above for a nose-down, 1 when at the very start.

    Notes
    -----
    The shortfall expected of a margin m that scatters by a logistic distribution of width w is
    w ln(1 + exp(-m/w)): convex, never zero, a straight line once m is well below zero. Both
    shortfalls, in widths, add up to x, and x / (1 + x) brings them below one.
    """
    shortfall = _shortfall(reserve_ratio, RESERVE_SCATTER_RATIO) + _shortfall(
        nose_margin_ratio, NOSE_SCATTER_RATIO
    )
    ridden = RIDDEN_CEILING * shortfall / (1.0 + shortfall)
    other_end = RIDDEN_CEILING + (NOSE_DOWN_FLOOR - RIDDEN_CEILING) * not_ridden
    nose_down = NOSE_DOWN_FLOOR + (1.0 - NOSE_DOWN_FLOOR) * not_ridden
    ended = np.where(outcome == Outcome.NOSE_DOWN, nose_down, other_end)
    return np.where(outcome == Outcome.RIDDEN, ridden, ended)


def _shortfall(margin: Floats, width: float) -> Floats:
    """Return the expected shortfall of a scattering margin, in widths."""
    return np.logaddexp(0.0, -margin / width)
