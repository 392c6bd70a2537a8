"""The plan for first rides is written for its profile, and says when to stop."""

import numpy as np
import pytest

from optimizer.analysis.results import read_results
from optimizer.analysis.rider_effects import NOTICED, largest_changes
from optimizer.base.cautions import CAUTIONS
from optimizer.execution.run import run_study
from optimizer.reports.first_rides import plan_text, stages, warning_speeds
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES
from tests.optimizer.small_study import write_small_study


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    study = load_study(write_small_study(tmp_path_factory.mktemp("plan") / "study"))
    run_study(study, n_candidates=24, n_jobs=2, on_generation=lambda _: None, stop=lambda: False)
    return read_results(study)


def test_every_setting_has_words_for_what_a_rider_notices():
    assert set(NOTICED) == set(PROFILE_NAMES)
    for more, less in NOTICED.values():
        assert more != less


def test_the_largest_changes_are_told_with_their_numbers(results):
    number = 1  # a pick may be the baseline, 0, from which nothing changed
    space = results.study.space
    before, after = results.history.values[[0, number]]

    changes = largest_changes(results, number, limit=3)

    share = np.abs(after - before) / (space.high - space.low)
    largest = space.names[int(np.argmax(share))]
    assert changes[0].startswith(f"{largest} ")
    assert largest_changes(results, 0) == []


def test_a_heavier_rider_is_warned_at_a_lower_speed(results):
    speeds = warning_speeds(results, 0)

    assert speeds["baker_80"] <= speeds["pupil_40"]
    assert 4.0 < speeds["baker_80"] < 12.0


def test_the_plan_begins_with_cautions_and_each_stage_says_when_to_stop(results):
    number = 1
    text = plan_text(results, number)

    assert all(caution in text for caution in CAUTIONS)
    assert text.count("Stop when:") == len(stages(results, number)) == 7
    assert text.index(CAUTIONS[0]) < text.index("## Stages")


def test_a_profile_that_fails_is_not_to_be_ridden(results):
    failing = np.flatnonzero(~results.feasible)
    if not len(failing):
        pytest.skip("every candidate of this small search is feasible")

    assert "Do not ride it" in plan_text(results, int(failing[0]))
