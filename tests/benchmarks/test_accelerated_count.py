"""The benchmark of the accelerated estimate sets it beside the plain counts of the same day."""

import dataclasses

import numpy as np

from objectives.event_rate import event_rate
from objectives.nose_down_rate import RateEstimate
from optimizer.validation.accelerated_count import AcceleratedCount
from optimizer.validation.nose_down_rate import DayCount
from tests.benchmarks.accelerated_count import Compared, main, report
from tests.optimizer.small_study import SHORT_RIDES, searched, write_small_study


def day(hours, events):
    kilometres = 10.0 * hours
    return DayCount(
        hours=hours,
        kilometres=kilometres,
        n_courses=4,
        per_1000_km=event_rate(events, events * 0.0 + kilometres / 4000.0),
        other_ends={},
        causes={},
        by_pace={},
        by_rider={},
        nose_downs=(),
    )


def test_the_report_says_whether_the_plain_rate_lies_inside():
    events = np.array([6.0, 0.0, 0.0, 0.0])
    estimate = AcceleratedCount(
        hours=500.0,
        kilometres=5000.0,
        ridden_h=104.0,
        in_hardest=3,
        in_rest=1,
        rest_weight=5.0,
        assumes_an_empty_rest=False,
        per_1000_km=RateEstimate(rate=1.6, low=0.7, high=4.0),
    )
    one = Compared(
        name="candidate 7",
        whole=day(500.0, events),
        beginning=day(100.0, events / 6.0),
        estimate=estimate,
        whole_in_hardest=4,
    )

    inside = report([one]).splitlines()
    low = dataclasses.replace(estimate, per_1000_km=RateEstimate(rate=0.4, low=0.1, high=0.9))
    outside = report([dataclasses.replace(one, estimate=low)]).splitlines()

    assert inside[1] == "candidate 7"
    assert inside[2].split()[2:5] == ["500", "6", "1.200"]
    assert inside[4].endswith("1.600 (0.700 to 4.000), from 3 + 5.0 x 1")
    assert "lies inside its interval; 4 of 6 nose-downs" in inside[5]
    assert "OUTSIDE" in outside[5]


def test_the_command_compares_a_searched_studys_profiles(tmp_path):
    folder = write_small_study(tmp_path / "small", SHORT_RIDES)
    searched(folder, 24)

    text = main([str(folder), "--hours", "1", "--candidates", "0"])

    assert "candidate 0" in text
    assert "lies inside" in text
