"""A study's own courses are told with what they ride, what of it counts, and what they miss."""

import numpy as np
import pytest

from optimizer.analysis.study_warnings import study_warnings
from optimizer.study.load import load_study
from optimizer.study.own_courses import own_courses
from tests.optimizer.study.test_load import BASE, written

# Flat for 200 m, then 100 m of 15 %, then flat; every 5 m.
HILL = "distance_m,height_m\n" + "".join(
    f"{at},{0.15 * np.clip(at - 200, 0, 100):.2f}\n" for at in range(0, 500, 5)
)


@pytest.fixture
def course(tmp_path):
    """Return a function from lines of a course over the hill to what is told of it."""
    (tmp_path / "hill.csv").write_text(HILL, encoding="utf-8")

    def told(lines):
        own = f'[courses.my_hill]\nuse = "cruise"\ntitle = "A hill"\n{lines}\n'
        (found,) = own_courses(load_study(written(tmp_path, BASE + own)))
        return found

    return told


def test_a_hill_that_is_not_reached_is_told(course):
    found = course('road.elevation = { file = "hill.csv", smooth_m = 10.0 }')

    # Cruise: 9 s at 5 m/s.
    assert (found.from_m, found.to_m, found.duration_s) == (0.0, 45.0, 9.0)
    assert found.route_m == 495.0
    assert found.uphill_percent == found.downhill_percent == 0.0
    (warning,) = found.warnings
    assert "does not ride the steepest of its route, 15 % at" in warning
    assert "0 to 45 m of hill.csv (495 m long) in 9 s" in str(found)
    assert "level counts 2-9 s, current never; clerk_62, baker_80." in str(found)


def test_a_hill_that_is_ridden_is_not(course):
    found = course(
        'road.elevation = { file = "hill.csv", smooth_m = 10.0, from_m = 190.0 }\n'
        "manoeuvre = { duration_s = 20.0, hold_s = [[1.0, 20.0]], count_s = [[1.0, 19.5]] }\n"
        'riders = ["baker_80"]'
    )

    assert (found.from_m, found.to_m) == (190.0, 290.0)
    assert found.uphill_percent == pytest.approx(15.0, abs=0.1)
    assert found.riders == ("baker_80",)
    assert found.warnings == ()


def test_a_course_longer_than_its_windows_is_told(course):
    found = course("manoeuvre = { duration_s = 30.0 }")

    assert found.file is None
    (warning,) = found.warnings
    assert "lasts 30 s, and nothing counts after 9 s" in warning


def test_a_course_without_windows_is_told(course):
    assert "counts for neither" in course("manoeuvre = { hold_s = [] }").warnings[0]


def on_board(folder, lines, *changes):
    text = BASE.replace('board = "lender_15"\n', f'[board]\nuse = "lender_15"\n{lines}\n')
    for old, new in changes:
        text = text.replace(old, new)
    return study_warnings(load_study(written(folder, text)))


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ("", ""),
        # NMC at 70 % of charge: some 3.9 V a cell (Chen et al. 2020).
        ("battery.cells_in_series = 19", "bus_high_v = 68 V: no ride can succeed"),
        ("battery.cells_in_series = 17\ndrive.regen_taper_v = 6.0", "braking tapers off"),
        ("battery.cells_in_series = 10", "bus_low_v = 42 V: no ride can succeed"),
    ],
)
def test_a_pack_outside_its_drives_voltages_is_told(tmp_path, lines, told):
    warnings = on_board(tmp_path, lines)

    assert len(warnings) == bool(told)
    assert told in "".join(warnings)


def test_a_study_of_one_ride_is_told(tmp_path):
    (warning,) = on_board(
        tmp_path, "", ('"cruise", "kerb_up"', '"kerb_up"'), ('"clerk_62", "baker_80"', '"clerk_62"')
    )

    assert "one ride, kerb_up/clerk_62" in warning
