"""A drawn ride in which the nose went down is written as a course that gives the same ride."""

import dataclasses

import numpy as np
import pytest

from optimizer.analysis.added_courses import with_courses
from optimizer.base.errors import UserInputError
from optimizer.study.course_text import course_table, courses_text
from optimizer.study.load import load_study
from optimizer.study.paths import STUDY_FILE
from optimizer.validation.fallen_rides import fallen_courses
from optimizer.validation.nose_down_rate import ride_days, rides_at
from plant.kernel.outcomes import Outcome
from plant.kernel.simulate import simulate
from tests.optimizer.study.test_load import BASE, written
from tests.optimizer.validation.profiles import STUDY, WEAK


@pytest.fixture(scope="module")
def fallen():
    """Return the nose-downs of a weak profile's day: rides, and courses by name."""
    day = ride_days(STUDY, WEAK, hours=1.0, n_jobs=2)
    assert day.nose_downs
    courses = fallen_courses(STUDY, day)
    return rides_at(STUDY, day.nose_downs[: len(courses)]), courses


@pytest.fixture(scope="module")
def read_back(fallen, tmp_path_factory):
    """Return the study to which a file of these courses was added."""
    folder = tmp_path_factory.mktemp("falls")
    file = folder / "falls.toml"
    file.write_text(courses_text(fallen[1]), encoding="utf-8")
    text = with_courses(STUDY.text, file, riders=STUDY.riders, to=folder / STUDY_FILE)
    (folder / STUDY_FILE).write_text(text, encoding="utf-8")
    for path in STUDY.folder.glob("*.gpx"):
        (folder / path.name).write_bytes(path.read_bytes())
    return load_study(folder)


def test_the_course_gives_the_same_ride_to_the_last_bit(fallen, read_back):
    rides, courses = fallen
    own = {ride.course.name: ride for ride in read_back.rides}

    again = [own[name] for name in courses]

    assert [ride.noise_seed for ride in again] == [ride.noise_seed for ride in rides]
    assert [(ride.board, ride.rider) for ride in again] == [(r.board, r.rider) for r in rides]
    before, after = (simulate(WEAK[None], each) for each in (rides, again))
    np.testing.assert_array_equal(after.metrics, before.metrics)
    assert set(after.outcome[0].tolist()) == {Outcome.NOSE_DOWN}


def test_the_studys_own_rides_and_limits_stay_as_they_were(read_back):
    names = {ride.name for ride in STUDY.rides}

    own = [ride for ride in read_back.rides if ride.name in names]

    assert [(ride.name, ride.noise_seed) for ride in own] == [
        (ride.name, ride.noise_seed) for ride in STUDY.rides
    ]
    assert {ride.board for ride in read_back.described_rides} == {STUDY.board}
    assert read_back.digest != STUDY.digest


def test_another_board_in_a_ride_is_another_study(read_back):
    rides = tuple(dataclasses.replace(ride, board=read_back.board) for ride in read_back.rides)

    assert dataclasses.replace(read_back, rides=rides).digest != read_back.digest


@pytest.mark.parametrize(
    ("written_as", "fault"),
    [
        ('road_seed = "xyz"', "must be 1 to 16 hexadecimal digits"),
        ("noise_seed = 12", "must be 1 to 16 hexadecimal digits"),
        ("numbers = { mass_of_kg = 3.0 }", "neither board nor rider has a number 'mass_of_kg'"),
        ("numbers = { mass_kg = 4000.0 }", "mass_kg must be from"),
    ],
)
def test_what_can_not_be_a_ride_is_refused_in_one_line(tmp_path, written_as, fault):
    folder = written(tmp_path, f'{BASE}\n[courses.again]\nuse = "kerb_up"\n{written_as}\n')

    with pytest.raises(UserInputError) as refused:
        load_study(folder)

    assert f"courses.again.{written_as.split()[0]}" in str(refused.value)
    assert fault in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ("seed = 3\n", "must hold courses and nothing else"),
        ('[courses.a]\nriders = ["nobody"]\n', "the study has no rider 'nobody'"),
        ('[courses.steep_up]\nuse = "steep_up"\n', "has a course of that name already"),
    ],
)
def test_courses_that_can_not_be_added_are_refused(tmp_path, more, fault):
    file = tmp_path / "falls.toml"
    file.write_text(more, encoding="utf-8")
    text = 'title = "A"\n[courses.steep_up]\nuse = "steep_up"\n'

    with pytest.raises(UserInputError, match=fault):
        with_courses(text, file, riders=["baker_80"], to=tmp_path / STUDY_FILE)


def test_a_part_of_a_ride_is_no_course():
    ride = STUDY.rides[0]
    part = dataclasses.replace(ride.course, part=object())

    with pytest.raises(ValueError, match="whole course"):
        course_table(dataclasses.replace(ride, course=part), board=ride.board, rider=ride.rider)
