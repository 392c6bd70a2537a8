"""Rates and their intervals against Garwood's table, the rule of three and known populations."""

import numpy as np
import pytest
import scipy.stats

from objectives.event_rate import (
    LEAST_DESIGN_EFFECT,
    design_effect,
    event_rate,
    exposure_to_show,
    most_unseen,
    poisson_interval,
    weighted_interval,
)


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


def test_design_effect_is_that_of_a_sum_over_clusters_by_hand():
    # n / (n - 1) times the squared residuals over the count: Rao and Scott 1992, Biometrics 48:577.
    events, exposure = np.array([3.0, 2.0, 0.0, 0.0, 0.0]), np.array([2.0, 1.0, 1.0, 1.0, 0.0])

    # The common rate is 1: residuals 1, 1, -1, -1 and 0.
    assert design_effect(events, exposure) == pytest.approx(5.0 / 4.0 * 4.0 / 5.0)


def test_independent_events_have_no_design_effect():
    random = np.random.default_rng(8)

    effects = [design_effect(random.poisson(0.3, 500), np.ones(500)) for _ in range(200)]

    assert np.mean(effects) == pytest.approx(1.0, abs=0.02)


def test_the_count_of_a_gamma_poisson_mixture_has_the_design_effect_of_its_parameters():
    # Variance of a negative binomial over its mean: 1 + 0.2 / 0.25.
    random = np.random.default_rng(8)
    rates = random.gamma(0.25, 0.2 / 0.25, (200, 1500))

    effects = [design_effect(random.poisson(each), np.ones(1500)) for each in rates]

    assert np.mean(effects) == pytest.approx(1.8, abs=0.05)


@pytest.mark.parametrize("count", [1, 4, 10])
def test_few_events_count_for_half_of_their_number(count):
    events = np.zeros(1000)
    events[:count] = 1.0

    found = event_rate(events, np.ones(1000))

    low, high = poisson_interval(count / 2.0)
    assert found.design_effect == LEAST_DESIGN_EFFECT == 2.0
    assert (found.low, found.high) == pytest.approx((low / 500.0, high / 500.0))


def test_without_an_event_twice_the_rule_of_three_holds():
    found = event_rate(np.zeros(10), np.full(10, 2.0))

    # Hanley & Lippman-Hand 1983, JAMA 249:1743: three; each road that throws may throw two.
    assert (found.rate, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(2.0 * 3.0 / 20.0, rel=2e-3)
    assert found.high == pytest.approx(most_unseen() / 20.0)


# Rides thrown by each road that threw any, counted for two baselines over 2,001 h and 601 h of 16
# rides a road; see tests/benchmarks/RESULTS.md.
THROWN = {
    "none together": [1],
    "hill_town": [1] * 4 + [2] * 4 + [4],
    "fast_motor": [1] * 8 + [2, 3, 5, 5],
}


@pytest.mark.parametrize("expected", [1.0, 3.0, 6.0, 13.0, 25.0])
@pytest.mark.parametrize("name", THROWN)
def test_interval_covers_clustered_events_as_often_as_it_says(name, expected):
    random, thrown, n_days = np.random.default_rng(9), np.array(THROWN[name], dtype=float), 1500
    covered = []
    for n_roads in random.poisson(expected / thrown.mean(), n_days):
        events = np.zeros(2000)
        events[:n_roads] = random.choice(thrown, n_roads)
        found = event_rate(events, np.ones(2000))
        covered.append(found.low <= expected / 2000.0 <= found.high)

    assert np.mean(covered) >= 0.95 - 2.0 * np.sqrt(0.05 * 0.95 / n_days)


def test_events_that_are_known_to_be_single_have_garwoods_interval():
    events = np.zeros(1000)
    events[:3] = 1.0

    found = event_rate(events, np.ones(1000), least_design_effect=1.0)

    assert (1000 * found.low, 1000 * found.high) == pytest.approx(poisson_interval(3), rel=1e-3)


@pytest.mark.parametrize("effect", [1.0, 2.0, 3.4])
@pytest.mark.parametrize("count", [1, 3, 12])
def test_equal_weights_have_the_interval_of_the_plain_count(count, effect):
    found = weighted_interval(
        np.full(count, 0.7), np.arange(count), most=0.7, least_design_effect=effect
    )

    low, high = poisson_interval(count / effect)
    assert found == pytest.approx((0.7 * effect * low, 0.7 * effect * high))


def test_weighted_events_of_one_road_have_the_interval_of_one_event_of_their_sum():
    # Garwood's interval of one event; from memory.
    found = weighted_interval(
        np.full(3, 0.1), np.zeros(3, dtype=np.int64), most=0.1, least_design_effect=1.0
    )

    assert found == pytest.approx((0.3 * 0.0253, 0.3 * 5.572), rel=1e-3)


def test_without_a_weighted_event_one_more_of_the_highest_weight_may_come():
    # Garwood's two-sided upper end of none, -ln 0.025; one more counts by the design effect.
    none = np.empty(0)

    found = weighted_interval(none, none.astype(np.int64), most=0.5, least_design_effect=3.0)

    assert found == pytest.approx((0.0, 3.0 * 0.5 * 3.6889), rel=1e-4)


# Hours until a limit is shown.


def test_without_an_event_a_limit_is_shown_when_none_can_be_expected_up_to_it():
    assert exposure_to_show(0.29, rate=0.0) == pytest.approx(most_unseen() / 0.29)


@pytest.mark.parametrize("share", [0.01, 0.3, 0.5, 0.9])
@pytest.mark.parametrize("effect", [1.0, 2.5])
def test_the_interval_of_what_is_expected_in_that_exposure_ends_at_the_limit(share, effect):
    exposure = exposure_to_show(0.29, rate=share * 0.29, design_effect=effect)

    expected = share * 0.29 * exposure / effect
    high = scipy.stats.chi2.ppf(0.975, 2.0 * expected + 2.0) / 2.0  # Garwood 1936, from memory
    assert effect * high / exposure == pytest.approx(0.29, rel=1e-9)


def test_a_rate_that_is_not_below_a_limit_is_never_shown_to_be():
    assert exposure_to_show(0.29, rate=0.29) == np.inf


def test_about_half_of_the_days_of_that_exposure_show_the_limit():
    random = np.random.default_rng(12)
    exposure = exposure_to_show(0.3, rate=0.15)
    counts = 2.0 * random.poisson(0.15 * exposure / 2.0, 2000)  # two riders a road

    highs = [2.0 * poisson_interval(count / 2.0)[1] / exposure for count in counts]

    assert 0.4 < np.mean(np.array(highs) <= 0.3) < 0.6


def test_rate_is_per_exposure():
    found = event_rate(np.array([0.0, 2.0, 1.0]), np.array([10.0, 20.0, 20.0]))

    assert (found.n_events, found.exposure, found.rate) == (3, 50.0, pytest.approx(0.06))
    assert found.low < 0.06 < found.high


def test_few_events_of_one_road_are_judged_as_one():
    # The common rate is 1: residuals 3, -1, -1 and -1, so 12 / 4 times 4 / 3. One event of four
    # times the weight is left, of which Garwood's interval is 0.0253 to 5.572; from memory.
    found = event_rate(np.array([4.0, 0.0, 0.0, 0.0]), np.ones(4))

    assert found.design_effect == pytest.approx(4.0)
    assert (found.low, found.high) == pytest.approx((0.0253, 5.572), rel=1e-3)


def test_nothing_ridden_has_no_rate():
    with pytest.raises(ValueError, match="exposure must be above zero"):
        event_rate(np.zeros(2), np.zeros(2))
