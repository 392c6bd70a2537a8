"""A replayed ride is scored only on what both the log and the plant have."""

import math

import numpy as np
import pytest

from optimizer.base.json_io import json_text
from optimizer.ridelog.replay import compare, comparison_facts
from optimizer.ridelog.ridden_segment import Segment
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from optimizer.study.log_data.resampling import RideLog
from plant.description.profile_array import profile_to_array
from plant.kernel.trace import trace


@pytest.fixture(scope="module")
def ridden():
    study = load_study(STUDIES_FOLDER / "hill_town")
    ride = next(ride for ride in study.rides if ride.course.name == "cruise")
    return trace(profile_to_array(study.baseline), ride, every_steps=10)


def compared(ridden, bus_v):
    """Return the comparison of the bus voltage of a log that is sampled as the trace."""
    n_samples = len(ridden.time_s)
    log = RideLog(
        dt_s=0.01,
        time_s=ridden.time_s,
        part=np.zeros(n_samples, dtype=np.int64),
        signals={"bus_v": bus_v},
    )
    segment = Segment(
        samples=np.arange(n_samples),
        speed_points=(),
        distance_m=np.zeros(2),
        height_m=np.zeros(2),
        heights_from="",
    )
    [bus] = compare(log, segment, ridden)
    return bus


@pytest.mark.parametrize("seconds", [0.0, 2.0])
def test_a_signal_of_too_few_seconds_is_not_scored_as_perfect(ridden, seconds):
    bus_v = np.where(ridden.time_s <= seconds + 0.005, ridden.bus_v, np.nan)

    bus = compared(ridden, bus_v)

    scores = (bus.rms, bus.offset, bus.spread, bus.spread_ratio, bus.correlation)
    assert all(map(math.isnan, scores))
    facts = comparison_facts([bus], ridden, lag_s=0.0)
    assert facts["does_not_fit"] == [
        f"bus_v can not be compared: {seconds:.0f} s of it are in both, and 3 are needed"
    ]
    assert "can not be compared" in bus.in_words()
    assert '"rms_difference": null' in json_text(facts)


def test_a_signal_that_does_not_move_has_no_correlation(ridden):
    bus = compared(ridden, np.full(len(ridden.time_s), 50.0))

    assert bus.rms > 0.0
    assert math.isnan(bus.correlation)
    assert math.isnan(bus.spread_ratio)
    assert "correlation not defined" in bus.in_words()
    assert any("does not move" in text for text in bus.misfits())


def test_a_signal_that_is_as_predicted_has_no_misfit(ridden):
    bus = compared(ridden, ridden.bus_v)

    assert bus.correlation == pytest.approx(1.0)
    assert list(bus.misfits()) == []
