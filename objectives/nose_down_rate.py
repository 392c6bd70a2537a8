"""How often a profile puts the nose down in a riding day, estimated from its hard rides.

A nose-down is rare, so counting it takes a thousand hours for each profile. Nearly all of them
happen in a few rides, and how near a profile comes to one in those rides says more than whether it
went down. Weak profiles find such rides: Uesato et al. 2019, "Rigorous agent evaluation: an
adversarial approach to uncover catastrophic failures", ICLR.
"""

import dataclasses

import numpy as np
from numpy.typing import NDArray

from objectives.event_rate import weighted_interval
from objectives.portfolio import weighted_sum
from objectives.ride_scores import Codes
from plant.arrays import Flags, Floats
from plant.elementary import exponential
from plant.kernel.outcomes import Outcome

# How far the least margin of a ride moves between rides that differ only in chance: widths of
# logistic distributions. Found by trial: of widths from 0.03 to 0.2 these order profiles most like
# plain counts of nose-downs on other days do (rank correlation 0.76 over 41 profiles and 800 h).
RESERVE_WIDTH_RATIO = 0.03
NOSE_WIDTH_RATIO = 0.06
# Nose-downs over the sum of nearness, from the same counts; later ones need 0.15 to 0.28, by
# board and drawn day. It makes the sum a rate; the order of profiles does not depend on it.
NOSE_DOWNS_PER_NEARNESS = 0.17

_LEAST_WIDTHS, _MOST_WIDTHS = -8.0, 12.0
_FAR_WIDTHS = 100.0  # a prediction beyond says no more

_PER_KM = 1000.0


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DayRules:
    """What a study's hard rides stand for.

    Attributes
    ----------
    rider : (hard ride,) int64
        Index into `kilometres`.
    road : (hard ride,) int64
        Rides of one number are over one drawn road.
    weight : (hard ride,) float64
        For how many rides of the day each stands.
    kilometres : (rider,) float64
        What each rider rode in the whole day.
    worst_rider_weight : float
        From 0, the rate over all riders, to 1, the rate of the worst of them.
    """

    rider: NDArray[np.int64]
    road: NDArray[np.int64]
    weight: Floats
    kilometres: Floats
    worst_rider_weight: float


def margin_widths(reserve_ratio: Floats, nose_margin_ratio: Floats, outcome: Codes) -> Floats:
    """Return least margins of rides in units of their scatter, (candidate, margin).

    Parameters
    ----------
    reserve_ratio : (candidate, hard ride) float64
        Least torque reserve over the phase current limit.
    nose_margin_ratio : (candidate, hard ride) float64
        Least pitch margin, 1 level and 0 at nose contact.
    outcome : (candidate, hard ride) int8
        From `objectives.ride_scores.outcome_codes`.

    Returns
    -------
    (candidate, 2 hard ride) float64
        First all reserves, then all nose margins, between the ends beyond which nothing changes;
        both at the lower end where the nose went down. NaN where a ride was not ridden.
    """
    down = outcome == Outcome.NOSE_DOWN
    scaled = (reserve_ratio / RESERVE_WIDTH_RATIO, nose_margin_ratio / NOSE_WIDTH_RATIO)
    return np.hstack(
        [
            np.where(down, _LEAST_WIDTHS, np.clip(each, _LEAST_WIDTHS, _MOST_WIDTHS))
            for each in scaled
        ]
    )


def nearness(widths: Floats) -> Floats:
    """Return how near rides came to a nose-down, 0 to 1, (candidate, hard ride).

    The chance that either margin, scattered by a logistic distribution, falls below zero.

    Parameters
    ----------
    widths : (candidate, 2 hard ride) float64
        From `margin_widths`, or predicted.
    """
    reserve, nose = np.split(np.clip(widths, -_FAR_WIDTHS, _FAR_WIDTHS), 2, axis=1)
    near: Floats = 1.0 - 1.0 / ((1.0 + exponential(-reserve)) * (1.0 + exponential(-nose)))
    return near


def rates_by_rider(near: Floats, day: DayRules) -> Floats:
    """Return nose-downs per 1,000 km of each rider, (candidate, rider).

    Parameters
    ----------
    near : (candidate, hard ride) float64
    day : DayRules
    """
    columns = [
        np.ascontiguousarray((near * day.weight)[:, day.rider == rider]).sum(axis=1)
        for rider in range(len(day.kilometres))
    ]
    return np.column_stack(columns) * NOSE_DOWNS_PER_NEARNESS * _PER_KM / day.kilometres


def blended_rate(near: Floats, day: DayRules) -> Floats:
    """Return nose-downs per 1,000 km: over all riders, blended with the worst, (candidate,)."""
    by_rider = rates_by_rider(near, day)
    share = day.kilometres / day.kilometres.sum()
    overall = weighted_sum(by_rider, share)
    worst = day.worst_rider_weight
    rate: Floats = (1.0 - worst) * overall + worst * by_rider.max(axis=1)
    # One NaN for all: the sign of one that was calculated depends on its place in a batch.
    return np.where(np.isnan(rate), np.nan, rate)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class RateEstimate:
    """Nose-downs per 1,000 km, with the ends of an interval of 95 %; NaN where not known."""

    rate: float
    low: float
    high: float


def overall_rate(near: Floats, day: DayRules) -> RateEstimate:
    """Return the rate of one profile over all riders, with its interval.

    Parameters
    ----------
    near : (hard ride,) float64
    day : DayRules

    Notes
    -----
    Roads of a day are drawn independently, and one road can throw many: each is a cluster of
    `objectives.event_rate.weighted_interval`. One more could hold whole nose-downs, so the upper
    end is at least that of a plain count that found none on as many kilometres.
    """
    every = np.ones(len(near), dtype=bool)
    return _estimate(near, day, among=every, kilometres=float(day.kilometres.sum()))


def rider_rates(near: Floats, day: DayRules) -> tuple[RateEstimate, ...]:
    """Return the rate of one profile for each rider, from the rider's own rides.

    Parameters
    ----------
    near : (hard ride,) float64
    day : DayRules

    Notes
    -----
    The interval is that of `overall_rate`. A rider without a hard ride has a rate of zero and an
    upper end above it.
    """
    return tuple(
        _estimate(near, day, among=day.rider == rider, kilometres=float(kilometres))
        for rider, kilometres in enumerate(day.kilometres)
    )


def _estimate(near: Floats, day: DayRules, *, among: Flags, kilometres: float) -> RateEstimate:
    """Return the rate in some of the hard rides; NaN where any hard ride was not ridden."""
    if np.isnan(near).any():
        return RateEstimate(rate=np.nan, low=np.nan, high=np.nan)
    per_km = NOSE_DOWNS_PER_NEARNESS * _PER_KM / kilometres
    weighted = (day.weight * near)[among]
    # What the day did not show may be whole nose-downs, as in a plain count of the same way: in
    # rides that stand for themselves, as nearly all of those do in which a good profile falls.
    most = 1.0 / NOSE_DOWNS_PER_NEARNESS
    low, high = weighted_interval(weighted, day.road[among], most=most)
    return RateEstimate(rate=float(weighted.sum()) * per_km, low=low * per_km, high=high * per_km)
