import math
from pathlib import Path

import pytest

from optimizer.base.errors import UserInputError
from optimizer.study.catalogue import (
    BOARD,
    COURSE,
    PROFILE,
    RIDER,
    changed,
    entry_names,
    resolved,
    resolved_group,
    shelves,
)
from optimizer.study.course import course_of
from optimizer.study.course_schema import CourseTable
from optimizer.study.dataclass_schema import section_model, section_of
from optimizer.study.load import INNER_NAMES
from optimizer.study.schema import BoundsTable
from optimizer.study.schema_errors import checked
from plant.description.board import Board
from plant.description.profile import Profile
from plant.description.profile_array import PROFILE_NAMES, profile_to_array
from plant.description.rider import Rider

PATH = Path("a/study.toml")


def entry(kind, name):
    return resolved(name, kind, path=PATH, key="here")


@pytest.mark.parametrize("name", entry_names(BOARD))
def test_every_board_of_the_catalogue_is_possible(name):
    board = section_of(Board, checked(section_model(Board), entry(BOARD, name), path=PATH))

    # The current limit must be one that the pack can drive through the winding at rest.
    phase_v = board.battery.cells_in_series * 3.7 / math.sqrt(3.0)
    assert board.drive.phase_current_limit_a * board.motor.phase_resistance_ohm < phase_v


@pytest.mark.parametrize("name", entry_names(RIDER))
def test_every_rider_of_the_catalogue_is_possible(name):
    rider = section_of(Rider, checked(section_model(Rider), entry(RIDER, name), path=PATH))

    # The name ends in the mass; body-mass index of a person who rides: WHO, 'severe thinness'
    # below 16 for adults (children less), 'obesity class II' from 35.
    assert rider.body.mass_kg == float(name.rpartition("_")[2])
    assert 14.0 < rider.body.mass_kg / rider.body.stature_m**2 < 35.0


@pytest.mark.parametrize("name", entry_names(COURSE))
def test_every_course_of_the_catalogue_can_be_laid(name):
    table = checked(CourseTable, entry(COURSE, name), path=PATH)
    course = course_of(table, name=name, road_seed=1, folder=Path(), where="here")

    assert 5.0 <= course.manoeuvre.duration_s <= 25.0
    assert course.manoeuvre.hold_s


def test_current_counts_where_the_profile_decides_it():
    counted = {
        name for name, course in shelves()["courses"].items() if "count_s" in course["manoeuvre"]
    }

    assert {"kerb_up", "cobbles", "gravel", "grade_steps", "brake_hard", "start_uphill"} <= counted
    assert not {"accelerate_hard", "gust", "push_to_limit"} & counted


@pytest.mark.parametrize("name", entry_names(PROFILE))
def test_every_profile_lies_inside_the_default_bounds(name):
    table = checked(section_model(Profile), entry(PROFILE, name), path=PATH)
    values = dict(zip(PROFILE_NAMES, profile_to_array(section_of(Profile, table)), strict=True))
    bounds = checked(BoundsTable, shelves()["bounds"], path=PATH)

    searched = {key: getattr(bounds, key) for key in PROFILE_NAMES if getattr(bounds, key)}
    assert len(searched) >= 25
    for key, (low, high) in searched.items():
        # A single loop sits at the end of the bounds of the loop that it does not have.
        inside = low <= values[key] <= high if key in INNER_NAMES else low < values[key] < high
        assert inside, key


def test_the_catalogue_has_at_least_eighteen_courses():
    assert len(entry_names(COURSE)) >= 18


def test_ramps_kerbs_and_roughness_are_those_of_the_standards():
    courses, surfaces = shelves()["courses"], shelves()["surfaces"]

    # ADA 405.2: a ramp of 1:12; UK highway guidance: vehicle crossing 25 mm, full kerb 100-150 mm.
    assert [18.0, -8.33] in courses["grade_steps"]["road"]["grade_percent"]
    assert courses["kerb_up"]["road"]["kerbs"][0][1] == 0.025
    assert courses["kerb_down"]["road"]["kerbs"][0][1] == -0.1
    # ISO 8608 geometric means: 16 * 4^k in 1e-6 m3.
    means = {16.0 * 4.0**k for k in range(8)}
    assert {surface["roughness_1e6_m3"] for surface in surfaces.values()} <= means


