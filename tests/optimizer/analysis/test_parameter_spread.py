import numpy as np
import pytest
from scipy.stats import beta

from optimizer.analysis.parameter_spread import DETERMINED, FREE, PARTLY, judged, widest, within


@pytest.mark.parametrize("n_seeds", [2, 3, 7])
def test_the_chance_to_lie_so_near_is_that_of_the_range_of_even_draws(n_seeds):
    ways = np.linspace(0.0, 1.0, 21)
    drawn = np.ptp(np.random.default_rng(8).uniform(size=(200_000, n_seeds)), axis=1)

    chances = [within(way, n_seeds) for way in ways]

    np.testing.assert_allclose(chances, beta(n_seeds - 1, 2).cdf(ways), atol=1e-12)
    np.testing.assert_allclose(chances, [(drawn <= way).mean() for way in ways], atol=5e-3)


@pytest.mark.parametrize(
    ("way", "n_seeds", "word"),
    [
        (0.0, 2, DETERMINED),
        (0.03, 2, PARTLY),  # two draws lie as near in 6 % of cases
        (0.3, 2, FREE),
        (0.13, 3, DETERMINED),
        (0.14, 3, PARTLY),
        (0.51, 3, FREE),
        (0.24, 10, DETERMINED),
        (0.3, 10, PARTLY),  # no chance, but no narrow part of the range either
        (1.0, 10, FREE),
    ],
)
def test_a_parameter_is_judged_by_what_chance_would_do(way, n_seeds, word):
    assert judged(way, n_seeds=n_seeds) == word


@pytest.mark.parametrize("chance", [0.05, 0.5])
def test_the_widest_way_has_that_chance(chance):
    assert within(widest(chance, 4), 4) == pytest.approx(chance, abs=1e-6)
