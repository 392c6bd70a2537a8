"""The studies of the benchmarks start from a profile that rides them."""

from pathlib import Path

import pytest

from objectives import CONSTRAINT_NAMES
from optimizer.execution.evaluate import ride_portfolio, rules_of
from optimizer.study.load import load_study
from plant.description.profile_array import profile_to_array
from tests.benchmarks.search_problems import EXAMPLE

STUDIES = sorted(path.parent for path in (Path(__file__).parent / "studies").glob("*/study.toml"))


@pytest.mark.parametrize("folder", STUDIES, ids=[folder.name for folder in STUDIES])
def test_the_baseline_meets_all_constraints(folder):
    study = load_study(folder)

    scores, _ = ride_portfolio(
        study, profile_to_array(study.baseline)[None, :], rules=rules_of(study, hard=False)
    )

    broken = dict(zip(CONSTRAINT_NAMES, scores.constraints[0], strict=True))
    assert max(broken.values()) <= 0.0, broken


def test_there_are_studies_of_a_faster_motor_and_of_a_smaller_wheel():
    studies = {folder.name: load_study(folder) for folder in STUDIES}
    fast, small = studies["fast_motor"], studies["small_wheel"]

    assert fast.board.motor.kv_rpm_per_v == 24.0
    assert [rider.body.mass_kg for rider in fast.riders.values()] == [35.0, 70.0, 100.0]
    assert small.board.wheel.wheel_radius_m == 0.125


def test_they_have_the_day_of_the_study_of_the_example_s_board():
    studies = {folder.name: load_study(folder) for folder in STUDIES}

    assert studies["high_kerbs"].board == load_study(EXAMPLE).board
    assert all(study.riding_day == studies["high_kerbs"].riding_day for study in studies.values())
