"""What of the baseline's handling can be compared with, and what a profile does not finish."""

import dataclasses

import numpy as np
import pytest

from objectives import CONSTRAINT_NAMES
from optimizer.analysis.handling_words import unfinished_rides
from optimizer.execution.baseline_handling import baseline_handling, not_compared
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES, array_to_profile, profile_to_array
from tests.optimizer.small_study import searched, write_small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    change = ("[constraints]", "[constraints]\nlike_baseline_percent = 20.0")
    heavy = ('"pupil_40", "baker_80"', '"pupil_40", "smith_105"')
    return load_study(write_small_study(tmp_path_factory.mktemp("like") / "study", change, heavy))


def softer(study, ratio):
    """Return the study with a baseline of less stiffness."""
    baseline = profile_to_array(study.baseline)
    for name in ("inner_gain_a_per_deg", "base_gain_a_per_deg"):
        baseline[PROFILE_NAMES.index(name)] *= ratio
    return dataclasses.replace(study, baseline=array_to_profile(baseline))


def test_all_numbers_of_a_sound_baseline_can_be_compared_with(study):
    assert not_compared(study) == ""


def test_what_a_baseline_does_not_finish_is_left_out_and_said_in_one_line(study):
    soft = softer(study, 0.2)

    said = not_compared(soft)

    assert np.isnan(baseline_handling(soft)).any()
    assert "\n" not in said
    assert "leaves out feel_deg_per_mps2," in said
    assert "handling_accelerate" in said
    unasked = dataclasses.replace(soft.settings, like_baseline_percent=None)
    assert not_compared(dataclasses.replace(soft, settings=unasked)) == ""


def test_a_profile_that_does_not_finish_a_handling_ride_fails_and_says_why(study):
    open_bands = dataclasses.replace(
        study.settings, handling={}, like_baseline_percent=None, feel_low_deg_per_mps2=None
    )
    study = dataclasses.replace(study, settings=open_bands)
    rules = rules_of(study, hard=False)
    profile = profile_to_array(softer(study, 0.2).baseline)[np.newaxis]

    scores, rides = ride_portfolio(study, profile, rules=rules)

    lines = unfinished_rides(study, rules.parts(rides)[1][0])
    assert "handling_accelerate/smith_105 (the nose touched the ground)" in lines
    assert not any("lean_past_limit" in line for line in lines)
    [constraints] = scores.constraints
    assert constraints[CONSTRAINT_NAMES.index("handling_end")] == len(lines)
    assert constraints[CONSTRAINT_NAMES.index("handling")] < 0.0


def test_check_and_run_say_what_can_not_be_compared(levelgain, tmp_path):
    gains = "{ inner_gain_a_per_deg = 2.4, base_gain_a_per_deg = 1.05 }"
    soft = ('use = "workshop_15"', f'use = "workshop_15"\nstiffness = {gains}')
    wide = (
        "hard_rides_h = 2.0",
        "hard_rides_h = 2.0\n[search.bounds]\n"
        "inner_gain_a_per_deg = [1.0, 20.0]\nbase_gain_a_per_deg = [1.0, 12.0]",
    )
    heavy = ('"pupil_40", "baker_80"', '"pupil_40", "smith_105"')
    like = ("[constraints]", "[constraints]\nlike_baseline_percent = 20.0")
    folder = write_small_study(tmp_path / "soft", soft, wide, heavy, like)
    notices = []

    _, out, _ = levelgain("check", folder)
    searched(folder, 12, notices=notices)

    said = not_compared(load_study(folder))
    assert said
    assert said in out.replace("\n", " ")
    assert said in notices
