"""Draws of the tolerances fill their box evenly and stay inside what a number can be."""

import dataclasses

import numpy as np
import pytest
from scipy.stats import qmc

from optimizer.analysis.demonstration_catalogue import example_board, rider_of
from optimizer.base.errors import UserInputError
from optimizer.study.load import load_study
from optimizer.study.tolerance_draws import draws
from optimizer.study.tolerances import Shape, Tolerance, moved
from tests.optimizer.study.test_load import BASE, written


def uniform(name, percent=0.0, plus_minus=0.0):
    return Tolerance(name=name, percent=percent, plus_minus=plus_minus, shape=Shape.UNIFORM)


FIVE = [uniform(f"number_{place}", 10.0) for place in range(5)]


def test_draws_fill_the_box_more_evenly_than_independent_ones():
    ours = qmc.discrepancy((draws(FIVE, 64, seed=3) + 1.0) / 2.0)
    independent = [
        qmc.discrepancy(np.random.default_rng(seed).random((64, 5))) for seed in range(50)
    ]

    assert ours < 0.5 * np.median(independent)
    assert ours < min(independent)


def test_a_normal_spread_has_its_ends_at_two_standard_deviations():
    normal = [dataclasses.replace(FIVE[0], shape=Shape.NORMAL)]

    drawn = draws(normal, 4096, seed=1)[:, 0]

    assert np.std(drawn) == pytest.approx(0.5, rel=0.02)
    assert np.abs(drawn).max() <= 1.5


def test_draws_depend_on_the_seed_alone():
    np.testing.assert_array_equal(draws(FIVE, 16, seed=4), draws(FIVE, 16, seed=4))
    assert not np.array_equal(draws(FIVE, 16, seed=4), draws(FIVE, 16, seed=5))


def test_each_number_moves_by_its_own_width():
    spreads = [uniform("kv_rpm_per_v", percent=4.0), uniform("gyro_bias_deg_per_s", plus_minus=0.2),
               uniform("mass_kg", percent=10.0)]  # fmt: skip
    board, rider = example_board(), rider_of("baker_80")

    low, high = (moved(board, spreads, np.array([end, end, end])) for end in (-1.0, 1.0))
    heavy = moved(rider, spreads, np.array([0.0, 0.0, 1.0]))

    assert low.motor.kv_rpm_per_v == pytest.approx(15.0 * 0.96)
    assert high.motor.kv_rpm_per_v == pytest.approx(15.0 * 1.04)
    assert high.sensors.gyro_bias_deg_per_s - low.sensors.gyro_bias_deg_per_s == pytest.approx(0.4)
    assert heavy.body.mass_kg == pytest.approx(88.0)
    assert heavy.skill == rider.skill


def test_a_number_stays_inside_what_it_can_be():
    spread = [uniform("foot_use_ratio", percent=90.0)]

    assert moved(rider_of("baker_80"), spread, np.array([1.0])).skill.foot_use_ratio == 1.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("tolerances.kv = { percent = 3.0 }", "the nearest is kv_rpm_per_v"),
        ("tolerances.mass_kg = { shape = 'round' }", "tolerances.mass_kg"),
        ("validation.hours = 0.0", "hours of the riding day"),
        ("riding_day.surfaces.lava = 3.0", "the catalogue has no 'lava'"),
        ("riding_day.surfaces.gravel = -3.0", "a number from 0 to 1e+06, got -3"),
        ("riding_day.surfaces = 3.0", "must be a table, got 3"),
        ("riding_day.fastest_mps.lava = 3.0", "the catalogue has no 'lava'"),
        ("riding_day.fastest_mps.gravel = 0.0", "fastest speed over this surface"),
        ("riding_day.kerb_mps = 0.0", "fastest wanted speed over a kerb"),
        ("riding_day.fast = 3.0", "the nearest allowed is fast_mps"),
        ("riding_day = 3", "must be a table of keys, got 3"),
        ("tolerances = 3", "must be a table, got 3"),
        ("validation = 3", "must be a table of keys, got 3"),
        (
            "validation.riding_day.fast_mps = 3.0",
            "validation.riding_day: is a table of its own, since it decides the search too;"
            " write [riding_day] for [validation.riding_day]",
        ),
        (
            "validation.tolerances.mass_kg = { percent = 3.0 }",
            "write [tolerances] for [validation.tolerances]",
        ),
    ],
)
def test_a_bad_table_of_what_is_not_known_is_refused_in_one_line(tmp_path, text, message):
    with pytest.raises(UserInputError, match=text.split(".")[0].split()[0]) as caught:
        load_study(written(tmp_path, text + "\n" + BASE))

    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
