"""The page that films a validation's nose-downs."""

import dataclasses
import html
import json
import re

import numpy as np
import pytest

from optimizer.reports.page.nose_downs import nose_down_rides, write_nose_downs
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.trace import trace
from tests.optimizer.reports.page.unpacking import unpacked_signals
from tests.optimizer.small_study import write_small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    study = load_study(write_small_study(tmp_path_factory.mktemp("films") / "study"))
    few = dataclasses.replace(study.validation, n_draws=2)
    return dataclasses.replace(study, validation=few)


@pytest.fixture(scope="module")
def weak(study):
    """Return the baseline with a fifth of its stiffness."""
    profile = profile_to_array(study.baseline)
    for name in ("base_gain_a_per_deg", "inner_gain_a_per_deg"):
        profile[PROFILE_NAMES.index(name)] *= 0.2
    return profile


@pytest.fixture(scope="module")
def rides(study, weak):
    return nose_down_rides(study, weak, [], n_jobs=2)


def films_of(path):
    text = path.read_text()
    data = re.search(r'<script type="application/json" id="study-data">(.*?)</script>', text)
    return text, json.loads(data[1])


def test_every_ride_that_is_filmed_ends_with_the_nose_down(weak, rides):
    assert rides
    for _, ride in rides[:6]:
        assert trace(weak, ride).outcome is Outcome.NOSE_DOWN


def test_a_film_ends_where_the_nose_touches_and_begins_at_most_eight_seconds_before(
    study, weak, rides, tmp_path
):
    path = tmp_path / "films.html"
    shown = write_nose_downs(path, study, weak, rides[:4], called="<b>weak</b>")
    text, facts = films_of(path)

    assert shown == len(facts["films"]) == len(rides[:4])
    assert "Nose-downs of <b>" not in text
    assert "Nose-downs of <b>weak</b>" in html.unescape(text)
    for film in facts["films"]:
        own = unpacked_signals(film["own"]["signals"])
        clearance = own[facts["signals"].index("nose_clearance_cm")]
        assert film["own"]["ended"] == Outcome.NOSE_DOWN.message
        assert own.shape[1] <= 401  # every 20 ms, both ends
        assert clearance[-1] == np.min(clearance) < 3.0
        if film["base"]:
            assert film["base"]["from_s"] == film["own"]["from_s"]


def test_of_very_many_some_spread_over_all_are_filmed_and_the_page_says_so(
    study, weak, rides, tmp_path, monkeypatch
):
    monkeypatch.setattr("optimizer.reports.page.nose_downs.MOST_FILMED", 2)
    path = tmp_path / "films.html"
    shown = write_nose_downs(path, study, weak, rides[:5], called="weak")
    text, facts = films_of(path)

    assert shown == 2
    assert [film["ride"] for film in facts["films"]] == [rides[0][1].name, rides[4][1].name]
    assert "2 of 5 in the validation" in text