def test_the_faster_motor_is_the_same_machine_with_fewer_turns():
    motors = {name: entry(BOARD.parts["motor"], name) for name in ("hub_15", "hub_17")}

    # Kv goes with 1 / turns, resistance and inductance with turns^2 (any machines textbook).
    ratio = (15.0 / 17.0) ** 2
    for key in ("phase_resistance_ohm", "phase_inductance_h"):
        assert motors["hub_17"][key] == pytest.approx(ratio * motors["hub_15"][key], rel=0.01)


def test_a_used_entry_keeps_what_is_not_changed():
    board = resolved(
        {"use": "lender_15", "motor": {"use": "hub_17", "pole_pairs": 14}},
        BOARD,
        path=PATH,
        key="board",
    )

    assert board["motor"] == entry(BOARD.parts["motor"], "hub_17") | {"pole_pairs": 14}
    assert board["wheel"] == entry(BOARD, "lender_15")["wheel"]


def test_changing_a_table_leaves_both_tables_as_they_were():
    base, own = {"a": {"b": 1, "c": 2}}, {"a": {"c": 3}}

    assert changed(base, own) == {"a": {"b": 1, "c": 3}}
    assert base == {"a": {"b": 1, "c": 2}}
    assert own == {"a": {"c": 3}}


def test_a_group_changes_a_used_entry_and_adds_its_own():
    riders = resolved_group(
        {
            "use": ["baker_80"],
            "baker_80": {"body": {"mass_kg": 82.0}},
            "cook": {"use": "baker_80", "body": {"stature_m": 1.7}},
        },
        RIDER,
        path=PATH,
        key="riders",
    )

    assert list(riders) == ["baker_80", "cook"]
    assert riders["baker_80"]["body"]["mass_kg"] == 82.0
    assert riders["cook"]["body"]["mass_kg"] == 80.0


@pytest.mark.parametrize(
    ("value", "kind", "message"),
    [
        ("lender_51", BOARD, "board.use: the catalogue has no 'lender_51'.*nearest is 'lender_15'"),
        ({"use": 3}, BOARD, "board.use: must be one name in quotes, got 3"),
        (
            {"use": "lender_15", "motor": "hub17"},
            BOARD,
            "board.motor.use: the catalogue has no 'hub17'.*nearest is 'hub_17'",
        ),
    ],
)
def test_a_name_that_the_catalogue_does_not_have_is_refused(value, kind, message):
    with pytest.raises(UserInputError, match=message):
        resolved(value, kind, path=PATH, key="board")


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ({}, "riders: at least one is needed, got none"),
        ({"use": []}, "riders: at least one is needed, got none"),
        ([], "riders: must be a table"),
        ({"use": "baker_80"}, 'riders.use: must be "all" or a list of names'),
        ({"use": [80]}, 'riders.use: must be "all" or a list of names'),
        ({"use": ["backer"]}, "riders.backer.use: the catalogue has no 'backer'.*'baker_80'"),
        ({"a/b": "baker_80"}, "a name may hold letters, digits, - and _, got 'a/b'"),
    ],
)
def test_a_bad_group_is_refused(value, message):
    with pytest.raises(UserInputError, match=message):
        resolved_group(value, RIDER, path=PATH, key="riders")


def test_two_files_with_one_shelf_are_refused(tmp_path):
    for name in ("a", "b"):
        (tmp_path / f"{name}.toml").write_text("[boards.x]\n", encoding="utf-8")

    with pytest.raises(UserInputError, match=r"b.toml: boards: stands in another file too"):
        shelves(tmp_path)


def test_a_folder_without_a_catalogue_is_refused(tmp_path):
    with pytest.raises(UserInputError, match="holds no catalogue"):
        shelves(tmp_path)
