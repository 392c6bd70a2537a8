"""Rates of each rider with intervals, from the rider's own hard rides."""

import dataclasses

import numpy as np
import pytest

from objectives.nose_down_rate import (
    NOSE_DOWNS_PER_NEARNESS,
    DayRules,
    overall_rate,
    rates_by_rider,
    rider_rates,
)

# Limits of 95 % for the mean of a Poisson count: Garwood 1936, Biometrika 28:437; the numbers are
# from memory of the usual tables.
GARWOOD = {0: (0.0, 3.689), 1: (0.0253, 5.572), 5: (1.623, 11.668), 10: (4.795, 18.390)}


def day(n_rides, *, rider=0, n_riders=1, kilometres=1000.0, road=None):
    """Return a day in which each ride stands for one, each over a road of its own unless said."""
    return DayRules(
        rider=np.full(n_rides, rider, dtype=np.int64) if np.isscalar(rider) else rider,
        road=np.arange(n_rides) if road is None else road,
        weight=np.ones(n_rides),
        kilometres=np.full(n_riders, kilometres),
        worst_rider_weight=0.5,
    )


@pytest.mark.parametrize("count", GARWOOD)
def test_the_lower_end_is_that_of_a_plain_count_and_the_upper_allows_for_one_more(count):
    near = np.zeros(24)
    near[: 2 * count] = 1.0

    (found,) = rider_rates(near, day(24))

    # Two count for one: roads throw several.
    in_counts = np.array([found.rate, found.low]) / NOSE_DOWNS_PER_NEARNESS
    assert in_counts == pytest.approx([2 * count, 2 * GARWOOD[count][0]], abs=2e-3)
    # In 1,000 km; hard rides of no nearness show as much as a plain count of none.
    assert found.high >= 2 * GARWOOD[0][1] - 2e-3
    assert found.high > 2 * GARWOOD[count][1] * NOSE_DOWNS_PER_NEARNESS


def test_each_rider_has_the_rate_of_its_own_rides():
    random = np.random.default_rng(3)
    near = random.uniform(size=40)
    asked = day(40, rider=random.integers(0, 3, 40), n_riders=3, kilometres=700.0)
    own = asked.rider == 1

    found = rider_rates(near, asked)

    assert [each.rate for each in found] == pytest.approx(rates_by_rider(near[None], asked)[0])
    alone = overall_rate(near[own], day(int(own.sum()), kilometres=700.0))
    assert dataclasses.astuple(found[1]) == pytest.approx(dataclasses.astuple(alone))


def test_a_rider_without_a_hard_ride_has_a_rate_of_zero_and_an_upper_end():
    found = rider_rates(np.full(4, 0.5), day(4, rider=0, n_riders=2))[1]

    assert (found.rate, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(2 * GARWOOD[0][1], abs=1e-3)


def test_one_road_that_throws_many_widens_the_interval():
    near = np.ones(10)

    (apart,) = rider_rates(near, day(10))
    (together,) = rider_rates(near, day(10, road=np.zeros(10, dtype=np.int64)))

    assert together.rate == pytest.approx(apart.rate)
    assert together.low < apart.low
    assert together.high > apart.high


def test_what_was_not_ridden_has_no_rate():
    near = np.array([0.5, np.nan])

    assert np.isnan(dataclasses.astuple(overall_rate(near, day(2)))).all()
    assert np.isnan(dataclasses.astuple(rider_rates(near, day(2))[0])).all()
