"""Test problems with known fronts and one with narrow constraints, as evaluations of batches.

ZDT1, ZDT2: Zitzler, Deb and Thiele (2000), Evolutionary Computation 8(2): 173-195.
DTLZ2: Deb, Thiele, Laumanns and Zitzler (2002), Proc. CEC 2002: 825-830.
"""

import numpy as np

from optimizer.evaluation import Evaluation
from optimizer.space import Space

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
