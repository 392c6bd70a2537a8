"""Rates of hard rides against exact intervals, a published example, known chances and sums."""

import dataclasses

import hypothesis.extra.numpy as hnp
import hypothesis.strategies as st
import numpy as np
import pytest
import scipy.stats
from hypothesis import given

from objectives.event_rate import LEAST_DESIGN_EFFECT, weighted_interval
from objectives.nose_down_rate import (
    NOSE_DOWNS_PER_NEARNESS,
    NOSE_WIDTH_RATIO,
    RESERVE_WIDTH_RATIO,
    DayRules,
    blended_rate,
    margin_widths,
    nearness,
    overall_rate,
    rates_by_rider,
)
from plant.kernel.outcomes import Outcome

PER_KM = 1000.0 * NOSE_DOWNS_PER_NEARNESS  # what a nearness of 1 in a day of 1 km comes to


def day(n_rides, *, rider=None, kilometres=(1.0,), worst=0.5, weight=None):
    """Return the rules of hard rides, each over a road of its own and for itself unless said."""
    return DayRules(
        rider=np.zeros(n_rides, dtype=np.int64) if rider is None else np.asarray(rider),
        road=np.arange(n_rides),
        weight=np.ones(n_rides) if weight is None else np.asarray(weight, dtype=np.float64),
        kilometres=np.asarray(kilometres, dtype=np.float64),
        worst_rider_weight=worst,
    )


def interval(near, *, road=None):
    """Return the sum of nearness and its interval, in which one more could be a whole one."""
    road = np.arange(len(near)) if road is None else road
    return near.sum(), *weighted_interval(near, road, most=1.0, least_design_effect=1.0)


def near_of(reserve, nose, outcome=Outcome.RIDDEN):
    reserve, nose = (np.atleast_2d(np.asarray(each, dtype=float)) for each in (reserve, nose))
    codes = np.broadcast_to(np.asarray(outcome, dtype=np.int8), reserve.shape)
    return nearness(margin_widths(reserve, nose, codes))


# The interval.


