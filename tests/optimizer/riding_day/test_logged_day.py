"""A day from a ride log: its rides have the log's wanted speeds, and its grades if it has any."""

import numpy as np
import pytest

from optimizer.base.errors import StudyFileError, UserInputError
from optimizer.riding_day.drawn_course import drawn_course
from optimizer.riding_day.speeds import CHANGE_MPS2
from optimizer.study.load import load_study
from tests.optimizer.small_study import SMALL_STUDY

MAPPING = """
confirmed = true
[columns]
time_s = { column = "t", unit = "s" }
speed_mps = { column = "v", unit = "m/s" }
"""
ALTITUDE = 'altitude_m = { column = "h", unit = "m" }\n'
# Nothing on such a road asks for another speed than the wanted one.
SMOOTH = """
kerbs_per_km = 0.0
surfaces = { wet_asphalt = 0.0, cobbles = 0.0, gravel = 0.0, grass = 0.0, track = 0.0 }
"""


def write_log(folder, speed_mps, *, height_m=None, rate_hz=10.0, mapping=MAPPING):
    """Write a log and its mapping; a climb is a grade in percent."""
    folder.mkdir(exist_ok=True)
    columns = {"t": np.arange(len(speed_mps)) / rate_hz, "v": speed_mps}
    if height_m is not None:
        columns["h"] = height_m
        mapping += ALTITUDE
    np.savetxt(
        folder / "ride.csv",
        np.column_stack(list(columns.values())),
        fmt="%.4f",
        delimiter=",",
        header=",".join(columns),
        comments="",
    )
    (folder / "ride.mapping.toml").write_text(mapping)


def study_of(folder, day='log = { file = "ride.csv" }'):
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(f"{SMALL_STUDY}\n[riding_day]\n{day}\n")
    return load_study(folder)


def speeds(course):
    return np.array([speed for _, speed in course.manoeuvre.speed_mps])


def grades(course):
    return np.array([grade for _, grade in course.road.grade_percent])


def test_rides_have_the_one_speed_of_a_log(tmp_path):
    write_log(tmp_path, np.full(2000, 3.2))
    day = study_of(tmp_path, 'log = { file = "ride.csv" }' + SMOOTH).riding_day

    for number in range(20):
        np.testing.assert_allclose(speeds(drawn_course(day, number=number, seed=1)), 3.2)


def test_rides_have_the_one_grade_of_a_log_with_heights(tmp_path):
    along = 0.32 * np.arange(2000)
    write_log(tmp_path, np.full(2000, 3.2), height_m=200.0 + 0.06 * along)
    day = study_of(tmp_path).riding_day

    for number in range(20):
        found = grades(drawn_course(day, number=number, seed=1))
        np.testing.assert_allclose(np.abs(found), 6.0, rtol=2e-2)
        assert len(set(np.sign(found))) == 1


def test_a_log_without_heights_leaves_the_grades_drawn(tmp_path, levelgain):
    write_log(tmp_path, np.full(2000, 3.2))
    day = study_of(tmp_path).riding_day

    found = [grades(drawn_course(day, number=number, seed=1)) for number in range(40)]

    assert np.std(np.concatenate(found)) == pytest.approx(day.grade_percent_sd, rel=0.2)
    out = " ".join(levelgain("check", tmp_path)[1].split())
    assert "grades drawn at random; speeds from a log of 3.3 min, 3.2 to 3.2 m/s" in out


def test_a_route_goes_before_the_heights_of_a_log(tmp_path):
    write_log(tmp_path, np.full(2000, 3.2), height_m=200.0 + 0.06 * 0.32 * np.arange(2000))
    (tmp_path / "hill.csv").write_text("distance_m,height_m\n0,0\n1000,20\n")
    day = study_of(
        tmp_path, 'log = { file = "ride.csv" }\nroute = { file = "hill.csv" }'
    ).riding_day

    np.testing.assert_allclose(np.abs(grades(drawn_course(day, number=1, seed=1))), 2.0)


