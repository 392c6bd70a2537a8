import dataclasses
import json
import math

import numpy as np
import pytest

from optimizer.analysis.results import read_results
from optimizer.analysis.what_if import numbers_asked, what_if_study
from optimizer.base.errors import UserInputError
from optimizer.study.load import load_study
from tests.optimizer.small_study import write_small_study

LANE = """
[courses.lane]
use = "cruise"
title = "An invented lane"
manoeuvre.charge_ratio = 0.3
manoeuvre.duration_s = 3.0
manoeuvre.hold_s = [[1.0, 3.0]]
riders = ["baker_80"]
"""


@pytest.fixture
def lane(tmp_path):
    path = tmp_path / "lane.toml"
    path.write_text(LANE)
    return path


@pytest.fixture
def study(tmp_path):
    return load_study(write_small_study(tmp_path / "small"))


def test_a_candidate_of_a_finished_study_rides_a_course_of_a_file_with_other_numbers(
    levelgain, finished, lane
):
    before = (finished / "study.toml").read_bytes(), len(read_results(load_study(finished)))
    numbers = ("--if", "charge_ratio=1", "--if", "mass_kg=95")
    code, out, _ = levelgain("ride", finished, "7", "--courses", lane, *numbers)

    assert code == 0
    assert "lane/baker_80" in out
    assert "charge_ratio from 0.3 to 1." in out
    assert "mass_kg from 80 to 95." in out
    assert "candidate 7" in out
    assert before == (
        (finished / "study.toml").read_bytes(),
        len(read_results(load_study(finished))),
    )


def test_a_full_pack_has_more_left_than_an_empty_one(levelgain, finished, lane):
    def reserve(ratio):
        asked = ("--courses", lane, "--if", f"charge_ratio={ratio}", "--json")
        found = json.loads(levelgain("ride", finished, *asked)[1])
        return found["rides"][0]["least_reserve_ratio"]

    assert reserve(1.0) > reserve(0.05)


def test_a_speed_and_a_grade_ask_for_a_plain_road(study):
    asked, lines = what_if_study(study, numbers_asked(["speed_kmh=36", "grade_percent=-15"]), None)

    course = asked.rides[0].course
    assert [ride.rider_name for ride in asked.rides] == list(study.riders)
    assert course.manoeuvre.speed_mps == ((0.0, 10.0),)
    assert course.road.grade_percent == ((0.0, 0.0), (20.0, -15.0))
    assert "36 km/h, 15 % down from 20.0 m on" in lines[0]


def test_another_kv_winds_the_same_copper_anew_unless_its_numbers_are_given(study):
    # Torque per amp goes with turns and resistance with turns squared, so the torque for a watt of
    # heat stays (any machines textbook).
    motor = study.board.motor
    follows, _ = what_if_study(
        study, numbers_asked([f"kv_rpm_per_v={2 * motor.kv_rpm_per_v}"]), None
    )
    given, _ = what_if_study(
        study, numbers_asked(["kv_rpm_per_v=20", "phase_resistance_ohm=0.1"]), None
    )

    wound = follows.rides[0].board.motor
    assert math.isclose(wound.phase_resistance_ohm, motor.phase_resistance_ohm / 4, rel_tol=1e-3)
    assert given.rides[0].board.motor.phase_resistance_ohm == 0.1


def test_what_is_not_asked_stays(study):
    asked, lines = what_if_study(study, {"mosfet_c": 60.0}, None)

    assert lines == ["Changed: mosfet_c from 25 to 60."]
    for before, after in zip(study.rides, asked.rides, strict=True):
        assert (before.board, before.rider) == (after.board, after.rider)
        manoeuvre = dataclasses.replace(after.course.manoeuvre, mosfet_c=None)
        assert manoeuvre == before.course.manoeuvre
    assert np.all([ride.course.manoeuvre.mosfet_c == 60.0 for ride in asked.rides])


@pytest.mark.parametrize(
    ("texts", "said"),
    [
        (["charge_ratio=1.1"], "charge_ratio must be from 0 to 1, got '1.1'"),
        (["speed_kmh=nan"], "speed_kmh must be from 1 to 108"),
        (["mass_kg=5"], "mass_kg must be from 20 to 160"),
        (["mass_kg"], "write it like mass_kg=20"),
        (["mass=80"], "nearest is 'mass_kg'"),
        (["mass_kg=80", "mass_kg=90"], "given twice"),
        (["grade_percent=5"], "give speed_kmh too"),
        (["kv_rpm_per_v=199"], "phase_resistance_ohm of 0.000284"),
        (["throttle_end_c=50"], "throttle_end_c must be above throttle_start_c"),
    ],
)
def test_what_the_model_does_not_take_is_one_line(study, texts, said):
    with pytest.raises(UserInputError, match=r"^ride: ") as refused:
        what_if_study(study, numbers_asked(texts), None)

    assert said in str(refused.value)


def test_a_file_of_more_than_courses_is_one_line(levelgain, study):
    code, _, err = levelgain("ride", study.folder, "--courses", study.folder / "study.toml")

    assert (code, err.count("\n")) == (2, 1)
    assert "must hold courses and nothing else" in err
