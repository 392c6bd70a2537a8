"""How often something happens, with an interval that covers the true rate as often as it says."""

import dataclasses
import math

import numpy as np
from numpy.typing import NDArray

from plant.arrays import Floats

CONFIDENCE = 0.95
# Counted in drawn days of 16 rides a road: 1.4 to 3.1, and 2.2 for the example's baseline (see
# RESULTS.md). Fewer than some ten events look independent whatever their roads can do. Held at 2,
# intervals hold the rate in 94 to 99 % of days from 1 expected event to 25.
LEAST_DESIGN_EFFECT = 2.0

_HALVINGS = 60  # of a bracket: to the last digits


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class EventRate:
    """A rate per unit of exposure.

    Attributes
    ----------
    n_events : int
    exposure : float
        Hours, kilometres or whatever the rate is per.
    rate, low, high : float
        Estimate and its interval; without an event `low` is 0 and `high` one-sided.
    design_effect : float
        Variance of the count over that of independent events, as the interval takes it.
    """

    n_events: int
    exposure: float
    rate: float
    low: float
    high: float
    design_effect: float


def poisson_interval(n_events: float, *, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Return the interval of the expected count of a Poisson variable.

    Parameters
    ----------
    n_events : float
        What was counted; a number that is not whole is allowed, for counts put in proportion.
    confidence : float
        Share of all intervals that hold the true value, at least.

    Notes
    -----
    Garwood's exact interval (Biometrika 28:437, 1936): chi2(a/2, 2k)/2 to chi2(1 - a/2, 2k + 2)/2.
    Without an event the whole of a goes to the upper end, -ln a: the rule of three.
    """
    tail = 1.0 - confidence
    if n_events == 0:
        return 0.0, -math.log(tail)
    return _gamma(0.5 * tail, n_events), _gamma(1.0 - 0.5 * tail, n_events + 1.0)


def most_unseen(*, confidence: float = CONFIDENCE) -> float:
    """Return how many events may be expected where none was counted, on roads that throw several.

    The rule of three for the roads that throw a rider, by how many each may throw.
    """
    return LEAST_DESIGN_EFFECT * poisson_interval(0, confidence=confidence)[1]


def weighted_interval(
    weights: Floats,
    cluster: NDArray[np.int64],
    *,
    most: float,
    least_design_effect: float = LEAST_DESIGN_EFFECT,
    confidence: float = CONFIDENCE,
) -> tuple[float, float]:
    """Return the interval of the expected value of a weighted sum of events.

    Parameters
    ----------
    weights : (event,) float64
    cluster : (event,) int64
        Events of one number are of one road.
    most : float
        What one more event could weigh.
    least_design_effect : float
        1 where each event has a cluster of its own.
    confidence : float

    Notes
    -----
    Clusters are independent, and one can hold many events: the sum is compound Poisson, and its
    variance is the sum of squares over clusters, or `least_design_effect` times that of single
    events if that is more. The interval is that of Fay and Feuer 1997, Statistics in Medicine
    16:791, for a weighted sum of Poisson counts. One more cluster weighs as much as those seen,
    and at least that many events of the highest weight. With equal weights it is Garwood's of
    effective counts, as in `event_rate`; without an event, too, it is two-sided.
    """
    tail = 0.5 * (1.0 - confidence)
    total = float(weights.sum())
    single = least_design_effect * float((weights**2).sum())
    square = max(float((np.bincount(cluster, weights) ** 2).sum()), single)
    low = _gamma(tail, total**2 / square) * square / total if total > 0.0 else 0.0
    one_more = least_design_effect * most
    if total > 0.0:
        one_more = max(one_more, square / total)
    above, wide = total + one_more, square + one_more**2
    return low, _gamma(1.0 - tail, above**2 / wide) * wide / above


def design_effect(events: Floats, exposure: Floats) -> float:
    """Return the variance of a count over that of as many independent events.

    Parameters
    ----------
    events, exposure : (cluster,) float64
        Rides over one road are one cluster: its worst place can throw each of them.

    Notes
    -----
    n / (n - 1) sum (k - r x)^2 / sum k with the common rate r (Rao and Scott 1992, Biometrics
    48:577). Where few of many clusters hold an event it is sum k^2 / sum k. NaN without an event
    or with one cluster.
    """
    total, n_clusters = float(events.sum()), len(events)
    if not total or n_clusters < 2:
        return math.nan
    beyond = events - exposure * (total / exposure.sum())
    return float((beyond**2).sum()) / total * n_clusters / (n_clusters - 1)


def event_rate(
    events: Floats,
    exposure: Floats,
    *,
    least_design_effect: float = LEAST_DESIGN_EFFECT,
    confidence: float = CONFIDENCE,
) -> EventRate:
    """Return the rate of events over clusters of rides.

    Parameters
    ----------
    events, exposure : (cluster,) float64
        Events and exposure of each cluster; exposure above zero in sum.
    least_design_effect : float
        1 where each event has a cluster of its own.
    confidence : float

    Raises
    ------
    ValueError
        There is no exposure.

    Notes
    -----
    Counts over the design effect are as good as Poisson (Rao and Scott 1992, Biometrics 48:577;
    Kish 1965, Survey Sampling), so the interval is Garwood's of the effective count.
    """
    total, all_exposure = float(events.sum()), float(exposure.sum())
    if not all_exposure > 0.0:
        raise ValueError(f"exposure must be above zero, got {all_exposure}")
    effect = float(np.fmax(design_effect(events, exposure), least_design_effect))
    low, high = poisson_interval(total / effect, confidence=confidence)
    return EventRate(
        n_events=round(total),
        exposure=all_exposure,
        rate=total / all_exposure,
        low=low * effect / all_exposure,
        high=high * effect / all_exposure,
        design_effect=effect,
    )


def exposure_to_show(
    limit: float, *, rate: float, design_effect: float = LEAST_DESIGN_EFFECT
) -> float:
    """Return the exposure over which a rate is shown to lie below a limit.

    Over so much an interval of as many events as are expected ends at the limit. Chance moves the
    count, so about half of all counts need less and half more.

    Parameters
    ----------
    limit : float
        Above zero.
    rate : float
        The true one.
    design_effect : float

    Returns
    -------
    float
        inf where the rate is not below the limit.
    """
    if rate >= limit:
        return math.inf
    # The effective count's share of its upper end grows from 0 to 1 with the count.
    few, many = 0.0, 1.0
    while rate > 0.0 and many / poisson_interval(many)[1] < rate / limit:
        few, many = many, 2.0 * many
    for _ in range(_HALVINGS if rate > 0.0 else 0):
        middle = 0.5 * (few + many)
        enough = middle / poisson_interval(middle)[1] >= rate / limit
        few, many = (few, middle) if enough else (middle, many)
    return design_effect * poisson_interval(many if rate > 0.0 else 0)[1] / limit


def _gamma(probability: float, shape: float) -> float:
    """Return a quantile of the gamma distribution of scale 1: half of chi-squared's."""
    from scipy.special import gammaincinv  # noqa: PLC0415  # slow to load, and few commands ask for intervals

    return float(gammaincinv(shape, probability))
