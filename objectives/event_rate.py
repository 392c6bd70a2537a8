"""How often something happens, with an interval that covers the true rate as often as it says."""

import dataclasses
import math

import numpy as np
from scipy.stats import chi2, gamma

from plant.arrays import Floats

CONFIDENCE = 0.95
_FEWEST_TO_JUDGE = 5  # events below which clustering can not be told from chance


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
        Variance of the count over that of independent events; 1 where events do not cluster.
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
    low = 0.5 * float(chi2.ppf(0.5 * tail, 2.0 * n_events))
    high = 0.5 * float(chi2.ppf(1.0 - 0.5 * tail, 2.0 * n_events + 2.0))
    return low, high


def weighted_interval(
    by_cluster: Floats, *, most: float, confidence: float = CONFIDENCE
) -> tuple[float, float]:
    """Return the interval of the expected value of a weighted sum of Poisson events.

    Parameters
    ----------
    by_cluster : (cluster,) float64
        Sum of the weights of each cluster's events.
    most : float
        What one more event could weigh.
    confidence : float

    Notes
    -----
    Clusters are independent, and one can hold many events: the sum is compound Poisson, and its
    variance is the sum of squares over clusters. The interval is that of Fay and Feuer 1997,
    Statistics in Medicine 16:791, for a weighted sum of Poisson counts. With equal weights and one
    event in each cluster it is Garwood's; without an event, too, it is two-sided.
    """
    tail = 0.5 * (1.0 - confidence)
    total, square = float(by_cluster.sum()), float((by_cluster**2).sum())
    low = float(gamma.ppf(tail, total**2 / square, scale=square / total)) if total > 0.0 else 0.0
    above, wide = total + most, square + most**2
    return low, float(gamma.ppf(1.0 - tail, above**2 / wide, scale=wide / above))


def design_effect(events: Floats, exposure: Floats) -> float:
    """Return by how much clusters scatter beyond independent events, at least 1.

    Parameters
    ----------
    events, exposure : (cluster,) float64
        Rides over one road are one cluster: its worst place can throw each of them.

    Notes
    -----
    Pearson's statistic over its degrees of freedom, sum (k - m)^2 / m / (n - 1), with m the
    events expected by exposure at the common rate.
    """
    total = float(events.sum())
    if total < _FEWEST_TO_JUDGE or len(events) < 2:
        return 1.0
    expected = np.maximum(exposure * (total / exposure.sum()), 1e-12)
    return max(float(np.sum((events - expected) ** 2 / expected)) / (len(events) - 1), 1.0)


def event_rate(events: Floats, exposure: Floats, *, confidence: float = CONFIDENCE) -> EventRate:
    """Return the rate of events over clusters of rides.

    Parameters
    ----------
    events, exposure : (cluster,) float64
        Events and exposure of each cluster; exposure above zero in sum.
    confidence : float

    Raises
    ------
    ValueError
        There is no exposure.
    """
    total, all_exposure = float(events.sum()), float(exposure.sum())
    if not all_exposure > 0.0:
        raise ValueError(f"exposure must be above zero, got {all_exposure}")
    effect = design_effect(events, exposure)
    low, high = poisson_interval(total / effect, confidence=confidence)
    return EventRate(
        n_events=round(total),
        exposure=all_exposure,
        rate=total / all_exposure,
        low=low * effect / all_exposure,
        high=high * effect / all_exposure,
        design_effect=effect,
    )
