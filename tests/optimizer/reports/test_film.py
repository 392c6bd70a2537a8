"""Rides from the side: the drawing's geometry against rotation matrices, and the films written."""

import dataclasses
import math

import numpy as np
import pytest
from matplotlib.animation import writers
from PIL import Image

from optimizer.base.errors import UserInputError
from optimizer.reports.film.drawing import FRAME_S, film, filmed
from optimizer.reports.film.film_file import refuse_film, write_film
from optimizer.reports.film.side_view import FRAME_STEPS, nose_clearance_m, side_view
from optimizer.study.load import load_study
from plant.description.profile_array import profile_to_array
from plant.kernel.outcomes import Outcome
from plant.kernel.trace import trace
from tests.optimizer.small_study import write_small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    changes = ('"stand_still", "kerb_up", "cobbles"', '"stand_still", "kerb_up", "steep_up"')
    return load_study(write_small_study(tmp_path_factory.mktemp("film") / "study", changes))


@pytest.fixture(scope="module")
def seen(study):
    """Return ride, trace and side view by course."""
    profile = profile_to_array(study.baseline)
    rides = {ride.course.name: ride for ride in study.rides}
    traces = {name: trace(profile, ride, every_steps=FRAME_STEPS) for name, ride in rides.items()}
    return {name: (rides[name], ridden, side_view(rides[name], ridden))
            for name, ridden in traces.items()}  # fmt: skip


def turned(point, degrees):
    """Return a point after a turn nose down, clockwise, by a rotation matrix."""
    angle = math.radians(-degrees)
    return (
        np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]) @ point
    )


@pytest.mark.parametrize("end", [0, -1])
def test_nose_and_tail_touch_level_ground_at_their_contact_angles(seen, end):
    ride, _, view = seen["stand_still"]
    frame = ride.board.frame
    degrees = frame.nose_contact_deg if end == 0 else -frame.tail_contact_deg

    assert turned(view.board.deck_m[end], degrees)[1] == pytest.approx(-view.board.wheel_radius_m)


def test_the_nose_clearance_is_the_height_of_the_drawn_nose(seen):
    ride, _, view = seen["stand_still"]
    degrees = np.array([-5.0, 0.0, 3.0, ride.board.frame.nose_contact_deg])
    drawn = [
        turned(view.board.deck_m[0], angle)[1] + view.board.wheel_radius_m for angle in degrees
    ]
    found = nose_clearance_m(degrees, wheel=ride.board.wheel, frame=ride.board.frame)

    np.testing.assert_allclose(found, drawn, atol=1e-12)


def test_the_wheel_stands_on_the_road_and_rolls_along_it(seen):
    _, ridden, view = seen["steep_up"]
    n = view.n_frames
    x_m = view.ground_from_m + 0.05 * np.arange(len(view.ground_m))
    points = np.stack([x_m, view.ground_m], axis=1)
    gaps = [np.hypot(*(points - axle).T).min() for axle in view.axle_m[:n]]
    way = np.hypot(*np.diff(view.axle_m[:n], axis=0).T)

    # The ground's points are 5 cm apart, so the nearest may lie 2.5 cm beside the contact.
    radius = view.board.wheel_radius_m
    assert np.max(np.abs(np.array(gaps) - radius)) < math.hypot(radius, 0.025) - radius + 0.003
    np.testing.assert_allclose(
        way.sum(), ridden.distance_m[n - 1] - ridden.distance_m[0], rtol=0.02
    )


def test_the_road_climbs_as_its_course_says(seen):
    ride, _, view = seen["steep_up"]
    steepest = max(percent for _, percent in ride.course.road.grade_percent)
    last_4_m = view.ground_m[-1] - view.ground_m[-81]

    assert last_4_m / 4.0 == pytest.approx(steepest / 100.0, abs=0.01)


def test_a_kerb_is_as_high_as_its_course_says(seen):
    ride, _, view = seen["kerb_up"]
    [(_, height_m)] = ride.course.road.kerbs

    assert view.ground_m.max() - view.ground_m[0] == pytest.approx(height_m, abs=0.01)


def test_the_legs_reach_the_hip_that_the_rider_has(seen):
    view = seen["steep_up"][2]
    hip = 0.5 * (view.rider.torso_m[2] + view.rider.torso_m[3])
    last = view.n_frames - 1

    np.testing.assert_allclose(
        turned(view.hip_m[last], view.pitch_deg[last]),
        view.ankle_m[last] + turned(hip, view.lean_deg[last]),
        atol=1e-12,
    )


def test_a_ride_that_ends_with_the_nose_down_ends_with_no_clearance(study, seen):
    ride = seen["steep_up"][0]
    drive = dataclasses.replace(ride.board.drive, phase_current_limit_a=25.0)
    weak = dataclasses.replace(ride, board=dataclasses.replace(ride.board, drive=drive))
    fallen = filmed("weak", profile_to_array(study.baseline), weak)

    assert fallen.ridden.outcome is Outcome.NOSE_DOWN
    assert fallen.clearance_m[fallen.view.n_frames - 1] < 0.03
    assert fallen.view.n_frames < len(fallen.ridden.time_s)


def test_a_film_lasts_as_long_as_its_ride(study, seen, tmp_path):
    ride = seen["kerb_up"][0]
    shown = film([filmed("the baseline", profile_to_array(study.baseline), ride)])
    short = dataclasses.replace(shown, n_frames=9)
    write_film(short, tmp_path / "ride.gif")

    with Image.open(tmp_path / "ride.gif") as written:
        lasts_ms = 0
        for frame in range(written.n_frames):
            written.seek(frame)
            lasts_ms += written.info["duration"]
        assert written.n_frames == 5
    assert lasts_ms == pytest.approx(1000.0 * 10 * FRAME_S)


def test_two_profiles_are_in_one_picture(study, seen):
    profile = profile_to_array(study.baseline)
    shown = film([filmed(name, profile, seen["kerb_up"][0]) for name in ("one", "two")])

    assert [axes.get_title() for axes in shown.figure.axes if axes.get_title()] == ["one", "two"]


def test_the_title_of_a_film_stands_above_the_names_of_its_profiles(study, seen):
    profile = profile_to_array(study.baseline)
    shown = film([filmed(name, profile, seen["kerb_up"][0]) for name in ("one", "two")])

    shown.show(40)
    shown.figure.canvas.draw()

    scenes = shown.figure.subfigs[0]
    (title,) = scenes.texts
    names = [axes.title.get_window_extent() for axes in scenes.axes]
    assert title.get_window_extent().ymax <= shown.figure.bbox.ymax
    assert all(name.ymax < title.get_window_extent().ymin for name in names)


@pytest.mark.parametrize("name", ["ride.png", "ride"])
def test_a_name_that_is_no_films_is_refused_in_a_line(tmp_path, name):
    with pytest.raises(UserInputError, match=r"a film is a \.gif or a \.mp4"):
        refuse_film(tmp_path / name)


def test_mp4_without_ffmpeg_is_refused_in_a_line(tmp_path, monkeypatch):
    monkeypatch.setattr(writers, "is_available", lambda name: name != "ffmpeg")

    with pytest.raises(UserInputError, match="needs the program ffmpeg"):
        refuse_film(tmp_path / "ride.mp4")
    refuse_film(tmp_path / "ride.gif")
