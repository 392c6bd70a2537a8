"""The benchmark of the rate on other days rides what neither search nor re-evaluation saw."""

import numpy as np
import pytest

from objectives.nose_down_rate import NOSE_DOWNS_PER_NEARNESS
from optimizer.execution.hard_rides import hard_rides_of
from optimizer.riding_day.weak_profiles import ridden_nearness
from optimizer.study.load import load_study
from plant.description.profile_array import profile_to_array
from plant.kernel.simulate import simulate
from tests.benchmarks.rate_on_other_days import main, other_days, report, ridden
from tests.optimizer.small_study import searched, write_small_study


def test_other_days_have_roads_and_noise_of_their_own(tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    own = hard_rides_of(study)

    days = other_days(study, 1)

    assert len(days) == 2
    seeds = {ride.course.road_seed for hard in (own, own.others) for ride in hard.rides}
    assert not seeds & {ride.course.road_seed for hard in days for ride in hard.rides}


def test_the_rate_there_is_nearness_by_weight_over_the_way(tmp_path):
    study = load_study(write_small_study(tmp_path / "study"))
    hard = hard_rides_of(study)
    profiles = profile_to_array(study.baseline)[None, :]

    rate, _ = ridden(study, hard, profiles)

    near = ridden_nearness(simulate(profiles, hard.rides))[0] @ hard.weights
    expected = 1000.0 * NOSE_DOWNS_PER_NEARNESS * near / sum(hard.kilometres.values())
    assert rate == pytest.approx([expected])


def test_the_report_orders_the_front_alone():
    objective, rate = np.array([0.1, 0.2, 0.3, 0.4]), np.array([9.0, 1.0, 2.0, 3.0])

    text = report([0, 5, 6, 7], objective, rate, np.array([9.0, 3.0, 2.0, 1.0]))

    assert "| with the rate on other days | 1.00 |" in text
    assert "| with nose-downs there | -1.00 |" in text
    assert "| 6 | 0.300 | 2.000 | 2 |" in text


def test_the_command_rides_a_searched_study(tmp_path):
    folder = write_small_study(tmp_path / "study")
    searched(folder, 24)

    text = main([str(folder), "--days", "1", "--profiles", "3", "--threads", "1"])

    assert text.startswith("| candidate | objective |")
    assert "| 0 | " in text
