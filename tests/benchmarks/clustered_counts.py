"""How often an interval of a rate holds the true one, where rides over one road fall together."""

import dataclasses
from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from scipy.optimize import minimize
from scipy.stats import betabinom

from objectives.event_rate import design_effect, event_rate
from plant.arrays import Flags, Floats

EXPECTED = (0, 1, 3, 6, 13, 25)

Day: TypeAlias = tuple[Floats, Floats]  # events and exposure of some roads, both (road,)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Roads:
    """What one profile rode.

    Attributes
    ----------
    down : (road, lane) bool
        Whether the nose went down.
    kilometres : (road, lane) float64
    """

    down: Flags
    kilometres: Floats

    @property
    def events(self) -> Floats:
        """Return the nose-downs of each road."""
        return self.down.sum(axis=1).astype(np.float64)

    @property
    def exposure(self) -> Floats:
        """Return the kilometres of each road in thousands."""
        return self.kilometres.sum(axis=1) / 1000.0

    def effect_of(self, n_lanes: int) -> float:
        """Return the design effect with so many rides a road, a divisor of those there are."""
        events, exposure = (
            each.reshape(-1, n_lanes).sum(axis=1) for each in (self.down * 1.0, self.kilometres)
        )
        return design_effect(events, exposure)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """What came of many days with one expected count.

    Attributes
    ----------
    expected : float
        Events in a day, on the mean.
    covered, too_low, too_high : float
        Shares of the intervals that hold the true rate, end below it, begin above it.
    width : float
        Mean width of an interval, in events.
    """

    expected: float
    covered: float
    too_low: float
    too_high: float
    width: float


def coverage(draw_day: Callable[[], Day], *, rate: float, expected: float, n_days: int) -> Coverage:
    """Return how often `event_rate` of drawn days holds the true rate.

    Parameters
    ----------
    draw_day : callable
        Gives another day with so many expected events.
    rate : float
        The true one per exposure.
    expected : float
    n_days : int
    """
    found = [event_rate(*draw_day()) for _ in range(n_days)]
    too_low = np.mean([each.high < rate for each in found])
    too_high = np.mean([each.low > rate for each in found])
    widths = [(each.high - each.low) * each.exposure for each in found]
    return Coverage(
        expected=expected,
        covered=float(1.0 - too_low - too_high),
        too_low=float(too_low),
        too_high=float(too_high),
        width=float(np.mean(widths)),
    )


def resampled_coverage(
    events: Floats, exposure: Floats, *, expected: float, n_days: int, seed: int
) -> Coverage:
    """Return the coverage over days of roads drawn with replacement from those that were ridden.

    The rate over all of these is the true one. Nothing is expected of roads without an event.

    Parameters
    ----------
    events, exposure : (road,) float64
    expected : float
        Events in a drawn day, which decides its number of roads.
    n_days, seed : int
    """
    random = np.random.default_rng(seed)
    if expected == 0.0:
        events = np.zeros_like(events)
    share = expected / events.sum() if expected else 1.0
    n_roads = max(round(len(events) * share), 1)

    def draw_day() -> Day:
        roads = random.integers(len(events), size=n_roads)
        return events[roads], exposure[roads]

    return coverage(
        draw_day,
        rate=float(events.sum() / exposure.sum()),
        expected=expected,
        n_days=n_days,
    )


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class RoadModel:
    """A road throws each of its rides with one chance, which is beta distributed over roads.

    The number of rides that it throws is then beta-binomial (Skellam 1948, J. R. Stat. Soc. B
    10:257).

    Attributes
    ----------
    n_rides : int
        Over one road.
    mean, correlation : float
        Chance that a ride is thrown, and its correlation between two rides over one road.
    """

    n_rides: int
    mean: float
    correlation: float

    @property
    def shapes(self) -> tuple[float, float]:
        """Return the two shapes of the beta distribution."""
        size = 1.0 / self.correlation - 1.0
        return self.mean * size, (1.0 - self.mean) * size

    @property
    def thrown_together(self) -> float:
        """Return how many rides a road throws that throws any, on the mean."""
        some = 1.0 - betabinom.pmf(0, self.n_rides, *self.shapes)
        return float(self.n_rides * self.mean / some)


def fitted(events: Floats, *, n_rides: int) -> RoadModel:
    """Return the model under which counts of roads are most likely, of the same mean count."""
    mean = float(events.mean()) / n_rides
    count, times = np.unique(events, return_counts=True)

    def unlikelihood(log_odds: Floats) -> float:
        model = RoadModel(n_rides=n_rides, mean=mean, correlation=1.0 / (1.0 + np.exp(log_odds[0])))
        return -float(times @ betabinom.logpmf(count, n_rides, *model.shapes))

    best = minimize(unlikelihood, [2.0], method="Nelder-Mead")
    return RoadModel(n_rides=n_rides, mean=mean, correlation=1.0 / (1.0 + np.exp(best.x[0])))


def simulated_coverage(model: RoadModel, *, expected: float, n_days: int, seed: int) -> Coverage:
    """Return the coverage over days that a model draws, in roads of exposure 1."""
    random = np.random.default_rng(seed)
    thrown = np.arange(model.n_rides + 1, dtype=np.float64)
    mean = model.n_rides * model.mean
    n_roads = max(round(expected / mean), 1)
    chances = betabinom.pmf(thrown, model.n_rides, *model.shapes)
    if not expected:
        chances, mean = (thrown == 0.0).astype(np.float64), 0.0

    def draw_day() -> Day:
        return np.repeat(thrown, random.multinomial(n_roads, chances)), np.ones(n_roads)

    return coverage(draw_day, rate=mean, expected=expected, n_days=n_days)
