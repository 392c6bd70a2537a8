"""Statics of a ride: the current that a grade takes, a top speed, and the room of the nose."""

import dataclasses
import math

import pytest

from optimizer.analysis.ride_statics import Limit, statics_of
from optimizer.analysis.statics_text import hopeless_lines, statics_rows, tight_lines
from optimizer.study.load import load_study
from tests.optimizer.study.test_load import BASE, written

COURSES = 'use = ["cruise", "kerb_up"]'


@pytest.fixture
def rides(tmp_path):
    """Return a function from courses and lines of a board to the study's rides."""

    def made(courses, *board):
        text = BASE.replace(COURSES, f"use = {courses}")
        lines = "".join(f"{line}\n" for line in board)
        text = text.replace('board = "lender_15"\n', f'[board]\nuse = "lender_15"\n{lines}')
        return load_study(written(tmp_path, text)).rides

    return made


def test_a_grade_takes_the_weight_down_the_slope_over_the_torque_per_amp(rides):
    (clerk, _) = statics_of(rides('["steep_up"]', "motor.saturation_ratio = 0.0"))

    # Inclined plane, rolling resistance 0.013 of the load, and rho CdA v^2 / 2 of air.
    slope = math.atan(0.2)
    weight_n = (62.0 + 16.0) * 9.80665
    rolling = clerk_rolling(rides)
    force_n = weight_n * (math.sin(slope) + rolling * math.cos(slope))
    force_n += 0.5 * 1.225 * 0.45 * 3.0**2
    assert clerk.needed_a == pytest.approx(force_n * 0.14 / (8.26993 / 15.0), rel=0.01)
    assert clerk.limit is Limit.PHASE
    assert clerk.limit_a == 110.0
    assert clerk.nose_room_deg == pytest.approx(20.0 - math.degrees(slope), abs=0.01)
    assert clerk.tail_room_deg == 20.0


def clerk_rolling(rides):
    return rides('["steep_up"]')[0].course.road.patches[0].surface.rolling_ratio


def test_a_slow_motor_ends_where_its_emf_meets_the_pack(rides):
    found = statics_of(rides('["push_to_limit", "kerb_up"]', "motor.kv_rpm_per_v = 8.0"))
    riders = [one for one in found if one.ride.startswith("push_to_limit")]

    # No current drives where 8 rpm for each V of line-to-line peak are turned: at 60 % of charge a
    # cell has some 3.75 V, and the drive uses 95 % of it.
    top_mps = 8.0 * 15 * 3.75 * 0.95 * 2.0 * math.pi / 60.0 * 0.14
    for one in riders:
        assert one.limit is Limit.VOLTAGE
        assert one.used_ratio > 1.0
        assert 0.85 * top_mps < one.held_mps < 1.05 * top_mps
    assert "pack voltage" in hopeless_lines(riders)[0]


def test_what_can_not_be_held_is_told_with_its_remedy_and_what_can_be_is_not(rides):
    found = statics_of(rides('["steep_up", "cruise"]', "drive.phase_current_limit_a = 45.0"))
    fine = statics_of(rides('["steep_up", "cruise"]'))

    (line,) = hopeless_lines(found)
    assert line.startswith("baker_80 can not hold steep_up: to keep 20 % at 3.0 m/s")
    assert "drive.phase_current_limit_a" in line
    assert "courses.steep_up.riders" in line
    held = next(one for one in found if one.ride == "steep_up/baker_80").held_percent
    assert held == pytest.approx(20.0 * 45.0 / 53.0, rel=0.05)
    assert hopeless_lines(fine) == tight_lines(fine) == []
    assert [row["rider"] for row in statics_rows(fine)] == ["clerk_62", "baker_80"]


def test_a_descent_is_held_by_braking(rides):
    (clerk, _) = statics_of(rides('["steep_down"]'))

    assert clerk.needed_a < 0.0
    assert clerk.limit_a == -110.0
    assert clerk.tail_room_deg < clerk.nose_room_deg == 20.0


def test_a_grade_that_a_level_deck_touches_is_told(rides):
    found = statics_of(rides('["steep_up"]', "frame.nose_contact_deg = 10.0"))

    assert all(one.nose_room_deg < 0.0 for one in found)
    assert "level deck touches" in hopeless_lines(found)[0]


def test_little_left_is_told_before_it_is_too_little(rides):
    (_, baker) = statics_of(rides('["steep_up"]'))
    tight = dataclasses.replace(baker, limit_a=baker.needed_a / 0.95)

    (line,) = tight_lines([tight])
    assert "baker_80 has little left on steep_up" in line
    assert "95 % of the current" in line