@pytest.mark.parametrize("count", [0, 1, 2, 5, 10, 40])
def test_interval_of_whole_events_is_the_exact_poisson_interval(count):
    near = np.zeros(72)
    near[:count] = 1.0

    rate, low, high = interval(near)

    # Garwood 1936 by chi-squared quantiles (Ulm 1990, Am. J. Epidemiology 131:373; from memory).
    assert rate == pytest.approx(count)
    assert low == pytest.approx(scipy.stats.chi2.ppf(0.025, 2 * count) / 2 if count else 0.0)
    assert high == pytest.approx(scipy.stats.chi2.ppf(0.975, 2 * count + 2) / 2)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # Garwood 1936, Biometrika 28:437, 95 %, as reprinted in many handbooks; from memory.
    [(1, 0.0253, 5.572), (2, 0.242, 7.225), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_interval_of_whole_events_is_garwoods_table(count, low, high):
    found = interval(np.ones(count))

    assert found[1:] == pytest.approx((low, high), rel=1e-3)


def test_interval_of_a_weighted_sum_is_that_of_the_published_example():
    # Fay and Feuer 1997, Statistics in Medicine 16:791, table of Down's syndrome by mother's age,
    # fifth and later children; the births are Fleiss 1981, table 14.4. The interval is printed in
    # the documentation of the R package dsrTest 1.0.0, method "gamma": per 100,000 births.
    cases = np.array([0, 8, 63, 112, 262, 295])
    births = np.array([327, 30666, 123419, 149919, 104088, 34392])
    standard = np.array([319933, 931318, 786511, 488235, 237863, 61313])
    weight = 1e5 * standard / standard.sum() / births
    by_case = np.repeat(weight, cases)

    found = (
        by_case.sum(),
        *weighted_interval(
            by_case, np.arange(len(by_case)), most=float(weight.max()), least_design_effect=1.0
        ),
    )

    assert found == pytest.approx((75.52901, 67.70212, 188.30017), rel=1e-6)


def test_without_anything_near_the_upper_end_is_that_of_a_plain_count_of_none():
    found = overall_rate(np.full(72, 1e-12), day(72, kilometres=[3000.0]))

    none = scipy.stats.chi2.ppf(0.975, 2) / 2  # Garwood 1936, from memory
    assert found.high == pytest.approx(1000.0 * LEAST_DESIGN_EFFECT * none / 3000.0, rel=1e-6)
    assert found.low < 1e-9


def test_interval_is_in_nose_downs_per_1000_km():
    rules = day(4, rider=[0, 0, 1, 1], kilometres=[100.0, 300.0])

    found = overall_rate(np.ones(4), rules)

    assert found.rate == pytest.approx(4.0 * NOSE_DOWNS_PER_NEARNESS * 1000.0 / 400.0)
    assert found.low < found.rate < found.high
    # Garwood's lower end of 2, the effective count of 4 at a design effect of 2; from memory.
    assert found.low == pytest.approx(2.0 * 0.2422 * NOSE_DOWNS_PER_NEARNESS * 2.5, rel=1e-3)


def test_a_day_of_which_one_ride_is_missing_has_no_rate():
    found = overall_rate(np.array([0.5, np.nan]), day(2, kilometres=[100.0]))

    np.testing.assert_array_equal([found.rate, found.low, found.high], np.nan)


def test_events_over_one_road_widen_the_interval():
    near = np.ones(12)

    rate, low, high = interval(near)
    same, lower, higher = interval(near, road=np.repeat([0, 1, 2], 4))

    assert same == rate
    assert lower < low
    assert higher > high


@pytest.mark.parametrize("expected_roads", [5.0, 20.0])
def test_interval_covers_a_compound_poisson_sum_as_often_as_it_says(expected_roads):
    # A Poisson number of roads, on each from one ride to four, each with any nearness.
    random = np.random.default_rng(11)
    n_days, mean_of_road = 2000, 2.5 * 0.5
    covered = []
    for n_roads in random.poisson(expected_roads, n_days):
        road = np.repeat(np.arange(n_roads), random.integers(1, 5, n_roads))
        near = random.uniform(0.0, 1.0, len(road))
        if not len(road):
            road, near = np.zeros(1, dtype=np.int64), np.zeros(1)
        _, low, high = interval(near, road=road)
        covered.append(low <= expected_roads * mean_of_road <= high)

    assert np.mean(covered) >= 0.95 - 3.0 * np.sqrt(0.05 * 0.95 / n_days)


# The rates.


TWO_RIDERS = day(6, rider=[0, 0, 1, 1, 1, 1], kilometres=[50.0, 150.0])


def test_each_rider_has_the_rate_of_the_own_rides_and_kilometres():
    near = np.array([[0.5, 0.5, 1.0, 0.5, 0.75, 0.75], [0.0, 0.0, 0.75, 0.75, 0.75, 0.75]])

    found = rates_by_rider(near, TWO_RIDERS)

    # (0.5 + 0.5) / 50 km; (1 + 0.5 + 2 x 0.75) / 150 km; none; 4 x 0.75 / 150 km.
    np.testing.assert_allclose(found, PER_KM * np.array([[0.02, 0.02], [0.0, 0.02]]))


@pytest.mark.parametrize(("worst", "expected"), [(0.0, 0.015), (1.0, 0.02), (0.25, 0.01625)])
def test_the_rate_goes_from_that_of_all_riders_to_that_of_the_worst(worst, expected):
    rules = dataclasses.replace(TWO_RIDERS, worst_rider_weight=worst)

    found = blended_rate(np.array([[0.0, 0.0, 0.75, 0.75, 0.75, 0.75]]), rules)

    # 3 over 200 km; 3 over the second rider's 150 km; a quarter of the way between.
    np.testing.assert_allclose(found, [PER_KM * expected])


def test_a_ride_that_stands_for_several_counts_as_often():
    weighted = day(3, rider=[0, 1, 1], kilometres=[50.0, 150.0], weight=[1.0, 3.0, 2.0])
    written_out = day(6, rider=[0, 1, 1, 1, 1, 1], kilometres=[50.0, 150.0])
    near, each = np.array([0.25, 0.5, 0.75]), np.array([0.25, 0.5, 0.5, 0.5, 0.75, 0.75])

    found, expected = blended_rate(near[None], weighted), blended_rate(each[None], written_out)

    np.testing.assert_allclose(found, expected)
    assert overall_rate(near, weighted).rate == pytest.approx(overall_rate(each, written_out).rate)


def test_a_rider_without_hard_rides_rode_without_a_nose_down():
    rules = day(2, rider=[1, 1], kilometres=[100.0, 100.0])

    found = rates_by_rider(np.ones((1, 2)), rules)

    np.testing.assert_allclose(found, [[0.0, PER_KM * 0.02]])


# Nearness.


def test_nearness_is_the_chance_that_either_scattering_margin_is_used_up():
    # Against the logistic distribution of another library.
    reserve, nose = 0.02, 0.15
    holds = scipy.stats.logistic.sf(0.0, loc=reserve, scale=RESERVE_WIDTH_RATIO)
    above = scipy.stats.logistic.sf(0.0, loc=nose, scale=NOSE_WIDTH_RATIO)

    assert near_of(reserve, nose)[0, 0] == pytest.approx(1.0 - holds * above)


margins = st.floats(-0.5, 1.5)


@given(margins, margins, st.floats(0.001, 0.5))
def test_less_of_either_margin_is_never_less_near(reserve, nose, less):
    near = near_of(reserve, nose)[0, 0]

    for lesser in (near_of(reserve - less, nose), near_of(reserve, nose - less)):
        assert 1.0 >= lesser[0, 0] >= near >= 0.0


@given(st.floats(-0.2, 0.3), st.floats(-0.4, 0.6), st.floats(0.001, 0.01))
def test_between_the_ends_less_of_either_margin_is_nearer(reserve, nose, less):
    near = near_of(reserve, nose)[0, 0]

    assert near_of(reserve - less, nose)[0, 0] > near
    assert near_of(reserve, nose - less)[0, 0] > near


@given(margins, margins)
def test_a_nose_down_is_as_near_as_can_be(reserve, nose):
    assert near_of(reserve, nose, Outcome.NOSE_DOWN)[0, 0] == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("widths", [-1e300, -1e3, 1e3, 1e300, np.inf, -np.inf])
def test_predictions_beyond_all_bounds_stay_between_none_and_one(widths):
    found = nearness(np.full((1, 2), widths))

    assert found[0, 0] == pytest.approx(1.0 if widths < 0.0 else 0.0, abs=1e-12)


def test_what_was_not_ridden_is_not_known():
    # pyproject makes a warning an error.
    reserve, nose = np.array([[np.nan, 0.1]]), np.array([[np.nan, 0.1]])
    near = near_of(reserve, nose, [[-1, 0]])
    rules = day(2, rider=[0, 1], kilometres=[10.0, 10.0])

    np.testing.assert_array_equal(np.isnan(near), [[True, False]])
    np.testing.assert_array_equal(np.isnan(rates_by_rider(near, rules)), [[True, False]])
    np.testing.assert_array_equal(np.isnan(blended_rate(near, rules)), [True])


tables = hnp.arrays(np.float64, (7, 72), elements=st.floats(-0.3, 1.0))


@given(tables, tables, st.integers(0, 7), st.sampled_from("CF"))
def test_a_candidate_has_the_same_rate_in_any_batch_to_the_last_bit(reserve, nose, split, order):
    rules = day(72, rider=np.arange(72) % 5, kilometres=np.linspace(300.0, 700.0, 5))

    def rates(reserve, nose):
        kept = (np.asarray(each, order=order) for each in (reserve, nose))
        return blended_rate(near_of(*kept), rules)

    whole = rates(reserve, nose)

    alone = [rates(reserve[[row]], nose[[row]])[0] for row in range(7)]
    np.testing.assert_array_equal(whole, alone)
    halves = [rates(reserve[rows], nose[rows]) for rows in (slice(split), slice(split, None))]
    np.testing.assert_array_equal(whole, np.concatenate(halves))
