"""Rates and their intervals against Garwood's table, the rule of three and known populations."""

import numpy as np
import pytest

from objectives.event_rate import design_effect, event_rate, poisson_interval


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # Garwood 1936, Biometrika 28:437, 95 %, as reprinted in many handbooks; from memory.
    [(1, 0.0253, 5.572), (2, 0.242, 7.225), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_interval_is_garwoods(count, low, high):
    assert poisson_interval(count) == pytest.approx((low, high), rel=1e-3)


def test_without_an_event_the_rule_of_three_holds():
    # Hanley & Lippman-Hand 1983, JAMA 249:1743: three over the number of trials.
    low, high = poisson_interval(0)

    assert low == 0.0
    assert high == pytest.approx(3.0, rel=2e-3)


@pytest.mark.parametrize("probability", [0.0004, 0.002, 0.02])
def test_interval_covers_a_known_binomial_as_often_as_it_says(probability):
    random = np.random.default_rng(7)
    n_trials = 2000
    counts = random.binomial(n_trials, probability, 4000)

    ends = {count: poisson_interval(int(count)) for count in np.unique(counts)}
    covered = np.mean(
        [ends[count][0] <= n_trials * probability <= ends[count][1] for count in counts]
    )

    assert covered >= 0.95 - 3.0 * np.sqrt(0.05 * 0.95 / 4000)


def test_independent_events_have_no_design_effect():
    random = np.random.default_rng(8)

    effects = [design_effect(random.poisson(0.3, 500), np.ones(500)) for _ in range(200)]

    assert np.mean(effects) == pytest.approx(1.02, abs=0.03)  # held at 1 from below


def test_interval_covers_clustered_events_as_often_as_it_says():
    # A gamma-Poisson mixture: rate 0.2 a cluster, its variance 1 + 0.2 / 0.25 = 1.8 times that.
    random = np.random.default_rng(9)
    exposure = np.ones(1500)
    covered = []
    for _ in range(1500):
        events = random.poisson(random.gamma(0.25, 0.2 / 0.25, exposure.size)).astype(float)
        found = event_rate(events, exposure)
        covered.append(found.low <= 0.2 <= found.high)

    assert np.mean(covered) >= 0.94


def test_rate_is_per_exposure():
    found = event_rate(np.array([0.0, 2.0, 1.0]), np.array([10.0, 20.0, 20.0]))

    assert (found.n_events, found.exposure, found.rate) == (3, 50.0, pytest.approx(0.06))
    assert found.low < 0.06 < found.high


def test_nothing_ridden_has_no_rate():
    with pytest.raises(ValueError, match="exposure must be above zero"):
        event_rate(np.zeros(2), np.zeros(2))
