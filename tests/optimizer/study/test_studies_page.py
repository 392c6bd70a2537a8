"""What studies/README.md says to write into a study file, read as a study."""

import dataclasses
import re
import shutil

import numpy as np
import pytest

from objectives.score_settings import ScoreSettings
from optimizer.study.catalogue import COURSE, STUDIES_FOLDER, entry_names
from optimizer.study.load import load_study
from plant.description.profile_array import PROFILE_NAMES
from plant.physics.control import balancing_current

PAGE = (STUDIES_FOLDER / "README.md").read_text(encoding="utf-8")
HEAD = """
title = "A test"
board = "lender_15"
[riders]
use = ["clerk_62", "baker_80"]
"""
BASELINE = '[baseline]\nuse = "workshop_15"\n'


def block_with(words):
    """Return the one TOML block of the page that holds the words."""
    blocks = re.findall(r"```toml\n(.*?)```", PAGE, flags=re.DOTALL)
    (found,) = [block for block in blocks if words in block]
    return found


def loaded(folder, text):
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return load_study(folder)


@pytest.fixture
def routes(tmp_path):
    """Return a folder with the routes that the page's courses name."""
    shutil.copy(STUDIES_FOLDER / "hill_town" / "mill_lane.gpx", tmp_path / "hill.gpx")
    (tmp_path / "line.csv").write_text("distance_m,height_m\n0,0\n100,6\n", encoding="utf-8")
    rows = np.arange(80.0)[:, None]
    np.savez(tmp_path / "grid.npz", heights=0.4 * rows + np.zeros((80, 40)))
    return tmp_path


def test_the_whole_study_file_of_the_page_loads(tmp_path):
    study = loaded(tmp_path, block_with("courier"))

    assert study.rides
    assert study.weights["level_error_deg"] == 2.0
    assert study.settings.phase_margin_deg == 35.0
    assert study.validation.hours == 2000.0


def test_own_courses_add_to_all_of_the_catalogue(routes):
    own = block_with("across_the_grid")

    study = loaded(routes, HEAD + '[courses]\nuse = "all"\n' + own + BASELINE)

    assert set(study.courses) == {
        *entry_names(COURSE), "my_hill", "measured_hill", "across_the_grid"
    }  # fmt: skip
    across = study.courses["across_the_grid"].road.elevation
    rise_m, length_m = np.ptp(across.height_m), np.ptp(across.distance_m)
    assert rise_m / length_m == pytest.approx(0.4 / 5.0)  # 0.4 m up in each row of 5 m
    assert [ride.rider_name for ride in study.rides if ride.course.name == "measured_hill"] == [
        "baker_80"
    ]


def test_the_pid_of_the_page_is_one_and_stays_one(tmp_path):
    study = loaded(
        tmp_path,
        HEAD + '[courses]\nuse = ["cruise", "kerb_up"]\n' + block_with("inner_band_deg = 0.0"),
    )
    stiffness, damping = study.baseline.stiffness, study.baseline.damping

    for error_deg in (-25.0, -6.0, -0.5, 0.5, 6.0, 25.0):
        current_a = balancing_current(
            error_deg,
            np.radians(8.0),
            3.0,  # m/s, so that a negative error brakes
            0.0,
            1.0,
            4.0,
            stiffness.inner_gain_a_per_deg,
            stiffness.inner_band_deg,
            stiffness.base_gain_a_per_deg,
            stiffness.mid_knee_deg,
            stiffness.mid_gain_ratio,
            stiffness.outer_knee_deg,
            stiffness.outer_gain_ratio,
            damping.rate_gain_a_per_deg_per_s,
            damping.rate_current_cap_a,
            study.baseline.braking.braking_stiffness_ratio,
            study.baseline.braking.braking_damping_ratio,
        )
        assert current_a == pytest.approx(7.0 * error_deg + 0.6 * 8.0 + 4.0)
    assert study.baseline.load_response.stiffness_lift_per_mps2 == 0.0
    assert set(study.space.names) <= set(PROFILE_NAMES)
    assert not {"inner_gain_a_per_deg", "mid_gain_ratio", "uphill_gain_deg_per_mps2"} & set(
        study.space.names
    )


def test_the_page_tells_the_default_of_every_setting_of_the_score():
    rows = re.findall(r"^\| (`[a-z_0-9`, ]+`) \| ([^|]+) \|", PAGE, flags=re.MULTILINE)
    facts = {name: default for names, default in rows for name in re.findall(r"`(\w+)`", names)}

    for field in dataclasses.fields(ScoreSettings):
        if field.name in {"handling", "rider_difference"}:
            continue  # tables of their own
        expected = "not asked" if field.default is None else f"{field.default:g}"
        assert facts[field.name] == expected, field.name


def test_the_template_offers_constraints_at_their_defaults():
    text = (STUDIES_FOLDER / "template" / "study.toml").read_text(encoding="utf-8")
    table = text.partition("# [constraints]")[2].partition("# [riding_day]")[0]
    offered = dict(re.findall(r"^# (\w+) = ([\d.]+)", table, flags=re.MULTILINE))

    settings = ScoreSettings()
    assert {"sensitivity_limit", "rest_shake_limit_deg_per_s"} <= set(offered)
    for name, value in offered.items():
        default = getattr(settings, name)
        assert default is None or float(value) == default, name