def test_rides_go_on_from_stretch_to_stretch_and_leave_stops_out(tmp_path):
    # Half a minute each of 2 and 5 m/s, with stops between, as a delivery has.
    pause = np.zeros(100)
    log = np.concatenate([pause, np.full(300, 2.0), pause, np.full(300, 5.0), pause])
    write_log(tmp_path, log)
    day = study_of(tmp_path, 'log = { file = "ride.csv" }' + SMOOTH).riding_day
    assert day.fast_mps == 5.0

    courses = [drawn_course(day, number=number, seed=1) for number in range(40)]

    found = np.concatenate([speeds(course) for course in courses])
    assert found.min() >= 1.5  # the first and last second of a stretch hold some of the stop
    assert found.max() <= 5.0
    assert np.mean(found < 2.1) > 0.2
    assert np.mean(found > 4.9) > 0.2
    for course in courses:
        times, wanted = np.array(course.manoeuvre.speed_mps).T
        assert times[-1] >= day.ride_s
        assert (np.abs(np.diff(wanted)) / np.diff(times)).max() <= CHANGE_MPS2 * 1.05 + 0.05


def test_a_logged_day_depends_on_number_and_seed_alone(tmp_path):
    random = np.random.default_rng(4)
    log = 3.0 + np.cumsum(random.normal(0.0, 0.05, 3000)).clip(-1.5, 2.0)
    write_log(tmp_path, log)
    day, again = (study_of(tmp_path).riding_day for _ in range(2))

    assert drawn_course(day, number=5, seed=3) == drawn_course(again, number=5, seed=3)
    assert drawn_course(day, number=5, seed=3) != drawn_course(day, number=6, seed=3)
    assert drawn_course(day, number=5, seed=3) != drawn_course(day, number=5, seed=4)


def test_what_a_log_holds_belongs_to_the_study(tmp_path):
    found = []
    for name, speed in (("one", 3.2), ("same", 3.2), ("other", 3.3)):
        write_log(tmp_path / name, np.full(2000, speed))
        found.append(study_of(tmp_path / name).digest)

    assert found[0] == found[1] != found[2]


UNCONFIRMED = MAPPING.replace("confirmed = true", "confirmed = false")
NO_SPEED = MAPPING.replace("speed_mps", "pitch_rad").replace("m/s", "rad")


@pytest.mark.parametrize(
    ("day", "log", "mapping", "message"),
    [
        ('log = { file = "none.csv" }', 3.2, MAPPING, "none.mapping.toml"),
        ('log = { file = "none.csv", mapping = "ride.mapping.toml" }', 3.2, MAPPING, "none.csv"),
        ('log = "ride.csv"', 3.2, MAPPING, "riding_day.log"),
        ('log = { fil = "ride.csv" }', 3.2, MAPPING, "the nearest allowed is file"),
        ('log = { file = "ride.csv" }', 3.2, UNCONFIRMED, "confirmed: must be true"),
        ('log = { file = "ride.csv" }', 0.1, NO_SPEED, "columns.speed_mps: is needed"),
        ('log = { file = "ride.csv" }', 0.1, MAPPING, "must roll forward for 20 s or longer"),
        ('log = { file = "ride.csv" }', 24.0, MAPPING, "ride.csv: fastest speed must be up to 20"),
    ],
)
def test_a_bad_log_is_refused_in_one_line(tmp_path, day, log, mapping, message):
    write_log(tmp_path, np.full(2000, log), mapping=mapping)

    with pytest.raises(StudyFileError, match=r"study\.toml: riding_day\.log") as caught:
        study_of(tmp_path, day)

    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_log_too_short_for_its_own_heights_is_refused(tmp_path):
    write_log(tmp_path, np.full(500, 3.2), height_m=np.full(500, 200.0))

    with pytest.raises(UserInputError, match=r"ride\.csv must lead 280 m or farther.*got 1\d\d m"):
        study_of(tmp_path)
