"""A day of recorded routes: its rides have the grades of the files, from any start, both ways."""

import dataclasses
import math

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given

from optimizer.base.errors import UserInputError
from optimizer.riding_day.drawn_course import drawn_course
from optimizer.study.catalogue import STUDIES_FOLDER
from optimizer.study.load import load_study
from plant.description.course import Elevation
from tests.optimizer.small_study import SMALL_STUDY

DAY = load_study(STUDIES_FOLDER / "hill_town").riding_day
_M_PER_DEG = math.pi * 6371000.0 / 180.0  # mean radius of the Earth, 6371 km (IUGG, from memory)


def gpx(grade_percent, *, length_m=2000.0, step_m=20.0):
    """Return a track due north of one grade."""
    along = np.arange(0.0, length_m + step_m, step_m)
    points = "".join(
        f'<trkpt lat="{46.0 + m / _M_PER_DEG:.9f}" lon="7.0"><ele>{grade_percent / 100.0 * m:.4f}'
        "</ele></trkpt>"
        for m in along.tolist()
    )
    return (
        '<gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>"
    )


def study_of(folder, day, **files):
    folder.mkdir(exist_ok=True)
    for name, text in files.items():
        (folder / f"{name}.gpx").write_text(text)
    (folder / "study.toml").write_text(f"{SMALL_STUDY}\n[riding_day]\n{day}\n")
    return load_study(folder)


def grades(course):
    return np.array([grade for _, grade in course.road.grade_percent])


def test_rides_over_a_recorded_hill_of_one_grade_have_that_grade_up_or_down(tmp_path):
    day = study_of(tmp_path, 'route = { file = "hill.gpx" }', hill=gpx(7.0)).riding_day

    courses = [drawn_course(day, number=number, seed=3) for number in range(40)]

    for course in courses:
        np.testing.assert_allclose(np.abs(grades(course)), 7.0, rtol=3e-3)
        assert len(set(np.sign(grades(course)))) == 1
    n_up = sum(grades(course)[0] > 0.0 for course in courses)
    assert 8 <= n_up <= 32  # both directions: 20 are expected, 3.2 their standard deviation


def test_all_routes_are_ridden_as_their_lengths_are(tmp_path):
    day = study_of(
        tmp_path,
        'route = [{ file = "low.gpx" }, { file = "high.gpx" }]',
        low=gpx(2.0, length_m=1000.0),
        high=gpx(9.0, length_m=3000.0),
    ).riding_day

    steep = [
        abs(grades(drawn_course(day, number=number, seed=1))[0]) > 5.0 for number in range(200)
    ]

    # Starts are as likely everywhere where a ride fits.
    spare = np.array([1000.0, 3000.0]) - day.way_m
    expected = spare[1] / spare.sum()
    assert np.mean(steep) == pytest.approx(expected, abs=3.0 * math.sqrt(0.25 / 200))


def test_several_ways_of_one_file_are_all_ridden(tmp_path):
    route = 'route = [{ file = "hill.gpx", smooth_m = 10.0 }, { file = "hill.gpx" }]'

    day = study_of(tmp_path, route, hill=gpx(7.0)).riding_day

    assert len(day.routes) == 2


@pytest.mark.parametrize(
    ("day", "message"),
    [
        (
            "slow_mps = 3.0\nfast_mps = 2.0",
            "riding_day.slow_mps: must be up to fast_mps = 2, got 3;",
        ),
        ("easy_ask_ratio = 1.2", "riding_day.easy_ask_ratio: must be up to hard_ask_ratio = 1.1,"),
    ],
)
def test_ends_between_which_nothing_can_be_drawn_are_refused(tmp_path, day, message):
    with pytest.raises(UserInputError) as caught:
        study_of(tmp_path, day)

    assert message in str(caught.value)


def test_a_recorded_day_depends_on_number_and_seed_alone(tmp_path):
    day, again = (
        study_of(tmp_path, 'route = { file = "hill.gpx" }', hill=gpx(7.0)).riding_day
        for _ in range(2)
    )

    assert drawn_course(day, number=5, seed=3) == drawn_course(again, number=5, seed=3)
    assert drawn_course(day, number=5, seed=3) != drawn_course(day, number=6, seed=3)
    assert drawn_course(day, number=5, seed=3) != drawn_course(day, number=5, seed=4)


def test_what_a_route_holds_belongs_to_the_study(tmp_path):
    one, same, other = (
        study_of(tmp_path / name, 'route = { file = "hill.gpx" }', hill=gpx(grade))
        for name, grade in (("one", 7.0), ("same", 7.0), ("other", 7.1))
    )

    assert one.digest == same.digest
    assert one.digest != other.digest


def test_check_says_what_the_day_is_made_of(tmp_path, levelgain):
    study_of(
        tmp_path,
        'route = [{ file = "low.gpx" }, { file = "high.gpx" }]',
        low=gpx(2.0, length_m=1000.0),
        high=gpx(9.0, length_m=3000.0),
    )

    code, out, _ = levelgain("check", tmp_path)

    assert code == 0
    assert "grades from 2 routes, 4.0 km, steepest 9 %" in " ".join(out.split())


@given(
    heights=st.lists(st.floats(-40.0, 40.0), min_size=8, max_size=30),
    number=st.integers(0, 1000),
)
def test_a_ride_follows_a_stretch_of_its_route(heights, number):
    route = Elevation(
        distance_m=100.0 * np.arange(len(heights)), height_m=np.array(heights, dtype=np.float64)
    )
    day = dataclasses.replace(DAY, routes=(route,))

    course = drawn_course(day, number=number, seed=2)

    climbed = 5.0 * grades(course).sum() / 100.0
    assert abs(climbed) <= np.ptp(route.height_m) + 1e-9
    steepest = np.abs(np.diff(route.height_m)).max()  # in percent, over 100 m
    assert np.abs(grades(course)).max() <= steepest + 1e-9


@pytest.mark.parametrize(
    ("day", "message"),
    [
        ('route = { file = "none.gpx" }', "none.gpx"),
        ("route = 3", "riding_day.route: must be a route or a list of routes, got 3"),
        ("route = []", "riding_day.route: must be a route or a list of routes"),
        ('route = { fil = "hill.gpx" }', "the nearest allowed is file"),
        ('route = { file = "hill.gpx", smooth_m = 1.0 }', "a number from 5 to 1000, got 1"),
        (
            'route = { file = "short.gpx" }',
            "route: short.gpx must lead 498 m or farther",
        ),
        ('route = { file = "cliff.gpx" }', "cliff.gpx must not be steeper than 50 %"),
    ],
)
def test_a_bad_route_is_refused_in_one_line(tmp_path, day, message):
    files = {"hill": gpx(7.0), "short": gpx(7.0, length_m=80.0), "cliff": gpx(80.0)}

    with pytest.raises(UserInputError) as caught:
        study_of(tmp_path, day, **files)

    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
