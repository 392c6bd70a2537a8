"""Test problems with known fronts or sensitivities, and one with narrow constraints, in batches.

ZDT1, ZDT2: Zitzler, Deb and Thiele (2000), Evolutionary Computation 8(2): 173-195.
DTLZ2: Deb, Thiele, Laumanns and Zitzler (2002), Proc. CEC 2002: 825-830.
G*: Saltelli, Annoni, Azzini, Campolongo, Ratto and Tarantola (2010), Computer Physics
Communications 181: 259-270; from memory, held against scipy's indices in test_importance.py.
"""

import numpy as np

from optimizer.search.evaluation import Evaluation
from optimizer.search.plan import Plan
from optimizer.search.space import Space

N_PARAMETERS = 25
UNIT_BOX = Space(
    names=tuple(f"x{place}" for place in range(N_PARAMETERS)),
    low=np.zeros(N_PARAMETERS),
    high=np.ones(N_PARAMETERS),
)


def _unconstrained(objectives):
    n_candidates = len(objectives)
    return Evaluation(
        objectives=objectives,
        constraints=np.empty((n_candidates, 0)),
        rides=np.empty((n_candidates, 0, 0)),
    )


def zdt1(values):
    """Two objectives; the front is f2 = 1 - sqrt(f1)."""
    first = values[:, 0]
    distance = 1.0 + 9.0 * values[:, 1:].mean(axis=1)
    return _unconstrained(np.stack([first, distance * (1.0 - np.sqrt(first / distance))], axis=1))


def zdt2(values):
    """Two objectives; the front is f2 = 1 - f1^2, which no weighted sum can reach inside."""
    first = values[:, 0]
    distance = 1.0 + 9.0 * values[:, 1:].mean(axis=1)
    return _unconstrained(np.stack([first, distance * (1.0 - (first / distance) ** 2)], axis=1))


def dtlz2(values):
    """Three objectives; the front is the unit sphere's positive eighth."""
    radius = 1.0 + ((values[:, 2:] - 0.5) ** 2).sum(axis=1)
    across, up = values[:, 0] * np.pi / 2, values[:, 1] * np.pi / 2
    directions = [np.cos(across) * np.cos(up), np.cos(across) * np.sin(up), np.sin(across)]
    return _unconstrained(radius[:, None] * np.stack(directions, axis=1))


# Of each objective: its parameters, the most important first, and where each is best. All others
# are idle, and the same parameter wants other values in another objective.
G_STAR_ACTIVE = ((2, 7, 11, 16, 20), (7, 2, 5, 20, 13), (16, 11, 5, 2, 22))
G_STAR_BEST = ((0.3, 0.2, 0.6, 0.5, 0.7), (0.8, 0.7, 0.4, 0.3, 0.5), (0.1, 0.9, 0.8, 0.4, 0.6))
G_STAR_WEIGHTS = np.array([0.25, 1.5, 2.5, 6.0, 12.0])  # the smaller, the more important


def g_star(values, *, exponent):
    """Three objectives, each a G* of five of the parameters; two of the idle ones are constrained.

    Each factor is least where its parameter is best, with a kink there for an exponent of 1.
    """
    objectives = []
    for active, best in zip(G_STAR_ACTIVE, G_STAR_BEST, strict=True):
        off = np.abs(2.0 * np.mod(values[:, active] + 0.5 - np.array(best), 1.0) - 1.0)
        factors = ((1.0 + exponent) * off**exponent + G_STAR_WEIGHTS) / (1.0 + G_STAR_WEIGHTS)
        objectives.append(factors.prod(axis=1))
    return Evaluation(
        objectives=np.stack(objectives, axis=1),
        constraints=np.stack([np.abs(values[:, 9] - 0.5) - 0.2, 0.25 - values[:, 18]], axis=1),
        rides=np.empty((len(values), 0, 0), dtype=np.float32),
    )


def g_star_total_effects(*, exponent):
    """Return the share of an objective's variance that is gone with each active parameter known."""
    first = exponent**2 / ((1.0 + 2.0 * exponent) * (1.0 + G_STAR_WEIGHTS) ** 2)
    whole = np.prod(1.0 + first) - 1.0
    return first * (1.0 + whole) / (1.0 + first) / whole


SMALL_BOX = Space(
    names=("gain_a_per_deg", "rate_hz", "ratio"),
    low=np.array([1.0, 0.1, -1.0]),
    high=np.array([9.0, 1000.0, 1.0]),
    log=np.array([False, True, False]),
)
SMALL_BASELINE = np.array([4.0, 12.5, 0.3])


def narrow(values):
    """Three objectives of three parameters, two constraints that few random points meet."""
    gain, rate, ratio = values[:, 0], np.log10(values[:, 1]), values[:, 2]
    objectives = np.stack(
        [(gain - 2.0) ** 2 + rate**2, (gain - 6.0) ** 2 + ratio**2, (rate - 2.0) ** 2 + ratio**2],
        axis=1,
    )
    constraints = np.stack([np.abs(rate - 1.0) - 0.3, np.abs(ratio - 0.2) - 0.2], axis=1)
    rides = np.stack([objectives, objectives * 2.0], axis=1)
    rides[:, 1, 0] = np.nan
    return Evaluation(objectives=objectives, constraints=constraints, rides=rides)


def small_plan(*, seed, population=8, n_objectives=3, **changes):
    """Return what a search of the problem with narrow constraints proposes from."""
    given = {"space": SMALL_BOX, "baseline": SMALL_BASELINE, "weights": np.ones(n_objectives)}
    return Plan(seed=seed, population=population, **{**given, **changes})
